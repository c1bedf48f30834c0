"""The likelihood profile of every parameter of a law, and what the data leave open of it.

One parameter is held at values either side of the fitted one and the others are
refitted; its interval ends where the deviance has risen to a threshold (D. M. Bates
and D. G. Watts, Nonlinear Regression Analysis and Its Applications (1988), 6.1).

The whole covariance, with the variances of the scatter, stays at its estimate.  The
deviance is then ``r^T V^-1 r``, and a parameter in which the curve is linear has a
parabola, ``((x - value) / u)^2``.  The threshold is ``(half_width / u)^2`` with
`Estimate.half_width` of that parameter: so the interval of a linear one is the usual
one exactly, its factor t for scatter from few packs included, and that of any other
differs by the curvature of the law alone.  Were the scatter refitted too, it would
take up what a wrong value leaves over, and a second allowance for few packs would
join that of t.

A straight law costs two refits a parameter, which end where they start.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from rigdata.arrays import FloatArray, frozen
from rigdata.friction.deviance import Deviance
from rigdata.friction.estimate import Estimate
from rigdata.friction.joint import JointFit
from rigdata.friction.laws.registry import SURFACE
from rigdata.friction.outward import side_of
from rigdata.friction.solution import solution_at
from rigdata.uncertainty.degrees import coverage_factor

_KNOWN = float(coverage_factor(np.inf))
_APART = 1e-9  # places of a profile, of all its width


@dataclass(frozen=True, eq=False)
class ParameterProfile:
    """The likelihood profile of one parameter.

    Attributes
    ----------
    law, name : str
        The law and its parameter.
    value : float
        As fitted.
    half_width : float or None
        Half the symmetric 95 % interval; None where the points do not give one.
    low, high : float or None
        95 % limits; None where a side is open.
    low_open, high_open : str
        Why a side is open: ``bound`` where the parameter may go to its bound, ``level``
        where the deviance rises no more over a factor of a hundred; empty where there is
        a limit.
    threshold : float
        The root deviance at the limits.
    at : (m,) array
        Values at which the others were refitted, ascending, the fitted one among them.
    root : (m,) array
        Signed root of the deviance there above its least: ``(at - value) / u`` of a
        linear parameter.
    """

    law: str
    name: str
    value: float
    half_width: float | None
    low: float | None
    high: float | None
    low_open: str
    high_open: str
    threshold: float
    at: FloatArray
    root: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "at", frozen(self.at))
        object.__setattr__(self, "root", frozen(self.root))

    @property
    def open(self) -> bool:
        """Whether a side has no limit."""
        return bool(self.low_open or self.high_open)

    @property
    def undetermined(self) -> bool:
        """Whether a side would have no limit even if all scatter were known.

        With two packs t is 12.7, and no law at all would be determined.
        """
        low, high = -float(self.root[0]), float(self.root[-1])
        return bool((self.low_open and low < _KNOWN) or (self.high_open and high < _KNOWN))

    @property
    def lopsided(self) -> bool:
        """Whether a limit is off the symmetric one by more than a tenth of its half width."""
        if self.low is None or self.high is None or self.half_width is None:
            return True
        below, above = self.value - self.low, self.high - self.value
        off = max(abs(below - self.half_width), abs(above - self.half_width))
        return off > 0.1 * self.half_width

    def to_dict(self) -> dict[str, Any]:
        """Return the profile as plain values for JSON."""
        arrays = {"at": self.at.tolist(), "root": self.root.tolist()}
        return {field.name: getattr(self, field.name) for field in fields(self)} | arrays

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> ParameterProfile:
        """Return the profile that `to_dict` described."""
        return cls(**data)


def profiles_of(
    fit: JointFit, names: Collection[str] | None = None
) -> tuple[ParameterProfile, ...]:
    """Return the profiles of the free parameters of the law of a fit of one group.

    Parameters
    ----------
    fit : JointFit
        Of one block.
    names : collection of str, optional
        Those wanted; all by default.

    Returns
    -------
    tuple of ParameterProfile
        In the order of the law; none for a surface, whose bends have no meaning one by
        one.
    """
    law = fit.design.blocks[0].law
    if law.name == SURFACE:
        return ()
    deviance = Deviance(fit)
    free = np.flatnonzero(fit.design.free)
    half, u = _spread(fit)
    return tuple(
        _profile(deviance, i, law.name, law.names[place], float(half[i]), float(u[i]))
        for i, place in enumerate(free.tolist())
        if names is None or law.names[place] in names
    )


def _spread(fit: JointFit) -> tuple[FloatArray, FloatArray]:
    """Return half widths and standard uncertainties with parameters on bounds let go, (k,)."""
    free = fit.design.free
    estimate = fit.estimate
    if fit.on_bound:
        estimate = _let_go(fit)
    gradient = np.eye(free.size)[free]
    return estimate.half_width(gradient), np.sqrt(estimate.variance(gradient))


def _let_go(fit: JointFit) -> Estimate:
    """Return the estimate of a fit with no parameter held by its bound, where there is one."""
    estimate, design = fit.estimate, fit.design
    try:
        return solution_at(design, estimate.theta, design.free, estimate.variances).estimate
    except ValueError:
        return estimate


def _profile(
    deviance: Deviance, i: int, law: str, name: str, half: float, u: float
) -> ParameterProfile:
    start = float(deviance.best[i])
    value = deviance.value(i, start)
    known = u > 0.0 and np.isfinite(half)
    threshold = half / u if known else _KNOWN
    step = half if known else threshold * (abs(value) or 1.0)
    best = deviance.least(i, deviance.best)
    low, high = (
        side_of(deviance, best, sign, step / deviance.rate(i), threshold) for sign in (-1, 1)
    )
    at = [*(start - each.far for each in low.steps[:0:-1]), *(start + s.far for s in high.steps)]
    root = [*(-each.root for each in low.steps[:0:-1]), *(each.root for each in high.steps)]
    places = np.array([deviance.value(i, each) for each in at])
    # Where the deviance jumps, the way to its limit ends in steps too short to tell apart.
    apart = np.diff(places, prepend=-np.inf) > _APART * np.ptp(places)
    return ParameterProfile(
        law=law,
        name=name,
        value=value,
        half_width=half if known else None,
        low=None if low.opened else deviance.value(i, start - low.limit),
        high=None if high.opened else deviance.value(i, start + high.limit),
        low_open=low.opened,
        high_open=high.opened,
        threshold=threshold,
        at=places[apart],
        root=np.array(root)[apart],
    )
