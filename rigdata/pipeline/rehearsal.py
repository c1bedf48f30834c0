"""A plan carried out on the virtual rig, so that it can be tried before a pack is mounted."""

from __future__ import annotations

import datetime
from dataclasses import replace
from pathlib import Path

from rigdata.planning.candidates import PlannedTest
from rigdata.planning.plan import Plan
from rigdata.simulation import procedures
from rigdata.simulation.campaign import simulate_campaign
from rigdata.simulation.demo import check_free
from rigdata.simulation.procedures import Profile
from rigdata.simulation.rig import RigDesign
from rigdata.simulation.scenario import OIL, ROUGH, SHORT, STEEL
from rigdata.simulation.spec import CampaignSpec, PackDesign, RunDesign
from rigdata.simulation.truth import Material, Truth
from rigdata.steps import Progress

_CALIBRATED = datetime.timedelta(days=60)  # before the first day
_VALID = datetime.timedelta(days=365)


def rehearse(
    plan: Plan, folder: Path, *, force: bool = False, progress: Progress | None = None
) -> Truth:
    """Make the runs of a plan on the virtual rig and write the campaign with its logs.

    Parameters
    ----------
    plan : Plan
    folder : Path
        Where the campaign and its invented rig go.
    force : bool
        Write over a campaign that is there.
    progress : callable, optional
        Told each run before it is made.

    Returns
    -------
    Truth
        What a reduction should find.

    Raises
    ------
    ResultError
        When `folder` already holds something and `force` is not set.
    """
    check_free(folder, force=force)
    return simulate_campaign(rehearsal_spec(plan), plan.request.seed, folder, progress=progress)


def rehearsal_spec(plan: Plan) -> CampaignSpec:
    """Return a plan as the virtual rig takes it.

    Materials that the demo knows by name are those; else the baseline grips as the demo's
    plain plates and the others as its rough ones.
    """
    request = plan.request
    packs = {
        block.pack: _pack(plan, block.pack, block.group.material, block.group.batch)
        for block in plan.blocks
    }
    days = plan.dates
    runs = tuple(
        RunDesign(
            run.id,
            run.pack,
            profile_of(run.test, packs[run.pack]),
            days[block.day - 1] if days else None,
            remark=run.purpose,
        )
        for block in plan.blocks
        for run in block.runs
    )
    rig, where = RigDesign(), request.reference
    if days:
        opened = days[0] - _CALIBRATED
        rig = replace(rig, calibrated=opened, valid_until=opened + _VALID)
    return CampaignSpec(
        name=f"{request.name} (simulated)",
        baseline=request.baseline,
        rig=rig,
        materials=tuple(_material(name, request.baseline) for name in request.materials),
        packs=tuple(packs.values()),
        runs=runs,
        reference=(where.slip_speed_m_s, where.temperature_c, where.pressure_mpa),
        oil=OIL,
    )


def profile_of(test: PlannedTest, pack: PackDesign) -> Profile:
    """Return what the bench is told for a planned test."""
    speeds, loads = test.slip_speeds_m_s, [pack.load_n(p) for p in test.pressures_mpa]
    cold, hot = test.temperatures_c
    match test.procedure:
        case "zero":
            return procedures.zero(oil_c=cold, rate_hz=SHORT.drag_hz)
        case "drag":
            return procedures.drag(
                cold_c=cold,
                hot_c=hot,
                top_m_s=speeds[1],
                hold_s=SHORT.stair_s,
                rate_hz=SHORT.drag_hz,
            )
        case "bedding":
            return procedures.bedding(
                load_n=loads[0],
                speed_m_s=speeds[0],
                oil_c=cold,
                engagements=SHORT.engagements,
                rate_hz=SHORT.duty_hz,
            )
        case "speed-sweep":
            return procedures.speed_sweep(
                load_n=loads[0],
                oil_c=cold,
                low_m_s=speeds[0],
                top_m_s=speeds[1],
                way_s=SHORT.sweep_s,
                rate_hz=SHORT.sweep_hz,
            )
        case "load-sweep":
            return procedures.load_sweep(
                low_n=loads[0],
                top_n=loads[1],
                speed_m_s=speeds[0],
                oil_c=cold,
                way_s=SHORT.sweep_s,
                rate_hz=SHORT.sweep_hz,
            )
        case "temperature-sweep":
            return procedures.temperature_sweep(
                load_n=loads[0],
                speed_m_s=speeds[0],
                cold_c=cold,
                hot_c=hot,
                heating_s=SHORT.heating_s,
                rate_hz=SHORT.slow_hz,
            )
        case "breakaway":
            return procedures.breakaway(
                load_n=loads[0],
                oil_c=cold,
                dwells_s=test.dwells_s,
                turn_s=SHORT.turn_s,
                rate_hz=SHORT.breakaway_hz,
            )
        case _:
            raise KeyError(test.procedure)


def _material(name: str, baseline: str) -> Material:
    for known in (ROUGH, STEEL):
        if known.name == name:
            return known
    return replace(STEEL if name == baseline else ROUGH, name=name, note="invented")


def _pack(plan: Plan, name: str, material: str, batch: str) -> PackDesign:
    own = plan.request.pack
    return PackDesign(
        name,
        material,
        batch=batch,
        state=own.state,
        service_hours=own.service_hours,
        friction_faces=own.friction_faces,
        outer_radius_mm=own.outer_radius_mm,
        inner_radius_mm=own.inner_radius_mm,
        radius_u_mm=own.radius_u_mm,
        contact_area_fraction=own.contact_area_fraction,
        pressure_law=own.pressure_law,
        spline_radius_mm=own.spline_radius_mm,
        spline_friction=own.spline_friction,
    )
