"""A fit linearised about its solution: what moves a number that follows from it, and how far."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigdata.arrays import BoolArray, FloatArray, frozen
from rigdata.friction.design import Design
from rigdata.friction.estimate import Estimate
from rigdata.friction.mixed_model import MixedModel, Profile, profile, sensitivity
from rigdata.friction.prior import settled
from rigdata.friction.variance_components import mean_squares
from rigdata.reduction.points import FrictionPoints, concatenate


@dataclass(frozen=True, eq=False)
class Solution:
    """Points, laws and scatter at given parameters.

    Attributes
    ----------
    design : Design
        The problem, with its blocks of n points.
    free : (P,) bool
        Parameters that were fitted and are not on a bound.
    estimate : Estimate
        All P parameters with their covariance.
    model : MixedModel
        The problem linearised at the parameters, variances of smooths being known.
    profile : Profile
        Its likelihood there.
    """

    design: Design
    free: BoolArray
    estimate: Estimate
    model: MixedModel
    profile: Profile

    def __post_init__(self) -> None:
        object.__setattr__(self, "free", frozen(self.free, np.bool_))

    @property
    def points(self) -> FrictionPoints:
        """The n points of all blocks."""
        return concatenate([block.points for block in self.design.blocks])

    @property
    def response(self) -> FloatArray:
        """(P, n + q) change of each parameter for a unit change of each point's mu.

        ``(X^T V^-1 X)^-1 X^T V^-1``, nil for parameters that were not fitted; the q
        last columns are for the rows of the prior.
        """
        rows = np.zeros((self.free.size, self.model.residual.size))
        rows[self.free] = self.profile.covariance @ self.profile.weighted_design.T
        return rows


def solution_at(
    design: Design, theta: FloatArray, free: BoolArray, variances: FloatArray
) -> Solution:
    """Return the solution of `design` at parameters and variances that are given.

    Parameters
    ----------
    design : Design
    theta : (P,) array
        All parameters, block after block.
    free : (P,) bool array
        Those that may move.
    variances : array
        Those that the design calls `unknown`, in its order.

    Raises
    ------
    ValueError
        When the points do not determine the free parameters.

    Notes
    -----
    Covariance, mean squares and degrees of freedom follow from the layout of the
    points and the variances alone, not from the coefficients measured, so this
    also serves for tests that were not made yet.
    """
    here = profile(design.linearised(theta, free), variances)
    if here is None:
        raise ValueError("the points do not determine the free parameters")
    return solution_of(design, theta, free, variances, here)


def solution_of(
    design: Design, theta: FloatArray, free: BoolArray, variances: FloatArray, here: Profile
) -> Solution:
    """Return the solution of `design` whose likelihood is `here`, as `solution_at` does."""
    smoothing = variances[len(design.effects) :]
    if smoothing.size:
        model, variances = settled(here.model, variances)
        known = profile(model, variances)
        assert known is not None
        here = known
    size, model = theta.size, here.model
    covariance = np.zeros((size, size))
    covariance[np.ix_(free, free)] = here.covariance
    slopes = np.zeros((len(model.components), size, size))
    slopes[np.ix_(np.arange(len(slopes)), free, free)] = sensitivity(model, here)
    names = tuple(component.name for component in model.components)
    dof = {name: part.dof for name, part in design.known.items() if part.dof is not None}
    estimate = Estimate(
        theta,
        covariance,
        names,
        variances,
        slopes,
        *mean_squares(here, variances, names, dof),
        design.prior.names,
        smoothing,
    )
    return Solution(design, free, estimate, model, here)
