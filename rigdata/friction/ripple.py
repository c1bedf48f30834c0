"""Which windows oscillate: torque ripple against what it is where the pack runs quietly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigdata.arrays import BoolArray, FloatArray, IntArray, frozen
from rigdata.friction.conditions import LEAST_SPEED_RATIO
from rigdata.reduction.points import FrictionPoints
from rigdata.reduction.slip import LEAST_STICK

# Common practice, no source.
FACTOR = 3.0  # over its baseline, from which ripple counts as an oscillation
LEAST_RIPPLE = 0.01  # of the torque; less is of no consequence
_QUIET = 0.1  # quantile of ripple at which a pack runs quietly ...
_FLOOR = 0.25  # ... and of such baselines, at which the rig does


@dataclass(frozen=True, eq=False)
class Windows:
    """The windows of a campaign in which torque ripple was measured.

    Attributes
    ----------
    points : FrictionPoints
        The n windows, in their order.
    stratum : (n,) int
        Windows with the same number were run alike but for their slip speed: one
        way of a sweep, or the holds of a pack.
    baseline : (n,) float
        Ripple that each would have when it runs quietly.
    oscillates : (n,) bool
    """

    points: FrictionPoints
    stratum: IntArray
    baseline: FloatArray
    oscillates: BoolArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "stratum", frozen(self.stratum, np.int64))
        object.__setattr__(self, "baseline", frozen(self.baseline))
        object.__setattr__(self, "oscillates", frozen(self.oscillates, np.bool_))

    def __len__(self) -> int:
        return len(self.points)

    def select(self, chosen: BoolArray) -> Windows:
        """Return the windows chosen by a mask."""
        return Windows(
            self.points.select(chosen),
            self.stratum[chosen],
            self.baseline[chosen],
            self.oscillates[chosen],
        )


def ripple_windows(points: FrictionPoints) -> Windows:
    """Tell the windows that oscillate from those that run quietly.

    Parameters
    ----------
    points : FrictionPoints
        Of a whole campaign: what its quiet windows share is the rig's own.

    Returns
    -------
    Windows
        Kinetic points with a ripple, used or set aside because the plates stick.

    Notes
    -----
    The baseline is the lower decile of the ripple among windows that were run
    alike but for their slip speed; so what is there at every speed, such as mains
    hum or a drive that turns unevenly, is baseline.  It is believed up to `FACTOR`
    times the floor of the rig, the lower quartile of all baselines, as a share of
    the torque or as a torque, whichever is more there; beyond, a pack oscillates at
    all its speeds, and the floor of the rig stands in.

    A window oscillates where its ripple is above `FACTOR` times the baseline, above
    the limit of the cell's noise and above `LEAST_RIPPLE`, or where its plates
    stand still for `LEAST_STICK` of the time or more.
    """
    sticks = points.stick_share >= LEAST_STICK
    measured = np.isfinite(points.torque_ripple) & (points.slip_speed_m_s > 0.0)
    wanted = (points.kind == "kinetic") & measured & (points.used | sticks) & (points.mu > 0.0)
    own, sticks = points.select(wanted), sticks[wanted]
    stratum = _strata(own)
    baseline = np.zeros(len(own))
    torque = own.mu * own.pressure_mpa  # to a factor that packs of one geometry share
    shares, torques = (
        _quiet(own.torque_ripple, stratum),
        _quiet(own.torque_ripple * torque, stratum),
    )
    if len(own):
        floor = np.maximum(np.quantile(shares, _FLOOR), np.quantile(torques, _FLOOR) / torque)
        baseline = np.where(shares[stratum] <= FACTOR * floor, shares[stratum], floor)
    limit = np.where(np.isfinite(own.ripple_limit), own.ripple_limit, 0.0)
    least = np.maximum(np.maximum(FACTOR * baseline, limit), LEAST_RIPPLE)
    return Windows(own, stratum, baseline, (own.torque_ripple > least) | sticks)


def spans_speed(speed: FloatArray) -> bool:
    """Return whether slip speeds differ enough for ripple to depend on them."""
    return bool(speed.max() >= LEAST_SPEED_RATIO * speed.min())


def _strata(points: FrictionPoints) -> IntArray:
    """Number the windows of one way of a run that spans speeds, and the others by pack."""
    names = []
    spans = {
        run: spans_speed(points.slip_speed_m_s[points.run == run])
        for run in dict.fromkeys(points.run.tolist())
    }
    for run, pack, way in zip(
        points.run.tolist(), points.pack.tolist(), points.direction.tolist(), strict=True
    ):
        names.append(("run", run, way) if spans[run] else ("pack", pack, ""))
    number = {name: i for i, name in enumerate(dict.fromkeys(names))}
    return np.array([number[name] for name in names], dtype=np.int64)


def _quiet(ripple: FloatArray, stratum: IntArray) -> FloatArray:
    """Return the quiet level of each stratum."""
    count = int(stratum.max()) + 1 if stratum.size else 0
    return np.array([np.quantile(ripple[stratum == i], _QUIET) for i in range(count)])
