"""What is expected of packs, runs and points before they are tested, and on what grounds."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from rigdata.arrays import FloatArray, TextArray, frozen
from rigdata.campaign.campaign import Oil
from rigdata.campaign.rig import Rig
from rigdata.errors import FitError
from rigdata.friction.budget import fit_solution
from rigdata.friction.laws.base import Law
from rigdata.friction.laws.registry import SURFACE, law
from rigdata.friction.results import FrictionFit, Group
from rigdata.planning.description import Request, Spread
from rigdata.reduction.geometry import pack_geometry
from rigdata.reduction.points import FrictionPoints
from rigdata.uncertainty.sources import Effect, Scope

# Common practice, no source; mu is that of a coated plate on steel in oil.
DEFAULT_LAW = "log-speed"
_NOMINAL = {
    "constant": (0.12,),
    "log-speed": (0.12, 0.003, -6e-4, -0.03),
    "stribeck": (0.10, 0.13, 0.1, 0.8, 0.002, -6e-4, -0.03),
}
_PACKS, _RUNS, _POINTS, _NOISE = 0.02, 0.005, 0.003, 0.002  # relative standard deviations
_CALIBRATION = 0.005  # relative, where the rig has no record for a channel
_ZERO_AND_DRAG = 3e-4  # in mu at 1 MPa, of a run
_LOAD_INTERCEPT = 0.005  # relative, of a load sweep
_ANY = ""  # stands for procedures that are not named


@dataclass(frozen=True)
class ExpectedSource:
    """One kind of measurement error.

    Attributes
    ----------
    kind : str
        As in a source's id, such as ``torque``.
    scope : Scope
    effect : Effect
    size : mapping of procedure to float
        Standard uncertainty: proportional ones relative to mu, additive ones in mu at a
        face pressure of 1 MPa, since what a torque adds to mu falls as the load rises.
    """

    kind: str
    scope: Scope
    effect: Effect
    size: Mapping[str, float]

    def relative(
        self, procedure: TextArray, mu: FloatArray, pressure_mpa: FloatArray
    ) -> FloatArray:
        """Return its standard uncertainty in n points, relative to mu, (n,)."""
        rest = self.size.get(_ANY, 0.0)
        size = np.array([self.size.get(name, rest) for name in procedure.tolist()])
        if self.effect is Effect.PROPORTIONAL:
            return size
        share: FloatArray = size / (mu * pressure_mpa)
        return share


@dataclass(frozen=True, eq=False)
class Expected:
    """The law, scatter and measurement errors expected of one group.

    Attributes
    ----------
    law : Law
    theta : (p,) float
        Its parameters.
    pack, run, misfit : float
        Scatter, as standard deviations relative to mu.
    noise : float
        Random part of a point, relative to mu.
    sources : tuple of ExpectedSource
    basis : str
        Where all this comes from, in words.
    """

    law: Law
    theta: FloatArray
    pack: float
    run: float
    misfit: float
    noise: float
    sources: tuple[ExpectedSource, ...]
    basis: str

    def __post_init__(self) -> None:
        object.__setattr__(self, "theta", frozen(self.theta))


@dataclass(frozen=True, eq=False)
class Earlier:
    """The fits of an earlier campaign and the points that they were made from."""

    name: str
    points: FrictionPoints
    fits: Mapping[Group, FrictionFit]


def expected(request: Request, material: str, earlier: Earlier | None) -> Expected:
    """Return what is expected of the packs of a material.

    Parameters
    ----------
    request : Request
    material : str
    earlier : Earlier, optional
        Campaign to take it from.  The group of this material counts, in the state to be
        tested if there is one; else that whose packs scatter most.

    Raises
    ------
    FitError
        When the law asked for has no nominal parameters and no fit has it.
    """
    if earlier is None or not earlier.fits:
        return _stated(request)
    fits = earlier.fits
    own = [group for group in fits if group.material == material]
    same = [group for group in own if group.state == request.pack.state]
    chosen = max(same or own or fits, key=lambda group: fits[group].scatter.pack or 0.0)
    return _from_fit(request, fits[chosen], earlier)


def _stated(request: Request) -> Expected:
    name = request.law or DEFAULT_LAW
    form, theta = _nominal(name, request.oil)
    given: Spread = request.scatter
    sizes = [
        default if percent is None else percent / 100.0
        for percent, default in (
            (given.packs_percent, _PACKS),
            (given.runs_percent, _RUNS),
            (given.points_percent, _POINTS),
        )
    ]
    told = [percent is not None for percent in (given.packs_percent, given.runs_percent)]
    origin = "as plan.toml states" if all(told) else "common practice, no source"
    basis = (
        f"scatter of {100 * sizes[0]:g} % between packs and {100 * sizes[1]:g} % between runs "
        f"({origin}); calibrations from the records of {request.rig.name}"
    )
    sources = (*_calibrations(request.rig), *_geometry(request), *_run_sources())
    pack, run, misfit = sizes
    return Expected(form, theta, pack, run, misfit, _NOISE, sources, basis)


def _nominal(name: str, oil: Oil | None) -> tuple[Law, FloatArray]:
    form = law(name, oil)
    if name not in _NOMINAL:
        raise FitError(
            f"a plan for the {name} law needs its parameters",
            expected="one of " + ", ".join(_NOMINAL),
            do="Or give an earlier campaign that was fitted with it, with --like",
        )
    return form, np.array(_NOMINAL[name])


def _calibrations(rig: Rig) -> list[ExpectedSource]:
    found = []
    for channel, kind in (("torque", "torque"), ("clamp_load", "clamp-load")):
        records = rig.histories.get(channel, ())
        size = _CALIBRATION
        if records:
            last = records[-1]
            size = last.reference_expanded_u_percent / last.coverage_factor / 100.0
        found.append(ExpectedSource(kind, Scope.RIG, Effect.PROPORTIONAL, {_ANY: size}))
    return found


def _geometry(request: Request) -> list[ExpectedSource]:
    faces = pack_geometry(request.pack)
    sizes = zip(faces.sources, np.abs(faces.relative).tolist(), strict=True)
    return [ExpectedSource(s.kind, s.scope, s.effect, {_ANY: size}) for s, size in sizes]


def _run_sources() -> list[ExpectedSource]:
    return [
        ExpectedSource("zero", Scope.RUN, Effect.ADDITIVE, {_ANY: _ZERO_AND_DRAG, "load-sweep": 0}),
        ExpectedSource(
            "load-intercept", Scope.RUN, Effect.PROPORTIONAL, {"load-sweep": _LOAD_INTERCEPT}
        ),
    ]


def _from_fit(request: Request, fit: FrictionFit, earlier: Earlier) -> Expected:
    if request.law not in (None, fit.law) or fit.law == SURFACE:
        form, theta = _nominal(request.law or DEFAULT_LAW, request.oil)
    else:
        form, theta = fit.form, fit.theta
    scatter, words, sizes = fit.scatter, [], []
    for name, found, limit, default in (
        ("packs", scatter.pack, scatter.pack_limit, _PACKS),
        ("runs", scatter.run, scatter.run_limit, _RUNS),
        ("points", scatter.misfit, scatter.misfit_limit, _POINTS),
    ):
        size, why = _size(found, limit, default)
        sizes.append(size)
        words.append(f"{100 * size:.2g} % between {name}{why}")
    points = earlier.points.select(np.isin(earlier.points.point, fit.point))
    noise = float(np.median(points.u_random / points.mu))
    basis = f"{fit.group} of {earlier.name}, {fit.n_packs} packs: scatter of " + ", ".join(words)
    pack, run, misfit = sizes
    sources = _sources_of(earlier.points, fit)
    return Expected(form, theta, pack, run, misfit, noise, sources, basis)


def _size(found: float | None, limit: float | None, default: float) -> tuple[float, str]:
    """Return a scatter to plan with, and how it was come by where it was not simply found."""
    if found is None:
        return default, " (not tested there; common practice, no source)"
    if found > 0.0 or limit is None:
        return found, ""
    return limit, " (none was found: its 95 % limit)"


def _sources_of(points: FrictionPoints, fit: FrictionFit) -> tuple[ExpectedSource, ...]:
    """Return the root mean square of each kind of source over the points of each procedure.

    What a source does by moving the stated condition is in it, as in the fit.
    """
    solution = fit_solution(points, fit)
    own = solution.points
    curve = solution.design.fitted(fit.theta)
    moved = solution.design.influence(fit.theta).tocsr()[: len(own)]
    columns: dict[tuple[str, Scope, Effect], list[int]] = defaultdict(list)
    for i, source in enumerate(solution.design.every_source):
        columns[source.kind, source.scope, source.effect].append(i)
    found = []
    for (kind, scope, effect), where in columns.items():
        scale = 1.0 / curve if effect is Effect.PROPORTIONAL else own.pressure_mpa
        square = np.asarray(moved[:, where].power(2).sum(axis=1)).ravel() * scale**2
        size = {
            procedure: math.sqrt(float(np.mean(square[own.procedure == procedure])))
            for procedure in dict.fromkeys(own.procedure.tolist())
        }
        size[_ANY] = math.sqrt(float(np.mean(square)))
        if size[_ANY] > 0.0:
            found.append(ExpectedSource(kind, scope, effect, size))
    return tuple(found)
