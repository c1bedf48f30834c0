"""How the errors of a table's nodes hang together, in a few components.

What one error does to all nodes is a component: mu at every node moves by its value for
one standard deviation of the error.  Errors of the rig are named, so that two tables
know what they have in common; what is left is told by its leading components alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigdata.arrays import BoolArray, FloatArray
from rigdata.friction.budget import fit_solution
from rigdata.friction.results import FrictionFit
from rigdata.reduction.points import FrictionPoints
from rigdata.uncertainty.identity import Origins
from rigdata.uncertainty.sources import Scope

_LEAST_SHARE = 0.001  # of the variance of any node: a smaller error need not be named
_LEAST_LEFT = 0.01  # of the variance of any node that no component tells
_MOST = 12  # unnamed components


@dataclass(frozen=True, eq=False)
class SharedErrors:
    """What the errors of the rig do to the parameters of a fit.

    Attributes
    ----------
    names : tuple of s str
        Names that last beyond the campaign; see `Origins`.
    shifts : (s, p) array
        Change of each parameter for one standard deviation of each.
    """

    names: tuple[str, ...]
    shifts: FloatArray

    @classmethod
    def none(cls, size: int) -> SharedErrors:
        """Return no errors of `size` parameters."""
        return cls((), np.zeros((0, size)))


def shared_errors(fit: FrictionFit, points: FrictionPoints, origins: Origins) -> SharedErrors:
    """Return what the errors of the rig do to a fit.

    Parameters
    ----------
    fit : FrictionFit
    points : FrictionPoints
        With the points that the fit was made from.
    origins : Origins
        What their sources come from.

    Notes
    -----
    ``d theta = A f`` with f the influences of a source on the points and
    ``A = (X^T V^-1 X)^-1 X^T V^-1``; see `solution_budget`.
    """
    solution = fit_solution(points, fit)
    sources = solution.design.every_source
    moved = solution.response @ solution.design.influence(solution.estimate.theta)
    rig = [i for i, source in enumerate(sources) if source.scope is Scope.RIG]
    names = tuple(origins.lasting_name(sources[i].id, sources[i].scope) for i in rig)
    return SharedErrors(names, np.asarray(moved)[:, rig].T)


def components(
    gradient: FloatArray, covariance: FloatArray, shared: SharedErrors, inside: BoolArray
) -> tuple[tuple[str, ...], FloatArray]:
    """Return the components of n nodes.

    Parameters
    ----------
    gradient : (n, p) array
        Derivatives of mu at the nodes with respect to the parameters.
    covariance : (p, p) array
        Of the parameters.
    shared : SharedErrors
        Part of what made that covariance.
    inside : (n,) bool
        Nodes inside the envelope, whose variance is to be told.

    Returns
    -------
    tuple of k str, (k, n) array
        Names, empty for those that no other table can share, and values.  Their squares
        sum up to the variance of each node, less 1 % at the most.
    """
    variance = np.sum((gradient @ covariance) * gradient, axis=1)
    known = shared.shifts @ gradient.T
    weighty = np.max(known**2 / np.where(variance > 0.0, variance, np.inf), axis=1, initial=0.0)
    named = weighty > _LEAST_SHARE
    left = covariance - shared.shifts[named].T @ shared.shifts[named]
    size, directions = np.linalg.eigh(left)
    roots = (directions * np.sqrt(np.maximum(size, 0.0))).T @ gradient.T
    _, _, turn = np.linalg.svd(np.linalg.qr(roots[:, inside].T, mode="r"))
    roots = turn @ roots
    need = (
        np.cumsum(roots**2, axis=0)[:, inside]
        >= (np.sum(roots**2, axis=0) - _LEAST_LEFT * variance)[inside]
    )
    enough = 1 + int(np.argmax(np.all(need, axis=1))) if roots.size else 0
    kept = roots[: min(enough, _MOST)]
    kept = kept[np.any(kept != 0.0, axis=1)]
    names = [name for name, own in zip(shared.names, named, strict=True) if own]
    return (*names, *[""] * len(kept)), np.concatenate([known[named], kept])
