"""How well a fit predicts packs or runs that are left out, without fitting again."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import linalg

from rigdata.arrays import FloatArray, IntArray
from rigdata.friction.mixed_model import Profile

_LOG_2PI = float(np.log(2.0 * np.pi))
_LEAST_PIVOT = 1e-6  # of a Cholesky factor: below, the others do not determine the parameters


def leave_out_scores(at: Profile, members: Sequence[IntArray]) -> FloatArray:
    """Return the log density of each set of points, predicted from all the others.

    Parameters
    ----------
    at : Profile
        At the fitted variances.
    members : sequence of index arrays
        The points of each set left out.

    Returns
    -------
    (len(members),) array
        NaN where the others do not determine the parameters.

    Notes
    -----
    With the variances kept, the deletion residual of a block is ``P_bb^-1 (P y)_b``
    with covariance ``P_bb^-1``: no refit is needed.
    """
    scores = np.full(len(members), np.nan)
    for i, rows in enumerate(members):
        root = np.sqrt(1.0 / at.inverse_diagonal[rows])
        scaled = root[:, None] * at.inverse_factors[rows]
        inner = np.eye(scaled.shape[1]) - scaled.T @ scaled
        pulled = root * at.projected[rows]
        try:
            lower = np.linalg.cholesky(inner)
        except np.linalg.LinAlgError:
            continue
        if np.min(np.diag(lower)) < _LEAST_PIVOT:
            continue
        half = linalg.solve_triangular(lower, scaled.T @ pulled, lower=True)
        squares = pulled @ pulled + half @ half
        logdet = -2.0 * np.sum(np.log(root)) + 2.0 * np.sum(np.log(np.diag(lower)))
        scores[i] = -0.5 * (squares - logdet + rows.size * _LOG_2PI)
    return scores
