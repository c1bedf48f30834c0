"""Service life: which limit of a pack is met first, after how many hours of a duty.

Wear is followed plate by plate and need not have reached a limit: a pack that is
still running counts through the rate at which it wears, so none is lost by being
censored.  Intervals are for one more pack.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import optimize

from rigdata.campaign.service import Duty, ServiceLimits
from rigdata.wear.history import History
from rigdata.wear.rates import WORK, WearRate
from rigdata.wear.readings import work_per_hour_mj

LEVEL = 0.90
FRICTION, MATING, MU = "friction plates", "mating plates", "coefficient"
_FAR = 1e6  # hours that no pack sees
_OUTLASTS = 2.0  # times the first life: such a plate can stay for another round
_TRUSTED = 1.5  # times as far as tests went


@dataclass(frozen=True)
class LimitLife:
    """When one limit of a pack is met.

    Attributes
    ----------
    what : str
        `FRICTION`, `MATING` or `MU`.
    limit : float
        Thickness to lose [mm], or least coefficient.
    hours, low, high : float
        Service hours of the mean pack, and the 90 % interval for one more pack;
        infinite where wear, or the fall of mu, is not bounded from below; `low` and
        `high` NaN where packs were not compared.
    tested_hours : float
        Hours of this duty that the tests amount to.
    """

    what: str
    limit: float
    hours: float
    low: float
    high: float
    tested_hours: float

    @property
    def extrapolated(self) -> bool:
        """Whether the limit lies well beyond what was tested."""
        return self.hours > _TRUSTED * self.tested_hours


@dataclass(frozen=True)
class ServiceLife:
    """The life of packs of one material on one duty.

    Attributes
    ----------
    material : str
    duty : Duty or None
        None for the service that the tested packs had.
    limits : tuple of LimitLife
        The first to be met first.
    words, plan : str
        The result, and what to do, in a sentence each.
    """

    material: str
    duty: Duty | None
    limits: tuple[LimitLife, ...]
    words: str
    plan: str

    @property
    def first(self) -> LimitLife:
        """The limit that is met first."""
        return self.limits[0]


def service_life(
    material: str,
    limits: ServiceLimits,
    rates: Sequence[WearRate],
    course: History | None,
    duty: Duty | None,
) -> ServiceLife | None:
    """Return the life of a material's packs; None where no limit can be followed.

    Parameters
    ----------
    material : str
    limits : ServiceLimits
        When plates are due.
    rates : sequence of WearRate
        Of the friction and the mating plates.
    course : History or None
        Of the coefficient.
    duty : Duty or None
        What the packs will do; None for hours like those that were served.
    """
    found: list[LimitLife] = []
    due = {"friction": limits.friction_wear_limit_mm, "mating": limits.mating_wear_limit_mm}
    for rate in rates:
        limit, pace = due[rate.member], _pace(rate.per, duty)
        if limit is not None and pace is not None:
            found.append(_wear_life(rate, limit, pace))
    if course is not None and limits.least_mu is not None:
        pace = _pace(course.per, duty)
        if pace is not None:
            found.append(_mu_life(course, limits.least_mu, pace))
    if not found:
        return None
    ordered = tuple(sorted(found, key=lambda life: life.hours))
    return ServiceLife(material, duty, ordered, _words(material, ordered, duty), _plan(ordered))


def _pace(per: str, duty: Duty | None) -> float | None:
    """Return how much of `per` an hour brings; None where that cannot be said."""
    if per == WORK:
        return None if duty is None else work_per_hour_mj(duty)
    return 1.0


def _wear_life(rate: WearRate, limit_mm: float, pace: float) -> LimitLife:
    slow, fast = rate.one_more_pack(LEVEL)

    def met(value: float) -> float:
        if np.isnan(value):
            return np.nan
        return 1e3 * limit_mm / (value * pace) if value > 0.0 else np.inf

    what = FRICTION if rate.member == "friction" else MATING
    ends = met(rate.rate), met(fast), met(slow)
    return LimitLife(what, limit_mm, *ends, tested_hours=rate.furthest / pace)


def _mu_life(course: History, least: float, pace: float) -> LimitLife:
    """Return when the coefficient meets its least value, by its line and the ends of its band."""

    def met(which: int) -> float:
        def above(x: float) -> float:
            ends = course.log_mu(np.array([x]), level=LEVEL, one_more_pack=which > 0)
            return float(ends[which][0] - np.log(least))

        if above(0.0) <= 0.0:
            return 0.0
        far = _FAR * pace
        return float(optimize.brentq(above, 0.0, far)) if above(far) < 0.0 else np.inf

    ends = met(0) / pace, met(1) / pace, met(2) / pace
    return LimitLife(MU, least, *ends, tested_hours=course.furthest / pace)


def _words(material: str, limits: Sequence[LimitLife], duty: Duty | None) -> str:
    first = limits[0]
    if not np.isfinite(first.hours):
        return f"{material}: no limit is approached in these tests"
    on = f" of {duty.name}" if duty is not None else ""
    text = f"{material}: {_named(first)} after {first.hours:.0f} h{on}"
    if np.isfinite(first.low):
        end = f"{first.high:.0f} h" if np.isfinite(first.high) else "no upper bound"
        text += f" (one more pack, 90 %: {first.low:.0f} h to {end})"
    if duty is not None and duty.hours_per_year:
        text += (
            f", {first.hours / duty.hours_per_year:.1f} years at {duty.hours_per_year:g} h a year"
        )
    if first.extrapolated:
        text += f"; the tests reach {first.tested_hours:.0f} h only"
    return text


def _named(life: LimitLife) -> str:
    if life.what == MU:
        return f"the coefficient falls to {life.limit:g}"
    return f"the {life.what} have lost {life.limit:g} mm"


def _plan(limits: Sequence[LimitLife]) -> str:
    first = limits[0]
    if not np.isfinite(first.hours):
        return "Run on, and measure again"
    look = first.low if np.isfinite(first.low) else first.hours
    until = f"Run on until an inspection at {_down(look)} h"
    due = {life.what: life.hours for life in limits}
    if first.what == MU:
        return f"{until}; renew the pack when it bites too little"
    other = FRICTION if first.what == MATING else MATING
    if due.get(other, 0.0) >= _OUTLASTS * first.hours:
        return (
            f"{until}, then renew the {first.what} alone: "
            f"the {other} outlast them {due[other] / first.hours:.1f} times"
        )
    if other in due:
        after = f"the {other} would be due at {_down(due[other])} h, before the next service"
        return f"{until}, then renew both members: {after}"
    return f"{until}, then renew the {first.what}, and measure the {other} as well"


def _down(hours: float) -> str:
    """Return hours rounded down as a workshop would write them."""
    step = 10.0 if hours >= 100.0 else 5.0 if hours >= 20.0 else 1.0
    return f"{np.floor(hours / step) * step:.0f}"
