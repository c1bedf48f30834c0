"""The coefficient of each pack at the reference condition against what it has been through."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from rigdata.arrays import FloatArray, TextArray, frozen
from rigdata.campaign.campaign import Campaign
from rigdata.errors import FitError
from rigdata.friction.conditions import at
from rigdata.friction.estimate import Estimate
from rigdata.friction.mixed_model import Component, MixedModel, Profile, sensitivity
from rigdata.friction.results import FrictionFit, Group, fitted_points
from rigdata.friction.variance_components import mean_squares, restricted_variances
from rigdata.reduction.points import FrictionPoints
from rigdata.wear.rates import HOURS, WORK
from rigdata.wear.readings import sliding_work_mj

LEAST_PACKS = 4
_START_SD = 0.02


@dataclass(frozen=True, eq=False)
class PackLevels:
    """The level of each of k packs of one material, all states together.

    Attributes
    ----------
    material : str
    pack, state : (k,) str
    hours, work_mj : (k,) float
        Service time, and friction work (NaN where it is not known). [h, MJ]
    mu : (k,) float
        Coefficient of the pack at the reference condition.
    u_random : (k,) float
        Part of its relative standard uncertainty that no other pack shares.
    shared : (k, m) float
        Relative contributions of the m named sources.
    """

    material: str
    pack: TextArray
    state: TextArray
    hours: FloatArray
    work_mj: FloatArray
    mu: FloatArray
    u_random: FloatArray
    shared: FloatArray

    def __post_init__(self) -> None:
        for name in ("pack", "state"):
            object.__setattr__(self, name, frozen(getattr(self, name), np.str_))
        for name in ("hours", "work_mj", "mu", "u_random", "shared"):
            object.__setattr__(self, name, frozen(getattr(self, name)))


@dataclass(frozen=True, eq=False)
class History:
    """How the coefficient of a material's packs moves with service.

    Attributes
    ----------
    levels : PackLevels
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

    def log_mu(
        self, x: FloatArray, *, level: float, one_more_pack: bool = False
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return ln mu after service `x` (n,) and the ends of its interval, each (n,)."""
        gradient = np.column_stack([np.ones_like(x), x])
        extra = np.full((x.size, 1), 1.0) if one_more_pack else None
        half = self.estimate.half_width(gradient, extra, level)
        middle = gradient @ self.estimate.theta
        return middle, middle - half, middle + half


def pack_levels(
    points: FrictionPoints,
    fits: Mapping[Group, FrictionFit],
    campaign: Campaign,
    material: str,
) -> PackLevels:
    """Return the level of every fitted pack of `material`.

    A pack's level is its group's law at the reference condition times the mean of
    its points over that law; contributions of named sources are averaged alike, so
    that what all packs share stays shared.
    """
    rows: dict[str, list[object]] = {
        name: [] for name in ("pack", "state", "hours", "work", "mu", "u", "shared")
    }
    place = {source.id: i for i, source in enumerate(points.sources)}
    for group, fit in fits.items():
        if group.material != material:
            continue
        own = fitted_points(points, fit)
        relative = np.zeros((len(own), len(place)))
        columns = [place[source.id] for source in own.sources]
        relative[:, columns] = own.contributions.toarray() / own.mu[:, None]
        level = float(fit.predict(at(fit.reference)).mu[0])
        for name in dict.fromkeys(own.pack.tolist()):
            here = np.flatnonzero(own.pack == name)
            pack = campaign.packs[name]
            rows["pack"].append(name)
            rows["state"].append(group.state)
            rows["hours"].append(pack.service_hours)
            rows["work"].append(sliding_work_mj(pack, pack.service_hours, campaign.duties))
            rows["mu"].append(level * (1.0 + float(np.mean(fit.residual[here]))))
            spread = own.u_random[here] / own.mu[here]
            rows["u"].append(float(np.sqrt(np.sum(spread**2))) / here.size)
            rows["shared"].append(relative[here].mean(axis=0))
    return PackLevels(
        material=material,
        pack=np.array(rows["pack"], dtype=np.str_),
        state=np.array(rows["state"], dtype=np.str_),
        hours=np.array(rows["hours"], dtype=np.float64),
        work_mj=np.array(rows["work"], dtype=np.float64),
        mu=np.array(rows["mu"], dtype=np.float64),
        u_random=np.array(rows["u"], dtype=np.float64),
        shared=np.reshape(
            np.array(rows["shared"], dtype=np.float64), (len(rows["mu"]), len(place))
        ),
    )


def history(levels: PackLevels) -> History:
    """Return the course of ln mu over friction work, or service time where that is not known.

    Raises
    ------
    FitError
        When fewer than four packs, or packs of one service time only, were tested.

    Notes
    -----
    ``ln mu_p = a + g x_p + e_p`` with shared measurement errors and a scatter
    between packs of restricted maximum likelihood.
    """
    known = bool(np.all(np.isfinite(levels.work_mj)))
    x = levels.work_mj if known else levels.hours
    if x.size < LEAST_PACKS or np.ptp(x) == 0.0:
        raise FitError(
            f"{x.size} packs at {np.unique(x).size} service times",
            where=f"{levels.material}, coefficient against service",
            expected=f"at least {LEAST_PACKS} packs, unused and worn",
            do="Test packs before and after service",
        )
    ones = np.ones_like(x)
    model = MixedModel(
        residual=np.log(levels.mu),
        design=np.column_stack([ones, x]),
        diagonal=levels.u_random**2,
        shared=levels.shared,
        components=(Component("pack", weights=ones),),
    )
    variances, here, _ = restricted_variances(model, np.array([_START_SD**2]))
    names = ("pack",)
    estimate = Estimate(
        here.step,
        here.covariance,
        names,
        variances,
        sensitivity(model, here),
        *mean_squares(here, variances, names),
    )
    slope = float(here.step[1])
    half = float(estimate.half_width(np.array([[0.0, 1.0]]))[0])
    return History(
        levels=levels,
        per=WORK if known else HOURS,
        mu_new=float(np.exp(here.step[0])),
        slope=slope,
        u=float(np.sqrt(estimate.covariance[1, 1])),
        low=slope - half,
        high=slope + half,
        pack_sd=float(np.sqrt(variances[0])),
        bend=_bend(here, x),
        furthest=float(x.max()),
        estimate=estimate,
    )


def _bend(here: Profile, x: FloatArray) -> float:
    column = (x / x.max()) ** 2
    left = float(column @ here.project(column[:, None])[:, 0])
    return float(column @ here.projected) / np.sqrt(left) if left > 0.0 else 0.0
