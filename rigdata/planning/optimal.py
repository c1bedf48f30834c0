"""Which tests tell most about the parameters of a law: D-optimal design.

A design that makes the determinant of the information as large as it can be makes the
confidence region of the parameters as small as it can be.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigdata.arrays import FloatArray

_TURNS = 20_000
_SETTLED = 1e-5  # excess of the largest standardised variance over its bound, relative
_GAIN = 1e-9  # in ln det, below which an exchange is none
_STARTS = 4


@dataclass(frozen=True, eq=False)
class Continuous:
    """The best shares of the effort, were it divisible at will.

    Attributes
    ----------
    share : (k,) float
        Share of each candidate; they sum to 1.
    log_det : float
        Natural logarithm of the determinant of the information per unit of effort.
    variance : (k,) float
        Standardised variance ``tr(M^-1 I_i)`` of each candidate.
    """

    share: FloatArray
    log_det: float
    variance: FloatArray


@dataclass(frozen=True, eq=False)
class Exact:
    """A whole number of each candidate.

    Attributes
    ----------
    count : (k,) int
        How often each candidate is made.
    log_det : float
        Natural logarithm of the determinant of the information per unit of effort.
    efficiency : float
        D-efficiency against the best continuous design over the same candidates.
    """

    count: FloatArray
    log_det: float
    efficiency: float


def continuous_design(information: FloatArray, fixed: FloatArray | None = None) -> Continuous:
    """Return the D-optimal continuous design.

    Parameters
    ----------
    information : (k, p, p) array
        Information about p parameters that a unit of effort spent on each candidate gives.
    fixed : (p, p) array, optional
        Information that comes with every design.

    Raises
    ------
    ValueError
        When the candidates together do not determine the parameters.

    Notes
    -----
    Maximises ``ln det M(w)``, ``M(w) = F + sum_i w_i I_i``, by the multiplicative rule
    ``w_i <- w_i d_i / sum_j w_j d_j`` with ``d_i = tr(M^-1 I_i)``, which never lowers it
    (S. D. Silvey, D. M. Titterington and B. Torsney, Commun. Stat. A 7 (1978) 1379, from
    memory).  At the optimum no `d_i` exceeds ``sum_j w_j d_j``, which is p where F is nil:
    the general equivalence theorem (J. Kiefer and J. Wolfowitz, Can. J. Math. 12 (1960)
    363; with runs for points V. V. Fedorov, Theory of Optimal Experiments, 1972, from
    memory).  The rule stops when that bound is met to one part in 100,000.
    """
    base = np.zeros(information.shape[1:]) if fixed is None else fixed
    share: FloatArray = np.full(len(information), 1.0 / len(information))
    if not np.isfinite(_log_det(base + np.tensordot(share, information, 1))):
        raise ValueError("the candidates do not determine the parameters")
    variance = share
    for _ in range(_TURNS):
        inverse = np.linalg.inv(base + np.tensordot(share, information, 1))
        variance = np.einsum("ij,kji->k", inverse, information)
        mean = float(share @ variance)
        if variance.max() <= mean * (1.0 + _SETTLED):
            break
        share = share * variance / mean
    return Continuous(share, _log_det(base + np.tensordot(share, information, 1)), variance)


def exact_design(
    information: FloatArray,
    cost: FloatArray,
    n: int,
    rng: np.random.Generator,
    fixed: tuple[FloatArray, float] | None = None,
) -> Exact:
    """Return the best choice of `n` tests, repeats allowed, for what they cost.

    Parameters
    ----------
    information : (k, p, p) array
        Information that each candidate gives when made once.
    cost : (k,) array
        Cost of each candidate.
    n : int
        Tests to choose.
    rng : Generator
        For the start designs.
    fixed : ((p, p) array, float), optional
        Information and cost of tests that are made anyway.

    Notes
    -----
    Maximises the information per cost, ``ln det(M / C)`` with ``M = F + sum n_i I_i`` and
    ``C = c_F + sum n_i c_i``, by Fedorov's exchange: of all swaps of one chosen test for a
    candidate the best is made, until none gains (V. V. Fedorov, Theory of Optimal
    Experiments, 1972; A. C. Atkinson and A. N. Donev, Optimum Experimental Designs, 1992,
    chapter 15; both from memory), from several random starts.

    The efficiency is ``(det(M / C) / det M*)^(1/p)``: the share of the cost that the best
    continuous design, with the same fixed tests at the same share of the cost, would need
    for as much.
    """
    size = information.shape[1]
    base, base_cost = fixed if fixed is not None else (np.zeros((size, size)), 0.0)
    found = [_exchanged(information, cost, n, rng, base, base_cost) for _ in range(_STARTS)]
    count, best = max(found, key=lambda pair: pair[1])
    total = base_cost + float(count @ cost)
    free = 1.0 - base_cost / total
    per_cost = free * information / cost[:, None, None]
    ideal = continuous_design(per_cost, base / total)
    return Exact(count, best, float(np.exp((best - ideal.log_det) / size)))


def _exchanged(
    information: FloatArray,
    cost: FloatArray,
    n: int,
    rng: np.random.Generator,
    base: FloatArray,
    base_cost: float,
) -> tuple[FloatArray, float]:
    count: FloatArray = np.bincount(
        rng.integers(len(information), size=n), minlength=len(information)
    ).astype(np.float64)

    def value(counts: FloatArray) -> float:
        total = base_cost + float(counts @ cost)
        return _log_det((base + np.tensordot(counts, information, 1)) / total)

    here = value(count)
    while True:
        best, taken = here, count
        for out in np.flatnonzero(count):
            for into in range(len(count)):
                trial = count.copy()
                trial[out] -= 1.0
                trial[into] += 1.0
                gained = value(trial)
                if gained > best + _GAIN or (best == -np.inf and gained > best):
                    best, taken = gained, trial
        if taken is count:
            return count, here
        here, count = best, taken


def _log_det(matrix: FloatArray) -> float:
    """Return the logarithm of the determinant; minus infinity where it is nil or lost in rounding.

    Columns are scaled first, since parameters differ in size by orders of magnitude.
    """
    size = np.sqrt(np.diag(matrix))
    if not np.all(size > 0.0):
        return float("-inf")
    scaled = matrix / np.outer(size, size)
    sign, log = np.linalg.slogdet(scaled)
    small = sign <= 0.0 or log < len(size) * np.log(np.finfo(float).eps) / 2.0
    return float("-inf") if small else float(log + 2.0 * np.sum(np.log(size)))
