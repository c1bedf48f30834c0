"""The coefficient of each pack at the reference condition against what it has been through."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigdata.arrays import FloatArray, frozen
from rigdata.errors import FitError
from rigdata.friction.columns import dense_columns
from rigdata.friction.estimate import Estimate
from rigdata.friction.linear_fit import bend_score, linear_fit
from rigdata.friction.mixed_model import Component, MixedModel
from rigdata.friction.pack_levels import PackLevels
from rigdata.wear.rates import HOURS, WORK

LEAST_PACKS = 4
_START_SD = 0.02


@dataclass(frozen=True, eq=False)
class History:
    """How the coefficient of a material's packs moves with service.

    Attributes
    ----------
    levels : PackLevels
        The k packs, all states of one material.
    work_mj : (k,) float
        Their friction work; NaN where it is not known. [MJ]
    per : str
        ``MJ`` or ``h``: what `slope` is for.
    mu_new : float
        Coefficient of the mean unused pack.
    slope, u, low, high : float
        Change of ln mu for each `per`, its standard uncertainty and 95 % interval.
    pack_sd : float
        Relative standard deviation of packs about the line.
    bend : float
        Score of a bent course, standard normal where the line is straight.
    furthest : float
        Furthest that any pack was run, in `per`.
    estimate : Estimate
        ln mu of the unused pack, then `slope`.
    """

    levels: PackLevels
    work_mj: FloatArray
    per: str
    mu_new: float
    slope: float
    u: float
    low: float
    high: float
    pack_sd: float
    bend: float
    furthest: float
    estimate: Estimate

    def __post_init__(self) -> None:
        object.__setattr__(self, "work_mj", frozen(self.work_mj))

    def log_mu(
        self, x: FloatArray, *, level: float, one_more_pack: bool = False
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return ln mu after service `x` (n,) and the ends of its interval, each (n,)."""
        gradient = np.column_stack([np.ones_like(x), x])
        extra = np.full((x.size, 1), 1.0) if one_more_pack else None
        half = self.estimate.half_width(gradient, extra, level)
        middle = gradient @ self.estimate.theta
        return middle, middle - half, middle + half


def history(levels: PackLevels, work_mj: FloatArray) -> History:
    """Return the course of ln mu over friction work, or service time where that is not known.

    Parameters
    ----------
    levels : PackLevels
        Packs of one material in all states.
    work_mj : (k,) array
        Friction work of each pack; NaN where it is not known. [MJ]

    Raises
    ------
    FitError
        When fewer than four packs, or packs of one service time only, were tested.

    Notes
    -----
    ``ln mu_p = a + g x_p + e_p`` with shared measurement errors and a scatter
    between packs of restricted maximum likelihood.
    """
    known = bool(np.all(np.isfinite(work_mj)))
    x = work_mj if known else levels.hours
    if x.size < LEAST_PACKS or np.ptp(x) == 0.0:
        raise FitError(
            f"{x.size} packs at {np.unique(x).size} service times",
            where=f"{levels.material[0]}, coefficient against service",
            expected=f"at least {LEAST_PACKS} packs, unused and worn",
            do="Test packs before and after service",
        )
    ones = np.ones_like(x)
    model = MixedModel(
        residual=np.log(levels.mu),
        design=np.column_stack([ones, x]),
        diagonal=levels.u_random**2,
        columns=dense_columns(levels.shared),
        components=(Component("pack", weights=ones),),
    )
    estimate, here = linear_fit(model, np.array([_START_SD**2]))
    slope = float(estimate.theta[1])
    half = float(estimate.half_width(np.array([[0.0, 1.0]]))[0])
    return History(
        levels=levels,
        work_mj=work_mj,
        per=WORK if known else HOURS,
        mu_new=float(np.exp(estimate.theta[0])),
        slope=slope,
        u=float(np.sqrt(estimate.covariance[1, 1])),
        low=slope - half,
        high=slope + half,
        pack_sd=float(np.sqrt(estimate.variances[0])),
        bend=bend_score(here, x),
        furthest=float(x.max()),
        estimate=estimate,
    )
