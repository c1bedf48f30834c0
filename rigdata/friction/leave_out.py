"""How well a fit predicts packs or runs that are left out, without fitting again."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rigdata.arrays import FloatArray, IntArray
from rigdata.friction.elimination import root_of
from rigdata.friction.inverse import Inverse
from rigdata.friction.mixed_model import Profile
from rigdata.friction.nesting import flattened

_LOG_2PI = float(np.log(2.0 * np.pi))
_LEAST_PIVOT = 1e-6  # of a Cholesky factor: below, the others do not determine the parameters


def leave_out_scores(at: Profile, members: Sequence[IntArray]) -> FloatArray:
    """Return the log density of each set of points, predicted from all the others.

    Parameters
    ----------
    at : Profile
        At the fitted variances.
    members : sequence of index arrays
        The points of each set left out: whole packs, or whole runs.

    Returns
    -------
    (len(members),) array
        NaN where the others do not determine the parameters.

    Raises
    ------
    ValueError
        When a set holds part of a run.

    Notes
    -----
    With the variances kept, the density of some points given the others is the
    restricted likelihood of all over that of the others.  What the points of a run
    or pack added to the second moments is taken off again, so no refit is needed.
    """
    of_run, each = at.inverse.columns.rows.run_of_row, []
    sizes = np.bincount(of_run)
    for points in members:
        runs = np.unique(of_run[points])
        if np.sum(sizes[runs]) != points.size:
            raise ValueError("only whole runs can be left out")
        each.append(_score(at.inverse, points, runs))
    return np.array(each)


def _score(inverse: Inverse, points: IntArray, runs: IntArray) -> float:
    done, rows = inverse.elimination, inverse.columns.rows
    k1, k2 = done.run_root.shape[1], done.pack_root.shape[1]
    run_pivots, pack_pivots, wide_pivots = done.log_pivots
    logdet = float(np.sum(np.log(inverse.variance[points])) + np.sum(run_pivots[runs]))
    wide = done.wide_left.copy()
    for pack in np.unique(rows.pack_of[runs]).tolist():
        own = runs[rows.pack_of[runs] == pack]
        columns = flattened(inverse.part(np.flatnonzero(np.isin(rows.run_of, own)))[..., k1:])
        over = flattened(done.run_over[own])
        taken = columns.T @ columns - over.T @ over
        left = done.pack_left[pack] - taken[:k2]
        root, pivots = root_of(done.scale[1], left[:, :k2], k2)
        before, after = done.pack_over[pack], root.T @ left[:, k2:]
        wide += before.T @ before - after.T @ after - taken[k2:, k2:]
        logdet += float(np.sum(pack_pivots[pack]) - np.sum(pivots))
    size = len(done.wide_root)
    try:
        root, pivots = root_of(done.scale[2], wide[:size, :size], done.n_wide)
    except np.linalg.LinAlgError:
        return np.nan
    lost = wide_pivots - pivots
    if np.max(lost[done.n_wide :], initial=0.0) > -2.0 * np.log(_LEAST_PIVOT):
        return np.nan
    squares = _squares(done.wide_left, done.wide_root) - _squares(wide, root)
    return -0.5 * (logdet + float(np.sum(lost)) + squares + points.size * _LOG_2PI)


def _squares(wide: FloatArray, root: FloatArray) -> float:
    """Return ``y^T P y``, y being the column that was carried along behind X."""
    fitted = root.T @ wide[: len(root), -1]
    return float(wide[-1, -1] - fitted @ fitted)
