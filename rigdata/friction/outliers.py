"""Points and runs that lie off all the others by more than their scatter explains.

A suspect is judged by its deletion residual: how far it lies from what all the
others predict of it, in standard deviations of that difference, with the scatter
estimated without it.  So an outlier cannot hide behind the scatter that it
makes itself.  Several could still hide behind each other: points are therefore
first suspected on a scale that half of them may spoil, and runs are taken out in
sets of growing size.

References
----------
R. D. Cook and S. Weisberg, Residuals and Influence in Regression (1982), section
2.2 (deletion residuals); B. Rosner, Technometrics 25 (1983) 165 (several outliers
at once); both from memory, the tests hold the closed forms against refits and the
rate of false alarms against simulation.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import stats

from rigdata.arrays import FloatArray, IntArray
from rigdata.friction.estimate import kind_of
from rigdata.friction.mixed_model import MixedModel, Profile, profile
from rigdata.friction.run_space import RunSpace
from rigdata.friction.variance_components import mean_squares, restricted_variances

FAMILY_RISK = 0.01  # of one false alarm among all clean points, and among all clean runs
_MOST_POINTS = 0.2  # share of the points; more are no outliers but a law that is wrong
_MOST_RUNS = 0.25
_MOST_MISSES = 2  # set sizes in a row that show no outlying runs
_SUSPECT = 2.5  # standard deviations, on a scale and about a curve that others may have spoiled
_TURNS = 10
_BISECTIONS = 40
_CHI2_MEDIAN = 0.4549364231195724
_LEAST_PRECISION = 1e-6  # of a point about the law, that the law itself does not take up
_NONE = np.zeros(0, dtype=np.int64)


@dataclass(frozen=True, eq=False)
class Case:
    """A fitted model, in which to look for outliers.

    Attributes
    ----------
    model : MixedModel
        Of one group, n points, nothing down-weighted.
    variances : (c,) array
        Its variance components.
    curve : (n,) array
        Fitted curve.
    run : (n,) int array
        Number of each point's run, from 0.
    pack_of : (r,) int array
        Number of each run's pack.
    """

    model: MixedModel
    variances: FloatArray
    curve: FloatArray
    run: IntArray
    pack_of: IntArray

    def place(self, kind: str) -> int | None:
        """Return the place of a variance component, None where there is none."""
        kinds = [kind_of(component.name) for component in self.model.components]
        return kinds.index(kind) if kind in kinds else None

    def dof(self, at: Profile, variances: FloatArray, kind: str) -> float:
        """Return the degrees of freedom of a variance component, 0 where there is none."""
        names = [component.name for component in self.model.components]
        place = self.place(kind)
        return 0.0 if place is None else float(mean_squares(at, variances, names)[2][place])

    def columns(self, points: IntArray, runs: IntArray) -> FloatArray:
        """(n, q) effect of a relative shift of each of some points, then of some runs."""
        matrix = np.zeros((self.curve.size, points.size + runs.size))
        matrix[points, np.arange(points.size)] = 1.0
        matrix[:, points.size :] = self.run[:, None] == runs
        matrix *= self.curve[:, None]
        return matrix


@dataclass(frozen=True, eq=False)
class Outliers:
    """What was found: points first, then runs.

    Attributes
    ----------
    points, runs : int arrays
        Their numbers.
    deviation : (q,) array
        Of each from what the others predict, relative to the curve.
    u : (q,) array
        Its standard deviation, were it no outlier.
    cutoff : (q,) array
        How many of these it may be off.
    log_likelihood : float
        Of all the others.
    trouble : str
        Why the search came to no good end; empty when it did.
    """

    points: IntArray
    runs: IntArray
    deviation: FloatArray
    u: FloatArray
    cutoff: FloatArray
    log_likelihood: float
    trouble: str

    def __len__(self) -> int:
        return int(self.deviation.size)


def find_outliers(case: Case, known: IntArray = _NONE) -> Outliers:
    """Return the points and runs that all the others cannot explain.

    Parameters
    ----------
    case : Case
    known : int array
        Runs that are suspected from the outset.

    Returns
    -------
    Outliers
        Each beyond its own cutoff, the others' scatter being estimated without any of them.
    """
    bare = _core(case, _NONE, _NONE, case.variances)
    assert bare is not None
    core = _core(case, _NONE, known, case.variances) or bare
    suspects, trouble = _suspected_points(case, core.at, core.variances), ""
    for _ in range(_TURNS):
        before = core
        core, still = _settle_points(case, core, suspects)
        core = _settle_runs(case, core)
        suspects = core.points
        if still and core.has_members_of(before):
            break
    else:
        trouble = "the search for outliers went in circles"
    if core.points.size > _MOST_POINTS * case.curve.size:
        core, trouble = bare, "more points lie off the others than can be outliers"
    cutoff = np.full(core.shift.size, _run_cutoff(case, core))
    cutoff[: core.points.size] = _point_cutoff(case, core)
    likelihood = float(core.at.full)
    return Outliers(core.points, core.runs, core.shift, core.u, cutoff, likelihood, trouble)


def most_gain(case: Case, at: Profile) -> float:
    """Return how far -2 ln L may fall by taking outliers out; 0 where there are none.

    It costs little, and a full search is due only where this is worth it.

    Notes
    -----
    Without the suspects the squared residuals are smaller in a known ratio.  The
    scatter falls no further than that, as what is known from measurement stays,
    so no outlying point is missed here.
    """
    if outlying_runs(case, at, case.variances).size:
        return np.inf
    suspects = _suspected_points(case, at, case.variances)
    squares = at.projected[suspects] ** 2 / _precision(at)[suspects]
    count, dof = case.curve.size, case.dof(at, case.variances, "misfit")
    left = dof - float(np.sum(squares))
    if not suspects.size or dof <= suspects.size:
        return 0.0
    if left <= 0.0:
        return np.inf
    ratio = left / (dof - suspects.size)
    if np.max(squares) <= cutoff_of(count, dof) ** 2 * ratio:
        return 0.0
    return float(np.sum(squares) / ratio + count * np.log(dof / left))


def outlying_runs(case: Case, at: Profile, variances: FloatArray) -> IntArray:
    """Return the largest set of runs each of which is an outlier once all of it is out.

    Parameters
    ----------
    case : Case
    at : Profile
        At the variances; some points may be shifted already, no runs.
    variances : (c,) array
    """
    if case.place("run") is None:
        return _NONE
    space = RunSpace.of(at, "run", variances, case.pack_of)
    best, misses, dof = _NONE, 0, space.dof_without(())
    for size in range(1, max(1, int(_MOST_RUNS * case.pack_of.size)) + 1):
        count = case.pack_of.size - size + 1
        limit = cutoff_of(count, dof - size)
        sets = [members for members in space.sets(size) if space.most_t(members, dof) > limit]
        trials = [(members, space.fitted_without(members)) for members in sets]
        misses += 1
        if trials:
            members, there = max(trials, key=lambda trial: float(np.min(trial[1].t(trial[0]))))
            if np.min(there.t(members)) > cutoff_of(count, there.dof_without(members)):
                best, misses = np.array(members, dtype=np.int64), 0
        if misses > _MOST_MISSES:
            break
    return best


def cutoff_of(count: int, dof: float) -> float:
    """Return how many standard deviations the worst of `count` clean ones may be off."""
    if dof < 1.0:
        return np.inf
    return float(stats.t.ppf(1.0 - 0.5 * FAMILY_RISK / max(count, 1), dof))


def _suspected_points(case: Case, at: Profile, variances: FloatArray) -> IntArray:
    """Return points that stand out on a scale that is found from the median alone."""
    place = case.place("misfit")
    if place is None:
        return _NONE
    weights = case.model.components[place].weights
    assert weights is not None
    precision, estimated = _precision(at), float(variances[place])
    squares = (at.projected / precision) ** 2
    known = np.maximum(1.0 / precision - estimated * weights, _LEAST_PRECISION / precision)

    def median(variance: float) -> float:
        return float(np.median(squares / (known + variance * weights)))

    low, high = 0.0, estimated
    if median(low) <= _CHI2_MEDIAN:
        high = 0.0
    elif median(high) < _CHI2_MEDIAN:
        for _ in range(_BISECTIONS):
            middle = 0.5 * (low + high)
            low, high = (low, middle) if median(middle) < _CHI2_MEDIAN else (middle, high)
    return np.flatnonzero(squares > _SUSPECT**2 * (known + high * weights))


def _precision(at: Profile) -> FloatArray:
    """(n,) inverse variance of each point's deletion residual: the diagonal of P."""
    precision: FloatArray = np.maximum(at.precision, _LEAST_PRECISION * at.inverse_diagonal)
    return precision


@dataclass(frozen=True, eq=False)
class _Core:
    """The fit of all but some points and runs, which are shifted freely."""

    points: IntArray
    runs: IntArray
    variances: FloatArray
    at: Profile
    shift: FloatArray
    u: FloatArray

    @property
    def t(self) -> FloatArray:
        """(q,) how far each lies off, in its standard deviations."""
        size: FloatArray = np.abs(self.shift) / self.u
        return size

    def has_members_of(self, other: _Core) -> bool:
        return np.array_equal(self.points, other.points) and np.array_equal(self.runs, other.runs)


def _core(case: Case, points: IntArray, runs: IntArray, start: FloatArray) -> _Core | None:
    """Return the fit with a free shift for each suspect; None where that is too many."""
    design = np.concatenate([case.model.design, case.columns(points, runs)], axis=1)
    model = replace(case.model, design=design)
    if profile(model, start) is None:
        return None
    variances, at, _ = restricted_variances(model, start, tolerance=1e-8, steps=40)
    own = slice(case.model.design.shape[1], None)
    u = np.sqrt(np.diag(at.covariance)[own])
    return _Core(points, runs, variances, at, at.step[own], u)


def _point_cutoff(case: Case, core: _Core) -> float:
    return cutoff_of(case.curve.size, case.dof(core.at, core.variances, "misfit"))


def _run_cutoff(case: Case, core: _Core) -> float:
    count = case.pack_of.size - max(core.runs.size - 1, 0)
    return cutoff_of(count, case.dof(core.at, core.variances, "run"))


def _settle_points(case: Case, core: _Core, points: IntArray) -> tuple[_Core, bool]:
    """Take suspects out, judge every point by the others, until it is always the same ones."""
    if case.place("misfit") is None:
        return core, True
    for _ in range(_TURNS):
        there = _core(case, points, core.runs, core.variances)
        if there is None:
            return core, False
        core = there
        squares = core.at.projected**2 / _precision(core.at)
        dof = case.dof(core.at, core.variances, "misfit")
        squares *= max(dof - 1.0, 0.0) / np.maximum(dof - squares, 1e-9)  # scatter without it
        squares[core.points] = core.t[: core.points.size] ** 2
        found = np.flatnonzero(squares > _point_cutoff(case, core) ** 2)
        if np.array_equal(found, core.points):
            return core, True
        points = found
    return core, False


def _settle_runs(case: Case, core: _Core) -> _Core:
    """Take out the runs that lie off; those that are out already are asked anew."""
    here = _core(case, core.points, _NONE, core.variances) if core.runs.size else core
    if here is None:
        return core
    runs = outlying_runs(case, here.at, here.variances)
    core = _core(case, core.points, runs, core.variances) or core
    while core.runs.size:
        t = core.t[core.points.size :]
        least = int(np.argmin(t))
        if t[least] > _run_cutoff(case, core):
            break
        there = _core(case, core.points, np.delete(core.runs, least), core.variances)
        if there is None:
            break
        core = there
    return core
