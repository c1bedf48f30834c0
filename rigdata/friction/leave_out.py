"""What a fit says of packs or runs from all the others, without fitting again."""

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
    runs = _runs_of(at.inverse, members)
    return np.array([_score(at.inverse, *one) for one in zip(members, runs, strict=True)])


def information_without(at: Profile, members: Sequence[IntArray]) -> tuple[FloatArray, FloatArray]:
    """Return what all points but those of a set say of the parameters, for each set.

    Parameters
    ----------
    at, members
        As in `leave_out_scores`.

    Returns
    -------
    (s, p, p) array, (s, p) array
        ``X^T V^-1 X`` and ``X^T V^-1 residual`` of the points that are left, V being
        their own covariance at the variances of `at`.

    Raises
    ------
    ValueError
        When a set holds part of a run.
    """
    done = at.inverse.elimination
    q, size = done.n_wide, len(done.wide_root)
    information = np.empty((len(members), size - q, size - q))
    score = np.empty((len(members), size - q))
    for i, runs in enumerate(_runs_of(at.inverse, members)):
        wide, _ = _wide_without(at.inverse, runs)
        root, _ = root_of(done.scale[2][:q], wide[:q, :q], q)
        over = root.T @ wide[:q, q:]
        left = wide[q:, q:] - over.T @ over
        information[i], score[i] = left[: size - q, : size - q], left[: size - q, -1]
    return information, score


def _runs_of(inverse: Inverse, members: Sequence[IntArray]) -> list[IntArray]:
    """Return the runs of each set of points."""
    of_run, found = inverse.columns.rows.run_of_row, []
    sizes = np.bincount(of_run)
    for points in members:
        runs = np.unique(of_run[points])
        if np.sum(sizes[runs]) != points.size:
            raise ValueError("only whole runs can be left out")
        found.append(runs)
    return found


def _wide_without(inverse: Inverse, runs: IntArray) -> tuple[FloatArray, float]:
    """Return `Elimination.wide_left` without some runs, and by how much log pivots fall."""
    done, rows = inverse.elimination, inverse.columns.rows
    k1, k2 = done.run_root.shape[1], done.pack_root.shape[1]
    run_pivots, pack_pivots, _ = done.log_pivots
    lost, wide = float(np.sum(run_pivots[runs])), done.wide_left.copy()
    for pack in np.unique(rows.pack_of[runs]).tolist():
        own = runs[rows.pack_of[runs] == pack]
        columns = flattened(inverse.part(np.flatnonzero(np.isin(rows.run_of, own)))[..., k1:])
        over = flattened(done.run_over[own])
        taken = columns.T @ columns - over.T @ over
        left = done.pack_left[pack] - taken[:k2]
        root, pivots = root_of(done.scale[1], left[:, :k2], k2)
        before, after = done.pack_over[pack], root.T @ left[:, k2:]
        wide += before.T @ before - after.T @ after - taken[k2:, k2:]
        lost += float(np.sum(pack_pivots[pack]) - np.sum(pivots))
    return wide, lost


def _score(inverse: Inverse, points: IntArray, runs: IntArray) -> float:
    done = inverse.elimination
    wide, within = _wide_without(inverse, runs)
    size = len(done.wide_root)
    try:
        root, pivots = root_of(done.scale[2], wide[:size, :size], done.n_wide)
    except np.linalg.LinAlgError:
        return np.nan
    lost = done.log_pivots[2] - pivots
    if np.max(lost[done.n_wide :], initial=0.0) > -2.0 * np.log(_LEAST_PIVOT):
        return np.nan
    logdet = float(np.sum(np.log(inverse.variance[points]))) + within + float(np.sum(lost))
    squares = _squares(done.wide_left, done.wide_root) - _squares(wide, root)
    return -0.5 * (logdet + squares + points.size * _LOG_2PI)


def _squares(wide: FloatArray, root: FloatArray) -> float:
    """Return ``y^T P y``, y being the column that was carried along behind X."""
    fitted = root.T @ wide[: len(root), -1]
    return float(wide[-1, -1] - fitted @ fitted)
