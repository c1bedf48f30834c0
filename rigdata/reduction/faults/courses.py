"""How the torque of a run goes over time beside that of like runs."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from rigdata.arrays import FloatArray, frozen
from rigdata.reduction.drag import DragData
from rigdata.reduction.points import FrictionPoints

_LIKE = (0.1, 5.0, 0.1)  # in ln speed, K and ln pressure: the same place of the same programme
_FEWEST = 12  # places that two runs have in common
_LEAST_LIKE = 2  # runs: of two alone either may be the odd one
SURFACE = "*"
_TURNS = np.arange(0.5, 12.01, 0.2)  # of a wave within a run


@dataclass(frozen=True, eq=False)
class Course:
    """What is left of the torque of a run when that of like runs is taken off.

    Attributes
    ----------
    time_s : (n,) float
        When. [s]
    apart : (k, n) float
        What is left beside each of k like runs, its middle taken off: relative, or in
        N m for a drag run; NaN where that run was not at the same place.
    like : tuple of k str
        Those runs; a drag run is set beside a surface fitted to all others, named ``*``.
    """

    time_s: FloatArray
    apart: FloatArray
    like: tuple[str, ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "time_s", frozen(self.time_s))
        object.__setattr__(self, "apart", frozen(self.apart))

    def without(self, runs: Collection[str]) -> Strays | None:
        """Return how the run strays from those not in `runs`; None where too few are left."""
        kept = [i for i, name in enumerate(self.like) if name not in runs]
        if self.like != (SURFACE,) and len(kept) < _LEAST_LIKE:
            return None
        apart = self.apart[kept]
        seen = np.isfinite(apart).any(axis=0)
        if np.count_nonzero(seen) < _FEWEST:
            return None
        rest = np.nanmedian(apart[:, seen], axis=0)
        return Strays(self.time_s[seen], rest - np.median(rest))


@dataclass(frozen=True, eq=False)
class Strays:
    """How a run strays from its course: over time, about nought."""

    time_s: FloatArray
    rest: FloatArray

    @property
    def size(self) -> float:
        """Root mean square of what is left."""
        return float(np.sqrt(np.mean(self.rest**2)))

    def wave(self) -> tuple[float, float]:
        """Return the period of the wave that explains most, and the share that it does. [s]"""
        span = float(np.ptp(self.time_s))
        phase = 2.0 * math.pi * _TURNS[:, None] * self.time_s / span
        basis = np.stack([np.ones(phase.shape), np.sin(phase), np.cos(phase)], axis=-1)
        along = self.rest @ basis
        normal = np.swapaxes(basis, 1, 2) @ basis
        # Some waves are nought at all times, or the same as another.
        fitted = (np.linalg.pinv(normal, hermitian=True) @ along[:, :, None])[:, :, 0]
        explained = np.sum(fitted * along, axis=1) / float(self.rest @ self.rest)
        best = int(np.argmax(explained))
        return span / float(_TURNS[best]), float(explained[best])

    def move(self) -> float:
        """Return the share that a step, or a steady move, explains, whichever is more."""
        rest = self.rest - self.rest.mean()
        total, n = float(rest @ rest), rest.size
        before = np.arange(1, n)
        steps = np.cumsum(rest)[:-1] ** 2 * n / (before * (n - before))
        time = self.time_s - self.time_s.mean()
        steady = float(time @ rest) ** 2 / float(time @ time)
        return max(float(steps.max()), steady) / total

    @cached_property
    def wave_size(self) -> float:
        """Root mean square of that wave."""
        return self.size * math.sqrt(self.wave()[1])


def friction_courses(points: Sequence[FrictionPoints]) -> dict[str, Course]:
    """Set every run beside those of other packs of its material at the same places.

    A temperature sweep is set beside its own parabola in temperature: there are few of
    them, and nothing else in it changes.
    """
    runs = {str(part.run[0]): part for part in points if len(part)}
    found = {}
    for name, one in runs.items():
        if one.procedure[0] == "temperature-sweep":
            if len(one) >= _FEWEST and (one.mu > 0.0).all():
                found[name] = _beside_parabola(one)
            continue
        like = [part for part in runs.values() if _alike(one, part)]
        if not like:
            continue
        each = {str(part.run[0]): _apart(one, part) for part in like}
        each = {r: a for r, a in each.items() if np.count_nonzero(np.isfinite(a)) >= _FEWEST}
        if each:
            # The level of each run is its own.
            apart = frozen([values - np.nanmedian(values) for values in each.values()])
            found[name] = Course(_middle(one), apart, tuple(each))
    return found


def _beside_parabola(one: FrictionPoints) -> Course:
    warmth = one.temperature_c - one.temperature_c.mean()
    ln_mu = np.log(one.mu)
    left = ln_mu - np.polyval(np.polyfit(warmth, ln_mu, 2), warmth)
    return Course(_middle(one), frozen([left]), (SURFACE,))


def drag_courses(
    runs: Sequence[DragData], expected: Mapping[str, FloatArray], cell_s: float
) -> dict[str, Course]:
    """Set every drag run beside what the others let expect; its cells are `cell_s` long."""
    found = {}
    for one in runs:
        if one.run in expected:
            left = one.torque - expected[one.run]
            time_s = cell_s * np.arange(left.size, dtype=np.float64)
            found[one.run] = Course(time_s, frozen([left - np.median(left)]), (SURFACE,))
    return found


def _alike(one: FrictionPoints, part: FrictionPoints) -> bool:
    same = all(
        getattr(one, name)[0] == getattr(part, name)[0]
        for name in ("material", "state", "procedure", "kind")
    )
    return bool(same and one.pack[0] != part.pack[0] and one.kind[0] == "kinetic")


def _apart(one: FrictionPoints, part: FrictionPoints) -> FloatArray:
    """(n,) difference of ln mu from the nearest point of another run, NaN where none is near."""
    scale = zip(_LIKE, (_ln_speed, _warmth, _ln_pressure), strict=True)
    far = np.max([np.abs(of(one)[:, None] - of(part)) / width for width, of in scale], axis=0)
    far = np.where(one.direction[:, None] == part.direction, far, np.inf)
    nearest = far.argmin(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        apart: FloatArray = np.log(one.mu) - np.log(part.mu[nearest])
    near = far[np.arange(far.shape[0]), nearest] <= 1.0
    kept: FloatArray = np.where(near & np.isfinite(apart), apart, np.nan)
    return kept


def _ln_speed(part: FrictionPoints) -> FloatArray:
    return np.log(part.slip_speed_m_s)


def _warmth(part: FrictionPoints) -> FloatArray:
    return part.temperature_c


def _ln_pressure(part: FrictionPoints) -> FloatArray:
    return np.log(part.pressure_mpa)


def _middle(part: FrictionPoints) -> FloatArray:
    middle: FloatArray = 0.5 * (part.start_s + part.end_s)
    return middle
