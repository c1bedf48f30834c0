"""How fast plates lose thickness: one line a plate, its slope scattered over packs and plates.

Every plate starts from its own thickness, so only what it loses counts.  Slopes
differ between packs, and between the plates of one pack; a reading differs from
its line by what the gauge and the spot cause.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigdata.arrays import FloatArray, TextArray
from rigdata.errors import FitError
from rigdata.friction.columns import dense_columns
from rigdata.friction.estimate import Estimate
from rigdata.friction.linear_fit import bend_score, linear_fit
from rigdata.friction.mixed_model import Component, MixedModel
from rigdata.friction.nesting import numbered
from rigdata.wear.readings import Plates

HOURS, WORK = "h", "MJ"
LEAST_READINGS = 3
_LEAST_READING_MM = 1e-5  # no gauge reads finer, and readings rounded alike would show no spread
_LEVEL = 0.95
_SETTLED = 1e-14  # gain in log likelihood


@dataclass(frozen=True, eq=False)
class WearRate:
    """The thickness that the plates of one member lose.

    Attributes
    ----------
    material, member : str
    per : str
        ``MJ`` of friction work of the pack, or ``h`` of service where the work is
        not known.
    rate, u : float
        Mean over packs and its standard uncertainty. [um per `per`]
    low, high : float
        95 % interval of that mean.
    pack_sd, plate_sd : float or None
        Standard deviations between packs and between plates of a pack; None
        where the layout cannot show them. [um per `per`]
    reading_sd_um : float
        Of one reading about its line. [um]
    bend : float
        Score of a bent course, standard normal when wear is steady; above 0
        where it slows down.
    furthest : float
        Furthest that any plate was followed, in `per`.
    n_packs, n_plates, n_readings : int
        What it rests on.
    estimate : Estimate
        The rate first, then where the line of every plate starts.
    """

    material: str
    member: str
    per: str
    rate: float
    u: float
    low: float
    high: float
    pack_sd: float | None
    plate_sd: float | None
    reading_sd_um: float
    bend: float
    furthest: float
    n_packs: int
    n_plates: int
    n_readings: int
    estimate: Estimate

    def one_more_pack(self, level: float) -> tuple[float, float]:
        """Return the interval for the rate of one more pack, NaN where packs were not compared.

        The lower end may be below 0 where packs are few: wear is then not bounded
        from below by these tests.
        """
        if "pack" not in self.estimate.components:
            return np.nan, np.nan
        gradient = np.zeros((1, self.estimate.theta.size))
        gradient[0, 0] = 1.0
        extra = np.zeros((1, len(self.estimate.components)))
        extra[0, self.estimate.components.index("pack")] = 1.0
        half = float(self.estimate.half_width(gradient, extra, level)[0])
        return self.rate - half, self.rate + half


def wear_rate(plates: Plates) -> WearRate:
    """Return the wear rate of the plates that were read at two or more service times.

    Parameters
    ----------
    plates : Plates
        One member of one material.

    Returns
    -------
    WearRate
        Per MJ of friction work where that is known of every plate, else per hour.

    Raises
    ------
    FitError
        When too few readings are left, or no plate wore for any time.

    Notes
    -----
    ``h_ij = h_i - (r + a_p + b_i) x_ij + e_ij`` with plate starts ``h_i`` fixed and
    ``a``, ``b``, ``e`` random, by restricted maximum likelihood; `x` is friction
    work or service time.
    """
    where = f"{plates.material}, {plates.member} plates"
    kept = plates.select(plates.followed)
    known = bool(len(kept)) and bool(np.all(np.isfinite(kept.work_mj)))
    x = kept.work_mj if known else kept.hours
    starts = np.unique(kept.plate)
    if len(kept) < max(LEAST_READINGS, starts.size + 2) or not np.any(x > 0.0):
        raise FitError(
            f"{len(kept)} thickness readings of plates read more than once",
            where=where,
            expected=f"at least {max(LEAST_READINGS, starts.size + 2)}, at different service times",
            do="Measure the same plates again after more service",
        )
    model = _model(kept, x)
    estimate, here = linear_fit(model, _start(model), tolerance=_SETTLED)
    gradient = np.zeros((1, estimate.theta.size))
    gradient[0, 0] = 1.0
    half = float(estimate.half_width(gradient, level=_LEVEL)[0])
    rate = float(estimate.theta[0])
    sd = dict(zip(estimate.components, np.sqrt(estimate.variances).tolist(), strict=True))
    return WearRate(
        material=plates.material,
        member=plates.member,
        per=WORK if known else HOURS,
        rate=rate,
        u=float(np.sqrt(estimate.covariance[0, 0])),
        low=rate - half,
        high=rate + half,
        pack_sd=sd.get("pack"),
        plate_sd=sd.get("plate"),
        reading_sd_um=sd["reading"],
        bend=bend_score(here, x),
        furthest=float(x.max()),
        n_packs=np.unique(kept.pack).size,
        n_plates=starts.size,
        n_readings=len(kept),
        estimate=estimate,
    )


def _model(kept: Plates, x: FloatArray) -> MixedModel:
    """Return the model of thickness in um, counted from the mean of each plate."""
    packs, plates = _members(kept.pack), _members(kept.plate)
    own_mean = plates @ ((plates.T @ kept.thickness_mm) / plates.sum(axis=0))
    change = 1e3 * (kept.thickness_mm - own_mean)
    components, effects = [], []
    if packs.shape[1] > 1:
        components.append(Component("pack"))
        effects.append(x[:, None] * packs)
    if plates.shape[1] > packs.shape[1]:
        components.append(Component("plate"))
        effects.append(x[:, None] * plates)
    components.append(Component("reading", weights=1.0 / np.maximum(kept.n_readings, 1)))
    return MixedModel(
        residual=change,
        design=np.column_stack([-x, plates]),
        diagonal=np.full(x.size, (1e3 * _LEAST_READING_MM) ** 2),
        columns=dense_columns(np.zeros((x.size, 0)), *effects),
        components=tuple(components),
    )


def _start(model: MixedModel) -> FloatArray:
    """Return equal shares of the spread about a common line."""
    theta = np.linalg.lstsq(model.design, model.residual, rcond=None)[0]
    left = model.residual - model.design @ theta
    count = len(model.components)
    x = np.abs(model.design[:, 0])
    scale = np.array([1.0 if c.weights is not None else np.mean(x**2) for c in model.components])
    spread = max(float(np.mean(left**2)), 1e-4)
    start: FloatArray = spread / (count * np.maximum(scale, 1e-12))
    return start


def _members(names: TextArray) -> FloatArray:
    """Return which of the different `names` each row has, as a matrix of 0 and 1."""
    number, count = numbered(names)
    return np.eye(count)[number]
