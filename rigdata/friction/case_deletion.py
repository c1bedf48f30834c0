"""What each pack and each run does to the fitted coefficient: how mu moves without it.

The covariance V of the points is kept, its variance components among them.  What the
others say of the parameters then follows from the nested elimination of all points,
exactly for the linearised law and without a fit for each set.  It is the estimate
that moves by ``-(X^T V^-1 X)^-1 X^T V^-1 E (E^T P E)^-1 E^T P y`` when the points that
the columns of E pick out are left out.

References
----------
R. D. Cook and S. Weisberg, Residuals and Influence in Regression (1982), chapter 3;
R. Christensen, L. M. Pearson and W. Johnson, Case-deletion diagnostics for mixed
models, Technometrics 34 (1992) 38; both from memory, the tests hold the closed form
against refits.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from rigdata.arrays import FloatArray, IntArray
from rigdata.friction.conditions import ALL_AXES, AXES, Conditions, at
from rigdata.friction.envelope import scaled
from rigdata.friction.joint import JointFit
from rigdata.friction.leave_out import information_without
from rigdata.friction.mixed_model import Profile
from rigdata.friction.nesting import members_of
from rigdata.reduction.points import FrictionPoints
from rigdata.storage.json_files import finite

PACK, RUN = "pack", "run"
_LEAST_KNOWN = 1e-9  # share of the information on a combination of parameters, less is rounding
_ALL_OF_IT = 0.99  # leverage beyond which the others tell nothing of mu


@dataclass(frozen=True)
class Deletion:
    """What leaving out one pack or one run does to the coefficient, scatter kept.

    Attributes
    ----------
    kind : str
        ``pack`` or ``run``.
    name, pack : str
        Of the pack or run, and of the pack it belongs to.
    leverage : float
        Share of the information on mu at the reference condition that goes with it,
        ``1 - u^2(mu) / u^2(mu without it)``: 1 over the packs where all are alike.
    mu : float or None
        Coefficient at the reference without it; None where the others do not tell it.
    change, change_u : float or None
        How far that is from mu with it, relative to mu and in units of u(mu).
    most, most_u : float or None
        The same at the corner of the tested range where it is largest in u(mu); None
        where there is no corner of which the others tell mu.
    where : mapping of axis to float
        That corner; empty where there is none.
    driving : str
        Why it drives the result: ``apart``, ``carries`` or ``dominates`` (see the module
        of that name); empty where it does not.
    """

    kind: str
    name: str
    pack: str
    leverage: float
    mu: float | None
    change: float | None
    change_u: float | None
    most: float | None
    most_u: float | None
    where: Mapping[str, float]
    driving: str = ""

    @property
    def by_chance(self) -> float:
        """Standard deviation of `change_u` for a pack or run that is like the others.

        ``sqrt(h / (1 - h))`` at a leverage h, as the estimate is that of least variance:
        0.71 for one of three packs.
        """
        return float(np.sqrt(self.leverage / max(1.0 - self.leverage, 1e-12)))

    @property
    def title(self) -> str:
        """Kind and name, as ``pack R-N1``."""
        return f"{self.kind} {self.name}"

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON."""
        return asdict(self)

    @staticmethod
    def from_dict(data: Mapping[str, Any]) -> Deletion:
        """Return the deletion that `to_dict` described."""
        return Deletion(**data)


def largest(deletions: Sequence[Deletion]) -> Deletion | None:
    """Return what moves mu at the reference most; None where nothing was left out."""
    told = [one for one in deletions if one.change_u is not None]
    return max(told, key=lambda one: abs(one.change_u or 0.0), default=None)


def deletions_of(fit: JointFit) -> tuple[Deletion, ...]:
    """Leave out every pack and every run of a fit, one at a time.

    Parameters
    ----------
    fit : JointFit
        Of one group.

    Returns
    -------
    tuple of Deletion
        Packs first, then runs less those that are alone in their pack; only runs of
        a single pack, and nothing of a single run.
    """
    (block,), reference, theta = fit.design.blocks, fit.design.reference, fit.estimate.theta
    sets = sets_of(block.points)
    if not sets:
        return ()
    corners = _corners(block.conditions)
    places = (at(reference), corners)
    mu = np.concatenate([block.law.mu(place, theta, reference) for place in places])
    gradient = np.concatenate([block.law.jacobian(place, theta, reference) for place in places])
    free = np.diag(fit.estimate.covariance) > 0.0
    leverage, change = without(fit.profile, gradient[:, free], [points for *_, points in sets])
    change = np.where(leverage < _ALL_OF_IT, change, np.nan)
    relative, in_u = change / mu, change / np.sqrt(fit.estimate.variance(gradient))
    furthest = 1 + np.argmax(np.abs(np.nan_to_num(in_u[:, 1:])), axis=1)
    rows = enumerate(zip(sets, furthest.tolist(), strict=True))
    return tuple(
        Deletion(
            kind=kind,
            name=name,
            pack=str(block.points.pack[points[0]]),
            leverage=float(leverage[i, 0]),
            mu=finite(mu[0] + change[i, 0]),
            change=finite(relative[i, 0]),
            change_u=finite(in_u[i, 0]),
            most=finite(relative[i, corner]),
            most_u=finite(in_u[i, corner]),
            where=_place(corners, corner - 1) if np.isfinite(in_u[i, corner]) else {},
        )
        for i, ((kind, name, points), corner) in rows
    )


def sets_of(points: FrictionPoints) -> list[tuple[str, str, IntArray]]:
    """Return kind, name and members of every set of points to be left out in turn."""
    in_pack = {str(points.pack[own[0]]): own.size for own in members_of(points.pack)}
    found = []
    for kind, names in ((PACK, points.pack), (RUN, points.run)):
        sets = members_of(names)
        for own in sets if len(sets) > 1 else ():
            alone = kind == RUN and own.size == in_pack[str(points.pack[own[0]])]
            if not alone:
                found.append((kind, str(names[own[0]]), own))
    return found


def without(
    here: Profile, gradient: FloatArray, sets: Sequence[IntArray]
) -> tuple[FloatArray, FloatArray]:
    """Return what leaving out each of some sets of points does, the covariance kept.

    Parameters
    ----------
    here : Profile
        At the fitted variances.
    gradient : (m, p) array
        Derivatives of m quantities with respect to the parameters.
    sets : sequence of s index arrays
        Each holding whole runs.

    Returns
    -------
    (s, m) array, (s, m) array
        Leverage of each set on each quantity, 1 where the others do not determine it,
        and how far the quantity moves.

    Notes
    -----
    With R the root of the covariance of the parameters, ``R^T M R`` with M the
    information of the others has eigenvalues between 0 and 1.  A direction at 0 is one
    that only the set left out shows; where a quantity does not follow it, it does no harm.
    """
    root = here.inverse.covariance_root
    information, score = information_without(here, sets)
    values, directions = np.linalg.eigh(root.T @ information @ root)
    along = directions.swapaxes(1, 2) @ (root.T @ gradient.T)
    told = directions.swapaxes(1, 2) @ (score @ root)[:, :, None]
    known = (values > _LEAST_KNOWN)[:, :, None]
    each = np.where(known, 1.0 / np.where(known, values[:, :, None], 1.0), 0.0)
    before, after = np.sum(along**2, axis=1), np.sum(each * along**2, axis=1)
    lost = np.sum(np.where(known, 0.0, along**2), axis=1) > _LEAST_KNOWN * before
    leverage = np.where(lost, 1.0, 1.0 - before / np.where(lost, 1.0, after))
    change = np.sum(each * along * told, axis=1) - gradient @ here.step
    return leverage, change


def _corners(conditions: Conditions) -> Conditions:
    """Return the tested conditions that lie furthest out in each direction of all axes at once."""
    axes = ALL_AXES if np.all(np.isfinite(conditions.dwell_s)) else AXES
    place = scaled(conditions, axes)
    span = np.ptp(place, axis=0)
    place = (place - place.min(axis=0)) / np.where(span > 0.0, span, np.inf)
    sides = np.array(list(itertools.product((-1.0, 1.0), repeat=len(axes))))
    return conditions.select(np.unique(np.argmax(place @ sides.T, axis=0)))


def _place(conditions: Conditions, i: int) -> dict[str, float]:
    """Return one of some conditions by axis, with its dwell where that is known."""
    axes = ALL_AXES if np.isfinite(conditions.dwell_s[i]) else AXES
    return {axis: float(getattr(conditions, axis)[i]) for axis in axes}
