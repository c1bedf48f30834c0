"""Stick and slip as the logs show it: who oscillates, below which speed, how strongly.

A pack at the end of a drive line of inertia J, stiffness k and damping c slips
steadily only where ``c + N r_e^2 F dmu/dv > 0``: friction that falls with slip speed
pumps energy into the swing, in proportion to the load.  Where the sum is negative
an oscillation of about ``sqrt(k / J)`` grows until the plates stand still for a
part of each cycle (self-excited vibration; J. P. Den Hartog, Mechanical Vibrations,
from memory).  So an onset belongs to the rig as much as to the material, and that
it moves with pressure is to be expected; none of these three numbers is used here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy import stats

from rigdata.friction.conditions import ReferenceCondition
from rigdata.friction.design import conditions_of
from rigdata.friction.onset import ALPHA, Onset, depends_on_speed, find_onset
from rigdata.friction.results import FrictionFit, Group
from rigdata.friction.ripple import Windows, ripple_windows, spans_speed
from rigdata.friction.slopes import speed_slope
from rigdata.reduction.points import FrictionPoints
from rigdata.reduction.slip import LEAST_STICK

NONE, ONSET, EVERYWHERE, NOT_BY_SPEED = "none", "onset", "everywhere", "not by speed"
_SHARE_OF_ALL = 0.9  # oscillating, from which it is everywhere


@dataclass(frozen=True)
class Place:
    """One window: where it was, and how its torque oscillates there."""

    point: str
    slip_speed_m_s: float
    temperature_c: float
    pressure_mpa: float
    ripple: float
    hz: float
    stick_share: float


@dataclass(frozen=True)
class SlopeLink:
    """Whether the windows that oscillate are those where the fitted law falls with speed.

    Attributes
    ----------
    falling, rising : (int, int)
        Windows that oscillate and all windows, where mu falls and where it rises.
    p : float
        Chance of so clear a link by accident (Fisher's exact test, one-sided).
    """

    falling: tuple[int, int]
    rising: tuple[int, int]
    p: float


@dataclass(frozen=True)
class StickSlip:
    """What the torque ripple of one group says of stick and slip.

    Attributes
    ----------
    group : Group
    verdict : str
        ``none``; ``onset``: below a slip speed; ``everywhere``: at all speeds tested;
        ``not by speed``: oscillating, but not for being slow.
    windows, oscillating, sticking : int
        Windows looked at, those that oscillate, and those with plates that stand
        still for `LEAST_STICK` of the time.
    packs, packs_oscillating : int
        Packs tested, and those with an oscillating window.
    slowest, fastest : float
        Slip speeds tested. [m/s]
    baseline, limit : float
        Median ripple of the windows that run quietly, and of what noise alone stays
        below, as shares of the torque; NaN where there is none.
    onset : Onset or None
        The onset slip speed; None where there is none to be stated.
    worst : Place or None
        The window that oscillates most strongly.
    ripple, hz : (float, float)
        Lower and upper quartile over the oscillating windows.
    quiet_hz : float
        Frequency that most of the others show, such as that of the mains; else NaN. [Hz]
    above_hz : float
        What most of them only show their frequency to be above; else NaN. [Hz]
    link : SlopeLink or None
        None where the law does not follow speed or nothing oscillates.
    """

    group: Group
    verdict: str
    windows: int
    oscillating: int
    sticking: int
    packs: int
    packs_oscillating: int
    slowest: float
    fastest: float
    baseline: float
    limit: float
    onset: Onset | None
    worst: Place | None
    ripple: tuple[float, float]
    hz: tuple[float, float]
    quiet_hz: float
    above_hz: float
    link: SlopeLink | None

    @property
    def onset_range(self) -> tuple[float, float]:
        """Limits of the onset slip speed: 0 or infinite where only one can be given. [m/s]"""
        if self.onset is not None:
            return self.onset.low, self.onset.high
        return {NONE: (0.0, self.slowest), EVERYWHERE: (self.fastest, math.inf)}.get(
            self.verdict, (math.nan, math.nan)
        )


def find_stick_slip(
    points: FrictionPoints,
    fits: Mapping[Group, FrictionFit],
    reference: ReferenceCondition,
) -> dict[Group, StickSlip]:
    """Say for every group whether and where its packs stick and slip.

    Parameters
    ----------
    points : FrictionPoints
        Of a whole campaign.
    fits : mapping of Group to FrictionFit
        Kinetic laws, for the slope of mu over speed; groups without one have no link.
    reference : ReferenceCondition
        Whose temperature and pressure the onset is stated at.

    Returns
    -------
    dict of Group to StickSlip
        Groups without any measured ripple are left out.

    Notes
    -----
    An onset is called where at least three windows oscillate and these are the
    slower ones beyond chance (1 % that quiet packs give one).  An oscillation at 90 %
    of the windows or more is everywhere if other groups on the rig run quietly; any
    other that does not go with low speed is said to be there, and not stick and slip.
    """
    windows = ripple_windows(points)
    pairs = zip(windows.points.material.tolist(), windows.points.state.tolist(), strict=True)
    found = {}
    for material, state in dict.fromkeys(pairs):
        group, own = Group(material, state), windows.points
        chosen = (own.material == material) & (own.state == state)
        found[group] = _of_group(group, windows.select(chosen), fits.get(group), reference)
    return found


def _of_group(
    group: Group, windows: Windows, fit: FrictionFit | None, reference: ReferenceCondition
) -> StickSlip:
    points, seen = windows.points, windows.oscillates
    onset = find_onset(windows, reference) if depends_on_speed(windows) else None
    quiet = points.torque_ripple[~seen]
    limits = points.ripple_limit[np.isfinite(points.ripple_limit)]
    return StickSlip(
        group=group,
        verdict=_verdict(windows, onset),
        windows=len(windows),
        oscillating=int(seen.sum()),
        sticking=int(np.sum(points.stick_share >= LEAST_STICK)),
        packs=len(set(points.pack.tolist())),
        packs_oscillating=len(set(points.pack[seen].tolist())),
        slowest=float(points.slip_speed_m_s.min()),
        fastest=float(points.slip_speed_m_s.max()),
        baseline=float(np.median(quiet)) if quiet.size else math.nan,
        limit=float(np.median(limits)) if limits.size else math.nan,
        onset=onset,
        worst=_worst(windows) if seen.any() else None,
        ripple=_quartiles(points.torque_ripple[seen]),
        hz=_quartiles(points.ripple_hz[seen]),
        quiet_hz=_typical(points.ripple_hz[~seen]),
        above_hz=_typical(points.ripple_above_hz[seen]),
        link=_link(windows, fit) if fit is not None and seen.any() else None,
    )


def _verdict(windows: Windows, onset: Onset | None) -> str:
    """Name what is seen; a few windows over the threshold by chance are nothing."""
    seen = windows.oscillates
    if onset is not None:
        return ONSET
    chance = 1.0 - float(stats.binom.cdf(int(seen.sum()) - 1, seen.size, 0.02))
    if chance > ALPHA:
        return NONE
    speeds = spans_speed(windows.points.slip_speed_m_s)
    return EVERYWHERE if speeds and seen.mean() >= _SHARE_OF_ALL else NOT_BY_SPEED


def _worst(windows: Windows) -> Place:
    points, seen = windows.points, windows.oscillates
    i = int(np.argmax(np.where(seen, points.torque_ripple, -1.0)))
    return Place(
        point=str(points.point[i]),
        slip_speed_m_s=float(points.slip_speed_m_s[i]),
        temperature_c=float(points.temperature_c[i]),
        pressure_mpa=float(points.pressure_mpa[i]),
        ripple=float(points.torque_ripple[i]),
        hz=float(points.ripple_hz[i]),
        stick_share=float(points.stick_share[i]),
    )


def _quartiles(values: np.ndarray) -> tuple[float, float]:
    known = values[np.isfinite(values)]
    if not known.size:
        return math.nan, math.nan
    low, high = np.quantile(known, [0.25, 0.75]).tolist()
    return low, high


def _typical(values: np.ndarray) -> float:
    """Return the median of the numbers there are, NaN where most windows have none."""
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size > 0.5 * values.size else math.nan


def _link(windows: Windows, fit: FrictionFit) -> SlopeLink | None:
    slope = speed_slope(fit, conditions_of(windows.points)).value
    if not np.any(slope):
        return None
    falls, seen = slope < 0.0, windows.oscillates
    table = [[int(np.sum(a & b)) for b in (seen, ~seen)] for a in (falls, ~falls)]
    return SlopeLink(
        falling=(table[0][0], sum(table[0])),
        rising=(table[1][0], sum(table[1])),
        p=float(stats.fisher_exact(table, alternative="greater").pvalue),
    )
