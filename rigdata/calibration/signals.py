"""Channels of one run in SI, each with its named causes of uncertainty."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from rigdata.arrays import BoolArray, FloatArray, IntArray, frozen
from rigdata.errors import Notice
from rigdata.logs.flags import Flag
from rigdata.uncertainty.sources import Source


@dataclass(frozen=True, eq=False)
class Signal:
    """One channel over time.

    Attributes
    ----------
    name : str
        Channel, as in `rigdata.quantities.CHANNELS`.
    values : (n,) float
        Reading of each frame, in the unit of `rigdata.quantities.QUANTITIES`;
        NaN where there is none.
    good : (n,) bool
        Frames whose reading may be used.
    sources : tuple of k Source
        Causes of uncertainty.  Scope and effect say how each acts on the
        channel itself.
    sensitivity : (k, n) float
        Signed change of the reading for one standard deviation of each source,
        in the unit of the values (kelvin for temperatures).
    spread : (n,) float or None
        Standard deviation of the logged samples within each frame, for the
        channels that are read with it.
    """

    name: str
    values: FloatArray
    good: BoolArray
    sources: tuple[Source, ...]
    sensitivity: FloatArray
    spread: FloatArray | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "values", frozen(self.values))
        object.__setattr__(self, "good", frozen(self.good, np.bool_))
        object.__setattr__(self, "sensitivity", frozen(self.sensitivity))
        if self.spread is not None:
            object.__setattr__(self, "spread", frozen(self.spread))
        count = self.values.size
        spread = self.good if self.spread is None else self.spread
        uneven = {self.good.shape, spread.shape} != {(count,)}
        if uneven or self.sensitivity.shape != (len(self.sources), count):
            raise ValueError(f"{self.name}: arrays of unequal length")

    @property
    def u(self) -> FloatArray:
        """(n,) standard uncertainty of each reading from all sources together."""
        combined: FloatArray = np.sqrt(np.sum(self.sensitivity**2, axis=0))
        return combined


@dataclass(frozen=True, eq=False)
class Signals:
    """All channels of one run on common frames.

    Attributes
    ----------
    run : str
        Run that the log belongs to.
    time_s : (n,) float
        Time of each frame. [s]
    frame_s : float
        Length of a frame. [s]
    n_samples : (n,) int
        Logged samples in each frame.
    channels : mapping of str to Signal
        Channels by name.
    counts : mapping
        Flagged samples of each logged channel, by flag.
    notices : tuple of Notice
        What reading and calibrating the log gave cause to say.
    n_rows : int
        Rows of the log.
    sample_s : float
        Median time between rows. [s]
    sha256 : str
        Hash of the log file.
    """

    run: str
    time_s: FloatArray
    frame_s: float
    n_samples: IntArray
    channels: Mapping[str, Signal]
    counts: Mapping[str, Mapping[Flag, int]]
    notices: tuple[Notice, ...]
    n_rows: int
    sample_s: float
    sha256: str

    def __post_init__(self) -> None:
        object.__setattr__(self, "time_s", frozen(self.time_s))
        object.__setattr__(self, "n_samples", frozen(self.n_samples, np.int64))
        object.__setattr__(self, "channels", MappingProxyType(dict(self.channels)))
        object.__setattr__(self, "counts", MappingProxyType(dict(self.counts)))
        for signal in self.channels.values():
            if signal.values.shape != self.time_s.shape:
                raise ValueError(f"{signal.name}: not on the common frames")
