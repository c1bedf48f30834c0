"""Columns offered to a fit beside its law, and sums of its residuals, as the fit knows them.

Both come as an `Estimate`, so that their intervals follow the fit's own rule:
Student's t for the part of a variance that the spread of packs, runs and points
shows, the normal quantile for what is known from calibration.
"""

from __future__ import annotations

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.friction.estimate import Estimate
from rigdata.friction.joint import JointFit

_LEAST_NEW = 1e-4  # share of a column's information that the law and the scatter leave


def offered(fit: JointFit, columns: FloatArray) -> Estimate | None:
    """Return what the fit would take of `columns` if they were part of the law.

    Parameters
    ----------
    fit : JointFit
        Of one group.
    columns : (n, k) array
        Change of mu at every point for one unit of each coefficient.

    Returns
    -------
    Estimate or None
        The k coefficients, all at once; None where the law or the scatter already
        holds one of them.

    Notes
    -----
    ``delta = (C^T P C)^-1 C^T P r`` with covariance ``(C^T P C)^-1``: generalised
    least squares with the columns beside the linearised law, variances kept.
    """
    at, columns = fit.profile, fit.design.prior.below(columns)
    projected = at.project(columns)
    inner = columns.T @ projected
    before = np.sum(columns**2 * at.inverse_diagonal[:, None], axis=0)
    if not np.all(before > 0.0):
        return None
    scale = np.sqrt(before)
    if np.linalg.eigvalsh(inner / np.outer(scale, scale))[0] < _LEAST_NEW:
        return None
    covariance = np.asarray(np.linalg.inv(inner), dtype=np.float64)
    towards = projected @ covariance
    parts = [own.T @ own for own in fit.model.by_component(towards)]
    return _estimate(fit, covariance @ (columns.T @ at.projected), covariance, parts)


def of_residuals(fit: JointFit, weights: FloatArray) -> Estimate:
    """Return weighted sums of the residuals, with the covariance that chance gives them.

    Parameters
    ----------
    fit : JointFit
        Of one group.
    weights : (n, k) array
        Weight of every residual in each of k sums.

    Returns
    -------
    Estimate
        ``W^T r`` with covariance ``W^T V P V W``: what is left of the covariance of
        the points once the law has been fitted to them.
    """
    model, estimate, weights = fit.model, fit.estimate, fit.design.prior.below(weights)
    spread = model.times(weights, estimate.variances)
    covariance = spread.T @ fit.profile.project(spread)
    free = np.flatnonzero(np.diag(estimate.covariance) > 0.0)
    held = model.design.T @ weights
    parts = [
        own.T @ own - held.T @ slope[np.ix_(free, free)] @ held
        for own, slope in zip(model.by_component(weights), estimate.sensitivity, strict=True)
    ]
    return _estimate(fit, weights.T @ model.residual, covariance, parts)


def _estimate(
    fit: JointFit, theta: FloatArray, covariance: FloatArray, parts: list[FloatArray]
) -> Estimate:
    of = fit.estimate
    k = theta.size
    return Estimate(
        theta=theta,
        covariance=covariance,
        components=of.components,
        variances=of.variances,
        sensitivity=np.reshape(np.array(parts), (len(parts), k, k)),
        mean_square=of.mean_square,
        estimated=of.estimated,
        dof=of.dof,
        nesting=of.nesting,
    )
