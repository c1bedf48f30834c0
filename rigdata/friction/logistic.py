"""Logistic regression that also holds where one side never happens (Firth's penalty)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rigdata.arrays import BoolArray, FloatArray, frozen
from rigdata.errors import FitError

_STEPS = 100
_LONGEST = 4.0  # of one step in any coefficient
_ENOUGH = 1e-9


@dataclass(frozen=True, eq=False)
class Logistic:
    """Coefficients of ``ln(P / (1 - P)) = x b`` with what they are known to.

    Attributes
    ----------
    coefficients : (p,) float
    covariance : (p, p) float
        Inverse of the information at the coefficients.
    log_likelihood : float
        Penalised, for comparing models of the same rows.
    """

    coefficients: FloatArray
    covariance: FloatArray
    log_likelihood: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "coefficients", frozen(self.coefficients))
        object.__setattr__(self, "covariance", frozen(self.covariance))


def logistic(design: FloatArray, happened: BoolArray, *, held: Sequence[int] = ()) -> Logistic:
    """Fit the probability of something that did or did not happen.

    Parameters
    ----------
    design : (n, p) array
        Columns of the model, each of the order of one.
    happened : (n,) bool array
    held : sequence of int, optional
        Columns whose coefficient is held at 0, to be compared with the fit in which it
        is free; both carry the penalty of all columns.

    Raises
    ------
    FitError
        When the columns do not differ from each other on these rows, or the fit
        does not settle.

    Notes
    -----
    The log-likelihood is raised by ``ln det(I) / 2`` with `I` the information.
    Where a speed parts the two sides without overlap the plain likelihood has no
    maximum; this one has, and is less biased everywhere (D. Firth, Biometrika 80
    (1993) 27; G. Heinze and M. Schemper, Statist. Med. 21 (2002) 2409; from memory).
    """
    outcome = happened.astype(np.float64)
    at = np.zeros(design.shape[1])
    free = np.array([i for i in range(design.shape[1]) if i not in held], dtype=np.int64)
    score, information, value = _state(design, outcome, at)
    for _ in range(_STEPS):
        step = np.zeros(at.size)
        step[free] = np.linalg.solve(information[np.ix_(free, free)], score[free])
        step *= min(1.0, _LONGEST / max(float(np.abs(step).max()), 1e-300))
        while True:
            there = _state(design, outcome, at + step)
            if there[2] >= value - 1e-12 or float(np.abs(step).max()) < _ENOUGH:
                break
            step = step / 2.0
        at = at + step
        score, information, value = there
        if float(np.abs(step).max()) < _ENOUGH:
            return Logistic(at, np.asarray(np.linalg.inv(information), np.float64), value)
    raise FitError("the logistic regression does not settle")


def _state(
    design: FloatArray, outcome: FloatArray, at: FloatArray
) -> tuple[FloatArray, FloatArray, float]:
    """Return the penalised score, the information and the penalised log-likelihood."""
    line = np.clip(design @ at, -30.0, 30.0)
    chance = 1.0 / (1.0 + np.exp(-line))
    weight = chance * (1.0 - chance)
    information = design.T @ (weight[:, None] * design)
    sign, determinant = np.linalg.slogdet(information)
    if not sign > 0.0 or np.linalg.cond(information) > 1e12:
        raise FitError("the columns of the logistic regression do not differ on these rows")
    inverse = np.linalg.inv(information)
    leverage = weight * np.einsum("ni,ij,nj->n", design, inverse, design)
    score = design.T @ (outcome - chance + leverage * (0.5 - chance))
    value = float(np.sum(outcome * line - np.logaddexp(0.0, line))) + 0.5 * float(determinant)
    return score, information, value
