"""A course that settles: a change that dies away over sliding work, and where it is over.

The model is ``y = m + a exp(-(w - w1) / w0)``, w1 being the first position and m the level
it settles to.  That is what a change does whose rate is in proportion to what is left of
it.  A straight line that ends in a corner is no safer choice: where the truth is
exponential it is taken to be steady 14 % too early, while an exponential for a corner is
40 % late, and where the conditions are followed badly the corner is fitted to that.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from scipy import stats

from rigdata.arrays import FloatArray, frozen

LEVEL = 0.95
LEAST_POINTS = 6
_GRID, _FINE = 80, 160  # values of w0, and among those that are nearly as good as the best
_NEAR = 15.0  # of the sum of squares
_MOST_DOF = 1e6
_MOST_SCALES = 30.0
_CORNERS = 600  # values of the change point that are tried for its interval
_SHORTEST = 0.25  # least w0, in gaps between the first points
_BEYOND = 20.0  # times the work tested, to which a change point is followed


@dataclass(frozen=True, eq=False)
class Course:
    """What a settling fit must know of a course.

    Attributes
    ----------
    work : (n,) float
        Positions, not falling.
    squares : float
        Sum of squares of the values about all that is fitted beside the change, its
        level among it, in units of their errors.
    against : callable
        Gives for (n, k) columns over the positions, freed of what is fitted beside the
        change, their products with the values and their own sums of squares, both (k,).
    dof : callable
        Degrees of freedom of the coefficient of an (n,) column.
    """

    work: FloatArray
    squares: float
    against: Callable[[FloatArray], tuple[FloatArray, FloatArray]] = field(repr=False)
    dof: Callable[[FloatArray], float] = field(repr=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "work", frozen(self.work))


@dataclass(frozen=True, eq=False)
class Profile:
    """The best fit for each w0: (k,) arrays.

    Attributes
    ----------
    scale, change, weight, squares : (k,) float
        w0, the best a, its inverse variance, and the sum of squares there.
    """

    scale: FloatArray
    change: FloatArray
    weight: FloatArray
    squares: FloatArray

    def __post_init__(self) -> None:
        for name in ("scale", "change", "weight", "squares"):
            object.__setattr__(self, name, frozen(getattr(self, name)))


@dataclass(frozen=True, eq=False)
class Settling:
    """The settling fit of one course.

    Attributes
    ----------
    first, last : float
        w1, where the course begins, and where it ends.
    change, u_change, scale : float
        a at the best fit, its standard uncertainty, and w0.
    squares : float
        Sum of squares of the best fit.
    dof : float
        Degrees of freedom of a.
    p : float
        Probability of such a fit where nothing changes.
    profile : Profile
    """

    first: float
    last: float
    change: float
    u_change: float
    scale: float
    squares: float
    dof: float
    p: float
    profile: Profile = field(repr=False)

    def share_left(self, work: FloatArray) -> FloatArray:
        """Return the share of the change that is left at each position, (m,)."""
        left: FloatArray = np.exp(-(work - self.first) / self.scale)
        return left

    def columns(self, work: FloatArray) -> FloatArray:
        """Return the share left and its derivative by ln w0 at each position, (m, 2)."""
        here = (work - self.first) / self.scale
        return np.stack([np.exp(-here), here * np.exp(-here)], axis=1)

    def most(self) -> float:
        """Return the largest change at the start that the course allows, whatever its w0.

        The 95 % bound of a at the w0 that allows most, of those that more than one
        point would show.
        """
        known = self.profile
        half = float(stats.t.ppf(0.5 * (1.0 + LEVEL), self.dof)) * known.weight**-0.5
        slow = known.scale >= min(known.scale[0] / _SHORTEST, known.scale[-1])
        return float(np.max((np.abs(known.change) + half)[slow]))

    def steady_at(self, within: float) -> float:
        """Return the position from which the course is `within` of its level."""
        if abs(self.change) <= within:
            return self.first
        return self.first + self.scale * float(np.log(abs(self.change) / within))

    def steady_interval(self, within: float) -> tuple[float, float]:
        """Return the 95 % interval of `steady_at`.

        Notes
        -----
        Profile likelihood: the interval holds every position whose sum of squares,
        least over all w0, passes the F test against the least of all.  A position
        fixes the change at the start for each w0.  The lower end is the first
        position where the course may be steady from there; the upper is infinite
        where the slowest change that is tried will do, or where the course may not
        settle within 20 times the work tested.
        """
        share = np.linspace(0.0, 1.0, _CORNERS + 1)
        more = np.geomspace(1.01, _BEYOND, _CORNERS // 3)
        places = self.first + (self.last - self.first) * np.append(share, more)
        best = self.steady_at(within)
        ends = np.insert(places, np.searchsorted(places, best, side="right"), best)
        known = self.profile
        scales = np.minimum((ends[:, None] - self.first) / known.scale, _MOST_SCALES)
        wanted = np.sign(self.change) * within * np.exp(scales)
        # At the first position any smaller change will do as well.
        wanted[0] = np.clip(known.change, -within, within)
        squares = (known.squares + (wanted - known.change) ** 2 * known.weight).min(axis=1)
        allowed = self.squares + float(stats.t.ppf(0.5 * (1.0 + LEVEL), self.dof)) ** 2
        inside = np.flatnonzero(squares <= allowed)
        low, high = int(inside[0]), int(inside[-1])
        open_end = high == ends.size - 1 or known.squares[-1] <= allowed
        return (
            _crossing(ends, squares, low, low - 1, allowed) if low else self.first,
            np.inf if open_end else _crossing(ends, squares, high, high + 1, allowed),
        )


def _crossing(x: FloatArray, y: FloatArray, inside: int, outside: int, level: float) -> float:
    """Return where a straight line between two points passes a level."""
    share = (level - y[inside]) / (y[outside] - y[inside])
    return float(x[inside] + share * (x[outside] - x[inside]))


def settle(course: Course) -> Settling | None:
    """Fit a course; None with fewer than six points or nothing between them.

    Notes
    -----
    For each w0 the model is linear, so a follows in closed form, and w0 is found on a
    grid and then on a finer one.  It lies between a quarter of the gap between the
    first points and the whole work tested: a slower change is a slope whose level the
    tests do not show.  `p` is that of the F test of both a and w0 against a level; it
    is approximate, as w0 means nothing where a is 0 (R. B. Davies, Biometrika 74 (1987)
    33, on such tests).
    """
    work, first, last = course.work, float(course.work[0]), float(course.work[-1])
    span = last - first
    if work.size < LEAST_POINTS or not span > 0.0:
        return None
    gaps = np.diff(work)
    least = max(_SHORTEST * float(np.median(gaps[gaps > 0.0][:LEAST_POINTS])), 1e-4 * span)
    coarse = _profile(course, np.geomspace(min(least, 0.5 * span), span, _GRID))
    near = np.flatnonzero(coarse.squares <= coarse.squares.min() + _NEAR)
    low, high = coarse.scale[max(near[0] - 1, 0)], coarse.scale[min(near[-1] + 1, _GRID - 1)]
    fine = _profile(course, np.geomspace(low, high, _FINE))
    profile = _merged(coarse, fine)
    best = int(np.argmin(profile.squares))
    scale, squares = float(profile.scale[best]), float(profile.squares[best])
    dof = min(course.dof(np.exp(-(work - first) / scale)), _MOST_DOF)
    return Settling(
        first=first,
        last=last,
        change=float(profile.change[best]),
        u_change=float(profile.weight[best] ** -0.5),
        scale=scale,
        squares=squares,
        dof=dof,
        p=float(stats.f.sf((course.squares - squares) / 2.0, 2, dof)),
        profile=profile,
    )


def _profile(course: Course, scales: FloatArray) -> Profile:
    """Return the best fit for each of `scales`, (k,)."""
    done = (course.work - course.work[0])[:, None]
    products, weights = course.against(np.exp(-done / scales))
    weights = np.maximum(weights, np.finfo(float).tiny)
    changes = products / weights
    return Profile(scales, changes, weights, np.maximum(course.squares - changes * products, 0.0))


def _merged(*parts: Profile) -> Profile:
    """Return the profiles as one, scales rising."""
    order = np.argsort(np.concatenate([part.scale for part in parts]), kind="stable")
    return Profile(
        *(
            np.concatenate([getattr(part, name) for part in parts])[order]
            for name in ("scale", "change", "weight", "squares")
        )
    )
