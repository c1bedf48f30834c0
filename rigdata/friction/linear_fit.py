"""A linear model with unknown scatter, solved whole: what wear and batches are fitted by."""

from __future__ import annotations

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.friction.estimate import Estimate
from rigdata.friction.mixed_model import MixedModel, Profile, sensitivity
from rigdata.friction.variance_components import mean_squares, restricted_variances

_LEAST_NEW = 1e-9  # of the weight of a point: what a bend must hold beside the line


def linear_fit(
    model: MixedModel, start: FloatArray, *, tolerance: float = 1e-20
) -> tuple[Estimate, Profile]:
    """Return the parameters of a linear model and the likelihood at its variances.

    Parameters
    ----------
    model : MixedModel
        With `residual` as what is fitted: its parameters count from 0.
    start : (c,) array
        Start values of the variances.
    tolerance : float
        As of `restricted_variances`.
    """
    names = tuple(component.name for component in model.components)
    variances, here, _ = restricted_variances(model, start, tolerance=tolerance)
    estimate = Estimate(
        here.step,
        here.covariance,
        names,
        variances,
        sensitivity(model, here),
        *mean_squares(here, variances, names),
    )
    return estimate, here


def bend_score(here: Profile, x: FloatArray) -> float:
    """Return the score of a square of `x` (n,) offered to a line over it.

    Standard normal where the line is straight; 0 where `x` has too few different
    values for a bend.
    """
    column = (x / x.max()) ** 2
    left = float(column @ here.project(column[:, None])[:, 0])
    if left <= _LEAST_NEW * x.size:
        return 0.0
    return float(column @ here.projected) / float(np.sqrt(left))
