"""Lowest and highest values of columns, which frames average away."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from rigdata.arrays import FloatArray, IntArray
from rigdata.logs.block import Block
from rigdata.logs.flags import beyond_numbers

PIXELS = 900  # stretches of time


@dataclass
class Extremes:
    """First, last, lowest and highest numbers of one column so far.

    Attributes
    ----------
    first, last : float
        NaN while there is none.
    count : int
        Cells that hold a number.
    lows, highs : (PIXELS,) array
        Lowest and highest number of each stretch of time, NaN where there is none.
    """

    first: float = np.nan
    last: float = np.nan
    count: int = 0
    lows: FloatArray = field(default_factory=lambda: np.full(PIXELS, np.nan))
    highs: FloatArray = field(default_factory=lambda: np.full(PIXELS, np.nan))


class LogExtremes:
    """Extremes of columns over the whole log and over each of its stretches.

    Parameters
    ----------
    names : iterable of str
        The columns.
    low_s, high_s : float
        Where the first stretch begins and the last one ends. [s]
    """

    def __init__(self, names: Iterable[str], low_s: float, high_s: float) -> None:
        self.edges_s = np.linspace(low_s, high_s, PIXELS + 1)
        self.start_s, self.end_s = np.inf, -np.inf
        self.columns = {name: Extremes() for name in names}

    def take(self, block: Block) -> None:
        """Look at the next rows."""
        time = block.time_s
        if time.size == 0:
            return
        self.start_s = min(self.start_s, float(time[0]))
        self.end_s = max(self.end_s, float(time[-1]))
        place: IntArray = np.searchsorted(self.edges_s, time, side="right") - 1
        place = np.clip(place, 0, PIXELS - 1)
        for name, found in self.columns.items():
            values, _ = beyond_numbers(block.values[name])
            filled = values[~np.isnan(values)]
            if filled.size:
                found.first = float(filled[0]) if found.count == 0 else found.first
                found.last = float(filled[-1])
                found.count += filled.size
                np.fmin.at(found.lows, place, values)
                np.fmax.at(found.highs, place, values)
