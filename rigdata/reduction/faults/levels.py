"""How far the coefficients of a run lie from those of like runs."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.campaign.campaign import Oil
from rigdata.errors import ReductionError
from rigdata.reduction.drag import DragData, fit_drag
from rigdata.reduction.faults.traits import middle
from rigdata.reduction.points import FrictionPoints

# Within which two points are at like conditions; what the rest does to mu is scatter.
_LIKE_LN_SPEED, _LIKE_K = 0.35, 25.0
_MOST_PACKS, _MOST_RUNS = 12, 12  # that a median is taken over
_LEAST_SPREAD = 0.03  # of mu, between runs of one material (common practice, no source)
_BORROWED = 10  # runs that what is usual in a campaign counts for: few of a group show little
_DRAG_SPREAD = 0.03  # the least that the drag of packs differs by


@dataclass(frozen=True)
class Level:
    """Torque over load of one run against that of like runs.

    Attributes
    ----------
    offset : float
        Natural logarithm of the ratio; minus infinity for nothing at all.
    spread : float
        How far like runs lie apart, robustly; of few of them as far as is usual in the
        campaign.
    runs, packs : int
        How many it was compared with.
    """

    offset: float
    spread: float
    runs: int
    packs: int

    @property
    def ratio(self) -> float:
        """The ratio itself."""
        return math.exp(self.offset)


@dataclass(frozen=True, eq=False)
class _Run:
    pack: str
    group: tuple[str, ...]
    ln_speed: FloatArray
    warmth: FloatArray
    ln_mu: FloatArray


def friction_levels(points: Sequence[FrictionPoints]) -> dict[str, Level]:
    """Compare every run with those of the same material in the same state.

    For each other run the median of ``ln mu - ln mu'`` over points at like slip speed
    and temperature; of these the median within each pack, then over the packs, the
    run's own among them.  One run, or one pack of three, does not move a median.
    """
    runs = {str(part.run[0]): _run(part) for part in points if len(part)}
    groups: dict[tuple[str, ...], dict[str, list[str]]] = {}
    for name, one in runs.items():
        groups.setdefault(one.group, {}).setdefault(one.pack, []).append(name)
    found = {}
    for name, one in runs.items():
        by_pack: dict[str, list[float]] = {}
        for other in _peers(groups[one.group], one.pack):
            if other != name and math.isfinite(apart := _apart(one, runs[other])):
                by_pack.setdefault(runs[other].pack, []).append(apart)
        each = [value for values in by_pack.values() for value in values]
        if len(each) < 2:
            continue
        offset = float(np.median([np.median(values) for values in by_pack.values()]))
        spread = max(middle(each)[1], _LEAST_SPREAD)
        found[name] = Level(offset, spread, len(each), len(by_pack))
    usual = float(np.median([level.spread for level in found.values()])) if found else 0.0
    return {name: _drawn(level, usual) for name, level in found.items()}


def _drawn(level: Level, usual: float) -> Level:
    """Draw a spread that few runs show towards what is usual, as a mean of variances."""
    total = level.runs * level.spread**2 + _BORROWED * usual**2
    return replace(level, spread=math.sqrt(total / (level.runs + _BORROWED)))


def _peers(packs: Mapping[str, list[str]], own: str) -> list[str]:
    """Return the runs of a pack and of as many others as a median needs."""
    named = [own, *_spread([pack for pack in packs if pack != own], _MOST_PACKS)]
    return [run for pack in named for run in _spread(packs[pack], _MOST_RUNS)]


def _spread(names: list[str], most: int) -> list[str]:
    """Return at most so many of the names, evenly."""
    return (
        [names[i] for i in np.unique(np.linspace(0, len(names) - 1, most).astype(int))]
        if names
        else []
    )


def drag_of_others(runs: Sequence[DragData], oil: Oil | None) -> dict[str, FloatArray]:
    """Return the drag torque that a surface fitted to all other runs gives each run. [N m]

    Empty for fewer than three runs: of two alone either may be the odd one.
    """
    found = {}
    for one in runs if len(runs) > 2 else ():
        with suppress(ReductionError):
            surface = fit_drag([run for run in runs if run is not one], oil)
            found[one.run] = surface.torque(one.speed, one.oil_temperature)
    return found


def drag_levels(runs: Sequence[DragData], expected: Mapping[str, FloatArray]) -> dict[str, Level]:
    """Compare every drag run with what the others let expect (`drag_of_others`)."""
    ratios = {
        one.run: float(one.torque @ expected[one.run] / (expected[one.run] @ expected[one.run]))
        for one in runs
        if one.run in expected
    }
    return {run: _drag_level(run, ratios) for run in ratios}


def _drag_level(run: str, ratios: Mapping[str, float]) -> Level:
    rest = [ratio for other, ratio in ratios.items() if other != run]
    centre, spread, count = middle(rest)
    ratio = ratios[run] / centre if centre > 0.0 else math.nan
    offset = math.log(ratio) if ratio > 0.0 else -math.inf
    return Level(offset, max(spread, _DRAG_SPREAD), count, count)


def _run(part: FrictionPoints) -> _Run:
    positive = part.mu > 0.0
    kind = "bedding" if part.procedure[0] == "bedding" else str(part.kind[0])
    with np.errstate(divide="ignore"):
        ln_speed = np.log(part.slip_speed_m_s[positive])
    return _Run(
        str(part.pack[0]),
        (str(part.material[0]), str(part.state[0]), kind),
        ln_speed,
        part.temperature_c[positive],
        np.log(part.mu[positive]),
    )


def _apart(one: _Run, like: _Run) -> float:
    """Median difference of ln mu over the points that the two runs have in common."""
    if one.group[-1] == "static":
        far = np.zeros((one.ln_mu.size, like.ln_mu.size))
    else:
        far = np.abs(one.ln_speed[:, None] - like.ln_speed) / _LIKE_LN_SPEED
    far = np.maximum(far, np.abs(one.warmth[:, None] - like.warmth) / _LIKE_K)
    if far.size == 0:
        return math.nan
    nearest = far.argmin(axis=1)
    near = far[np.arange(far.shape[0]), nearest] <= 1.0
    if not near.any():
        return math.nan
    return float(np.median(one.ln_mu[near] - like.ln_mu[nearest[near]]))
