"""Everything that inspections and pack histories say of the wear of a campaign's materials."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.campaign.campaign import Campaign
from rigdata.campaign.inspections import Inspections
from rigdata.campaign.service import Duty, ServiceLimits
from rigdata.errors import FitError, Notice, Severity
from rigdata.friction.conditions import at
from rigdata.friction.diagnostics.findings import AFTER_HEAT, Finding
from rigdata.friction.pack_levels import PackLevels
from rigdata.friction.results import FrictionFit, Group
from rigdata.wear.archard import specific_wear_rate, worn_area_mm2
from rigdata.wear.history import History, history
from rigdata.wear.life import ServiceLife, service_life
from rigdata.wear.mass_check import MassCheck, mass_check
from rigdata.wear.rates import WORK, WearRate, wear_rate
from rigdata.wear.readings import Plates, Repeatability, plates_of, repeatability, sliding_work_mj

_BENT = 3.0
_LEVEL = 0.95


@dataclass(frozen=True)
class MemberWear:
    """The wear of one member of one material.

    Attributes
    ----------
    rate : WearRate
    specific, specific_low, specific_high : float
        Specific wear rate of a face and its 95 % interval; NaN where the friction
        work or the coefficient is not known. [mm^3/(N m)]
    mass : MassCheck or None
        Mass against thickness.
    roughness_um : (first, last)
        Mean roughness Ra of the plates at their first and last reading; NaN where
        it was not measured. [um]
    """

    rate: WearRate
    specific: float
    specific_low: float
    specific_high: float
    mass: MassCheck | None
    roughness_um: tuple[float, float]


@dataclass(frozen=True, eq=False)
class Wear:
    """The wear of a campaign.

    Attributes
    ----------
    repeatability : tuple of Repeatability
    plates : mapping of (material, member) to Plates
        The readings, those that gave no rate included.
    members : tuple of MemberWear
        Friction and mating plates of each material.
    histories : mapping of material to History
        Coefficient against service.
    lives : tuple of ServiceLife
        Of each material on each duty.
    recoveries : mapping of Group to Finding
        What heat took for good within the tests, apart from what came back on cooling.
    notices : tuple of Notice
        What was left out and why, and what to look at.
    """

    repeatability: tuple[Repeatability, ...]
    plates: Mapping[tuple[str, str], Plates]
    members: tuple[MemberWear, ...]
    histories: Mapping[str, History]
    lives: tuple[ServiceLife, ...]
    recoveries: Mapping[Group, Finding]
    notices: tuple[Notice, ...]

    def __post_init__(self) -> None:
        for name in ("plates", "histories", "recoveries"):
            object.__setattr__(self, name, MappingProxyType(dict(getattr(self, name))))


def assess_wear(
    campaign: Campaign,
    inspections: Inspections | None,
    levels: PackLevels,
    fits: Mapping[Group, FrictionFit],
) -> Wear:
    """Return the wear of every material that was inspected or tested in several states.

    Parameters
    ----------
    campaign : Campaign
        Packs, duties and limits.
    inspections : Inspections or None
        Plate readings; None where there are none.
    levels : PackLevels
        Of every pack that was fitted.
    fits : mapping of Group to FrictionFit
        Kinetic laws.
    """
    notices: list[Notice] = []
    histories: dict[str, History] = {}
    for material in dict.fromkeys(group.material for group in fits):
        if len({group.state for group in fits if group.material == material}) > 1:
            own_packs = levels.select(levels.material == material)
            try:
                histories[material] = history(own_packs, _work(own_packs, campaign))
            except FitError as fault:
                notices.append(Notice(Severity.LEFT_OUT, fault.where, fault.what, fault.do))
    members: list[MemberWear] = []
    plates = plates_of(inspections, campaign) if inspections is not None else {}
    for own in plates.values():
        try:
            rate = wear_rate(own)
        except FitError as fault:
            notices.append(Notice(Severity.LEFT_OUT, fault.where, fault.what, fault.do))
            continue
        members.append(_member(rate, own, campaign, histories, fits))
        notices += _member_notices(members[-1])
    lives: list[ServiceLife] = []
    for name, described in campaign.materials.items():
        own_rates = [m.rate for m in members if m.rate.material == name]
        if own_rates or name in histories:
            lives += _lives(name, described.service, own_rates, histories.get(name), campaign)
    found = repeatability(inspections) if inspections is not None else ()
    recoveries = {
        group: finding
        for group, fit in fits.items()
        if fit.diagnostics and (finding := fit.diagnostics.finding(AFTER_HEAT))
    }
    return Wear(found, plates, tuple(members), histories, tuple(lives), recoveries, tuple(notices))


def _work(levels: PackLevels, campaign: Campaign) -> FloatArray:
    packs = (campaign.packs[name] for name in levels.pack.tolist())
    return np.array([sliding_work_mj(p, p.service_hours, campaign.duties) for p in packs])


def _lives(
    material: str,
    limits: ServiceLimits | None,
    rates: list[WearRate],
    course: History | None,
    campaign: Campaign,
) -> list[ServiceLife]:
    """Return the life on every duty of the campaign, or in hours as served without any."""
    duties: list[Duty | None] = list(campaign.duties.values()) or [None]
    found = [service_life(material, limits or ServiceLimits(), rates, course, d) for d in duties]
    return [life for life in found if life is not None]


def _member(
    rate: WearRate,
    plates: Plates,
    campaign: Campaign,
    histories: Mapping[str, History],
    fits: Mapping[Group, FrictionFit],
) -> MemberWear:
    pack = campaign.packs[str(plates.pack[0])]
    area = worn_area_mm2(pack, rate.member)
    specific = (np.nan, np.nan, np.nan)
    in_service = _mu_in_service(rate.material, histories, fits)
    if rate.per == WORK and in_service is not None:
        mu, relative = in_service
        half = float(np.hypot((rate.high - rate.low) / (2.0 * rate.rate), relative))
        middle = float(specific_wear_rate(rate.rate, area, pack.friction_faces, mu))
        specific = (middle, middle * (1.0 - half), middle * (1.0 + half))
    limits = campaign.materials[rate.material].service or ServiceLimits()
    density = {
        "friction": limits.friction_density_kg_m3,
        "mating": limits.mating_density_kg_m3,
    }[rate.member]
    mass = mass_check(plates, area, density) if density is not None else None
    return MemberWear(rate, *specific, mass=mass, roughness_um=_roughness(plates))


def _mu_in_service(
    material: str, histories: Mapping[str, History], fits: Mapping[Group, FrictionFit]
) -> tuple[float, float] | None:
    """Return mu half-way through the service tested, and half its relative interval.

    None where no law of the material was found.
    """
    if material in histories:
        course = histories[material]
        middle, low, high = course.log_mu(np.array([0.5 * course.furthest]), level=_LEVEL)
        return float(np.exp(middle[0])), float(high[0] - low[0]) / 2.0
    fit = next((fit for group, fit in fits.items() if group.material == material), None)
    if fit is None:
        return None
    told = fit.predict(at(fit.reference))
    return float(told.mu[0]), float((told.mean_high - told.mu)[0] / told.mu[0])


def _roughness(plates: Plates) -> tuple[float, float]:
    """Return the mean first and last roughness of the plates that were followed."""
    ends: list[tuple[float, float]] = []
    for name in dict.fromkeys(plates.plate.tolist()):
        own = np.flatnonzero((plates.plate == name) & np.isfinite(plates.roughness_ra_um))
        if own.size > 1:
            order = own[np.argsort(plates.hours[own])]
            ends.append(
                (float(plates.roughness_ra_um[order[0]]), float(plates.roughness_ra_um[order[-1]]))
            )
    if not ends:
        return np.nan, np.nan
    first, last = np.mean(ends, axis=0).tolist()
    return first, last


def _member_notices(member: MemberWear) -> list[Notice]:
    rate, found = member.rate, []
    where = f"{rate.material}, {rate.member} plates"
    if abs(rate.bend) > _BENT:
        course = "slows down" if rate.bend > 0.0 else "speeds up"
        found.append(
            Notice(
                Severity.WARNING,
                where,
                f"wear {course} in service ({rate.bend:+.1f} standard deviations), "
                "the rate is a mean over it",
                "Look at the readings against service; a life beyond them is not to be trusted",
            )
        )
    if rate.low <= 0.0:
        found.append(
            Notice(
                Severity.NOTE,
                where,
                "the thickness lost is not resolved from none",
                "Measure after more service, or with a finer gauge",
            )
        )
    if member.mass is not None and not member.mass.agrees:
        found.append(
            Notice(
                Severity.WARNING,
                where,
                f"mass and thickness disagree: mass lost is {member.mass.ratio:.2f} "
                f"({member.mass.low:.2f} to {member.mass.high:.2f}) of what the thickness says",
                "Check density and area, and that plates were weighed clean and dry",
            )
        )
    return found
