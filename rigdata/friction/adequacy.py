"""Whether a law misses its points by more than chance, where, and by how much.

Bends along each quantity, and products of quantities, are offered to the law.  Where it
is right their score statistics are chi-square (C. R. Rao, Proc. Camb. Phil. Soc. 44
(1948) 50), with the scatter that was found under the law: a departure that passes for
scatter makes that larger, which the test survives, because scatter has no shape.
Where several runs met the same settings, the law is also asked whether these runs
depart from it alike, by the score of one more variance (D. Zhang and X. Lin,
Biostatistics 4 (2003) 57).
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import sparse, stats

from rigdata.arrays import FloatArray, IntArray
from rigdata.friction.conditions import ALL_AXES, AXES, Conditions, shown_axes
from rigdata.friction.joint import JointFit
from rigdata.friction.laws.knots import coordinate, knots_along, settings
from rigdata.friction.laws.natural_spline import line_and_bends
from rigdata.friction.nesting import numbered
from rigdata.quantities import QUANTITIES

LEVEL = 0.01  # the right law is seldom doubted, and a wrong one shows far below
MATTERS = 0.005  # relative to mu: tables follow their law no more closely than that
PRODUCTS, SETTINGS = "products", "settings"

_LEAST_NEW = 1e-4  # share of the weight of a column that the law does not already hold
_LEAST_SETTINGS, _MOST_SETTINGS = 3, 100  # that several runs met
_AT_ONCE = 10  # columns of n numbers, so that no matrix is far larger than those of the fit
_PLACES = 61

Offer = Callable[[Conditions], FloatArray]


@dataclass(frozen=True)
class Adequacy:
    """The test of a law, and the departure from it that is least likely to be chance.

    Attributes
    ----------
    law : str
        Name of the law.
    along : str
        What the departure follows: a member of `ALL_AXES`, ``products`` where the
        effect of one quantity changes with another, or ``settings`` where runs at the
        same settings depart alike in no simple shape.
    statistic : float
        Chi-square of the departure.
    dof : float
        Its degrees of freedom: about as large as the statistic where the law is right.
    p : float
        Probability of such a departure in any of the tests made, if the law is right.
    size : float
        Root mean square of the departure over the points, relative to mu, less what
        noise adds to it.
    off : float
        Where it is largest, the points over the law less 1.
    where : str
        That place in words, such as ``below 0.05 m/s``.
    """

    law: str
    along: str
    statistic: float
    dof: float
    p: float
    size: float
    off: float
    where: str

    @property
    def beyond_chance(self) -> bool:
        """Whether chance alone would seldom give such a departure."""
        return self.p < LEVEL

    @property
    def flagged(self) -> bool:
        """Whether the law misses its points by more than chance, and by enough to matter."""
        return self.beyond_chance and abs(self.off) >= MATTERS

    @property
    def words(self) -> str:
        """The departure in words, to follow the name of the law."""
        side = "above" if self.off > 0.0 else "below"
        size = f"{100.0 * abs(self.off):#.2g}".rstrip(".")
        chance = "p < 0.001" if self.p < 0.001 else f"p = {self.p:.2g}"
        told = f"up to {size} % {side} it {self.where} ({chance})"
        if self.along == SETTINGS:
            return f"runs at the same settings depart from it alike, {told}"
        if self.along == PRODUCTS:
            return f"the effect of one quantity changes with another, and points lie {told}"
        return f"the points lie {told}"


def adequacy_of(fit: JointFit) -> Adequacy | None:
    """Return the test of the law of a single group.

    Parameters
    ----------
    fit : JointFit
        Of one block, whose law is a formula.

    Returns
    -------
    Adequacy or None
        None where the tests vary nothing beyond what the law follows anyway.

    Notes
    -----
    With columns Z relative to the curve, ``s = Z^T P r`` and ``I = Z^T P Z``, the
    statistic is ``s^T I^-1 s``, its degrees of freedom the rank of I.  There is one
    test for each quantity, one for products and one for settings; the least of their
    probabilities counts, times their number (Bonferroni).
    """
    conditions = fit.design.blocks[0].conditions
    found = [_of_shape(fit, name, offer) for name, offer in _offered(conditions).items()]
    tried = [test for test in (*found, _of_settings(fit)) if test is not None]
    judged = [replace(test, p=min(1.0, len(tried) * test.p)) for test in tried]
    flagged = [test for test in judged if test.flagged]
    # A shape tells more than that runs depart alike, which they then do as well.
    shaped = [test for test in flagged if test.along != SETTINGS]
    return min(shaped or flagged or judged, key=lambda test: test.p, default=None)


def _offered(conditions: Conditions) -> dict[str, Offer]:
    """Return what is offered to the law, as functions of n conditions with (n, k) values."""
    shown = shown_axes(conditions)
    each = {
        axis: _along(axis, tuple(coordinate(axis, knots_along(conditions, axis)).tolist()))
        for axis in ALL_AXES
        if axis in shown
    }
    if len(each) < 2:
        return each

    def products(where: Conditions) -> FloatArray:
        lines = [offer(where)[:, 0] for offer in each.values()]
        pairs = itertools.combinations(lines, 2)
        return np.stack([one * other for one, other in pairs], axis=1)

    return {**each, PRODUCTS: products}


def _along(axis: str, knots: tuple[float, ...]) -> Offer:
    return lambda where: line_and_bends(knots, coordinate(axis, getattr(where, axis)))


def _of_shape(fit: JointFit, along: str, offer: Offer) -> Adequacy | None:
    """Return the score test of what an offer holds beyond the law."""
    at, block = fit.profile, fit.design.blocks[0]
    told = offer(block.conditions)
    columns = fit.curve[:, None] * told
    weight = np.sqrt(np.einsum("ij,ij,i->j", columns, columns, at.inverse_diagonal))
    scale = 1.0 / np.where(weight > 0.0, weight, 1.0)
    left, turn = np.linalg.eigh((columns * scale).T @ at.project(columns * scale))
    new = left > _LEAST_NEW
    if not np.any(new):
        return None
    # Directions whose scores are independent, of unit variance if the law is right.
    turn = scale[:, None] * turn[:, new] / np.sqrt(left[new])
    score = turn.T @ (columns.T @ at.projected)
    statistic, dof = float(score @ score), float(np.count_nonzero(new))
    taken = at.covariance @ (at.weighted_design.T @ columns) @ turn
    free = np.diag(fit.estimate.covariance) > 0.0

    def shapes(where: Conditions, told: FloatArray) -> FloatArray:
        """What a unit of each direction adds to the law once that is fitted again, (n, dof)."""
        theta, reference = fit.estimate.theta, fit.design.reference
        curve = block.law.mu(where, theta, reference)[:, None]
        slopes = block.law.jacobian(where, theta, reference)[:, free]
        added: FloatArray = told @ turn - slopes @ taken / curve
        return added

    over_points = shapes(block.conditions, told)
    square = np.mean((over_points @ score) ** 2) - np.mean(np.sum(over_points**2, axis=1))
    places, over_places = block.conditions, over_points
    if along != PRODUCTS:
        places = _line(block.conditions, along)
        over_places = shapes(places, offer(places))
    departure, noise = over_places @ score, np.linalg.norm(over_places, axis=1)
    peak = int(np.argmax(np.abs(departure) - noise))
    return Adequacy(
        law=block.law.name,
        along=along,
        statistic=statistic,
        dof=dof,
        p=float(stats.chi2.sf(statistic, dof)),
        size=float(np.sqrt(max(square, 0.0))),
        off=float(departure[peak]),
        where=_at(places, peak) if along == PRODUCTS else _range(places, along, departure, peak),
    )


def _of_settings(fit: JointFit) -> Adequacy | None:
    """Return the score test of what several runs at the same settings have in common.

    Of very many settings only those that most runs met are asked, which keeps the cost
    in proportion to the points.
    ``|F^T P r|^2``, with F the members of each setting, is held against chi-square with
    its mean and variance under the law, less what finding the other variances takes off.
    """
    at, block = fit.profile, fit.design.blocks[0]
    conditions, runs = block.conditions, block.points.run
    axes = AXES if np.isnan(conditions.dwell_s).any() else ALL_AXES
    which = np.zeros(len(conditions), dtype=np.int64)
    for own in (settings(conditions, axis) for axis in axes):
        which = which * (own.max() + 1) + own
    shared = _most_shared(np.unique(which, return_inverse=True)[1], *numbered(runs))
    if len(shared) < _LEAST_SETTINGS:
        return None
    member = _members(shared, fit.curve)
    inner, pulled = np.empty((len(shared),) * 2), member.T @ at.projected
    others = np.zeros(len(fit.model.components))
    for some in np.split(np.arange(len(shared)), range(_AT_ONCE, len(shared), _AT_ONCE)):
        projected = at.project(member[:, some].toarray())
        inner[:, some] = member.T @ projected
        others += [np.sum(own**2) for own in fit.model.by_component(projected)]
    found = fit.estimate.variances > 0.0
    taken = others[found] / 2.0
    information = 0.5 * float(np.sum(inner**2))
    if np.any(found):
        information -= float(taken @ np.linalg.solve(at.information[np.ix_(found, found)], taken))
    mean, square = float(np.trace(inner)), float(pulled @ pulled)
    if not (mean > 0.0 and information > 0.0):
        return None
    dof = mean**2 / (2.0 * information)
    statistic = square * dof / mean
    variance = max(square - mean, 0.0) / (2.0 * information)
    own = np.linalg.solve(np.eye(len(shared)) + variance * inner, variance * pulled)
    largest = int(np.argmax(np.abs(own)))
    return Adequacy(
        law=block.law.name,
        along=SETTINGS,
        statistic=statistic,
        dof=dof,
        p=float(stats.chi2.sf(statistic, dof)),
        size=float(np.sqrt(variance)),
        off=float(own[largest]),
        where=_at(conditions, int(shared[largest].min())),
    )


def _most_shared(setting: IntArray, run: IntArray, n_runs: int) -> list[IntArray]:
    """Return the points of settings that several runs met, of most runs where there are many."""
    count = np.bincount(np.unique(setting * n_runs + run) // n_runs)
    most = np.argsort(-count, kind="stable")[:_MOST_SETTINGS]
    return [np.flatnonzero(setting == one) for one in np.sort(most[count[most] > 1])]


def _members(sets: Sequence[IntArray], curve: FloatArray) -> sparse.csc_array:
    """Return what a unit of each set of points, relative to the curve, does to all, (n, s)."""
    row, ends = np.concatenate(sets), np.cumsum([0, *map(len, sets)])
    return sparse.csc_array((curve[row], row, ends), shape=(curve.size, len(sets)))


def _line(conditions: Conditions, axis: str) -> Conditions:
    """Return places over the tested range of one quantity, the others at their middles."""
    parts = {name: np.sort(getattr(conditions, name))[len(conditions) // 2] for name in ALL_AXES}
    values = getattr(conditions, axis)
    even = np.linspace(0.0, 1.0, _PLACES)
    if axis == "temperature_c":
        parts[axis] = values.min() + even * np.ptp(values)
    else:
        parts[axis] = values.min() * (values.max() / values.min()) ** even
    return Conditions(**parts)


def _range(places: Conditions, axis: str, departure: FloatArray, peak: int) -> str:
    """Return in words the range about the peak in which the departure is over half of it."""
    over = departure * np.sign(departure[peak]) >= 0.5 * abs(departure[peak])
    first, last = peak, peak
    while first > 0 and over[first - 1]:
        first -= 1
    while last < len(places) - 1 and over[last + 1]:
        last += 1
    values = getattr(places, axis)
    low, high, unit = f"{values[first]:.2g}", f"{values[last]:.2g}", QUANTITIES[axis].unit
    if axis == "temperature_c":
        low, high = f"{values[first]:.0f}", f"{values[last]:.0f}"
    if first == 0:
        return f"below {high} {unit}"
    return f"above {low} {unit}" if last == len(places) - 1 else f"from {low} to {high} {unit}"


def _at(conditions: Conditions, i: int) -> str:
    """Return one condition in words."""
    shown = [axis for axis in ALL_AXES if np.isfinite(getattr(conditions, axis)[i])]
    parts = [f"{getattr(conditions, axis)[i]:.3g} {QUANTITIES[axis].unit}" for axis in shown]
    return "at " + ", ".join(parts)
