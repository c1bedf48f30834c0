"""The campaign's files: TOML, calibration records, logs and inspections."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from pathlib import Path

from rigdata.arrays import FloatArray
from rigdata.simulation.calibrate import CalibrationPoints
from rigdata.simulation.inspections import Inspection
from rigdata.simulation.logfile import Dialect, log_text
from rigdata.simulation.rig import LOGGED_UNITS, CellOnRecord, RigDesign
from rigdata.simulation.spec import CampaignSpec, RunDesign
from rigdata.simulation.truth import Truth
from rigdata.storage.files import write_text
from rigdata.storage.json_files import write_json
from rigdata.storage.toml_text import TomlValue, toml_table

_LOGS = "logs"
_RECORDS = "records"


def write_campaign_file(spec: CampaignSpec, folder: Path, rig_folder: Path) -> None:
    """Write campaign.toml."""
    rig = Path(os.path.relpath(rig_folder / "rig.toml", folder)).as_posix()
    top: dict[str, TomlValue] = {"format": 1, "name": spec.name}
    if spec.date is not None:
        top["date"] = spec.date
    top |= {"rig": rig, "baseline": spec.baseline}
    speed, temperature, pressure = spec.reference
    parts = [
        toml_table("", top),
        toml_table(
            "[reference]",
            {"slip_speed_m_s": speed, "temperature_c": temperature, "pressure_mpa": pressure},
        ),
    ]
    if spec.oil:
        parts.append(toml_table("[oil]", spec.oil))
    for material in spec.materials:
        plates = {"friction_plate": material.friction_plate, "mating_plate": material.mating_plate}
        note = {"note": material.note} if material.note else {}
        parts.append(toml_table(f"[materials.{material.name}]", plates | note))
        if material.service:
            parts.append(toml_table(f"[materials.{material.name}.service]", material.service))
    for duty in spec.duties:
        told = {name: value for name, value in asdict(duty).items() if value not in (None, "")}
        del told["name"]
        parts.append(toml_table(f"[duties.{duty.name}]", told))
    for pack in spec.packs:
        keys = {name: getattr(pack, name) for name in _PACK_KEYS}
        given = {name: value for name, value in keys.items() if value is not None}
        parts.append(toml_table(f"[packs.{pack.name}]", given))
    parts += [toml_table("[[runs]]", _run_keys(run)) for run in spec.runs]
    write_text(folder / "campaign.toml", "\n".join(parts))


def write_rig_file(rig: RigDesign, dialect: Dialect, folder: Path) -> None:
    """Write rig.toml."""
    titles = dict(dialect.titles)

    def channel(name: str, **keys: TomlValue) -> str:
        given = {"column": titles[name], "unit": LOGGED_UNITS[name]} | keys
        return toml_table(f"[channels.{name}]", given)

    def lag(seconds: float) -> dict[str, TomlValue]:
        return {"lag_s": seconds} if seconds else {}

    top: dict[str, TomlValue] = {
        "format": 1,
        "name": rig.name,
        "inertia_kg_m2": rig.inertia_kg_m2,
        "inertia_u_kg_m2": rig.inertia_u_kg_m2,
    }
    parts = [toml_table("", top), toml_table("[log]", {"time_column": dialect.time_title})]
    for on_record in (rig.torque, rig.clamp_load):
        record = f"{_RECORDS}/{on_record.record}.toml"
        keys = lag(on_record.cell.lag_s) | {"range": (-3.0, 3.0)}
        parts.append(channel(on_record.quantity, calibration=record, **keys))
    parts += [
        channel("slip_speed", u=rig.slip_speed.u, **lag(rig.slip_speed.lag_s)),
        channel(
            "plate_temperature",
            thermocouple="K",
            reference_junction="reference_junction_temperature",
            u=rig.plate.u,
            time_constant_s=rig.plate.time_constant_s,
        ),
        channel("reference_junction_temperature", u=rig.junction.u),
        channel("oil_temperature", u=rig.oil.u),
    ]
    if rig.logs_height:
        parts.append(channel("pack_height", u=0.005))
    write_text(folder / "rig.toml", "\n".join(parts))


def write_record(
    on_record: CellOnRecord, points: CalibrationPoints, rig: RigDesign, folder: Path
) -> None:
    """Write one calibration record and its points."""
    name = on_record.record
    keys: dict[str, TomlValue] = {
        "format": 1,
        "id": name,
        "sensor": on_record.sensor,
        "quantity": on_record.quantity,
        "applied_unit": on_record.unit,
        "indicated_unit": "mV/V",
        "date": rig.calibrated,
        "valid_until": rig.valid_until,
        "reference_expanded_u_percent": on_record.standard.expanded_u_percent,
        "coverage_factor": on_record.standard.coverage_factor,
        "temperature_c": 23.0,
        "degree": 2,
        "points": f"{name}.csv",
    }
    write_text(folder / _RECORDS / f"{name}.toml", toml_table("", keys))
    rows = zip(points.series, points.direction, points.applied, points.indicated, strict=True)
    text = "".join(
        f"{series},{way},{stated:.6g},{read:.5f}\n" for series, way, stated, read in rows
    )
    write_text(folder / _RECORDS / f"{name}.csv", f"series,direction,applied,indicated\n{text}")


def write_log(
    run: RunDesign, readings: Mapping[str, FloatArray], dialect: Dialect, rig: str, folder: Path
) -> None:
    """Write the log of one run."""
    rate = run.commands.rate_hz
    facts = [
        ("Bench", rig),
        ("Run", run.id),
        ("Pack", run.pack),
        ("Procedure", run.commands.procedure),
        ("Date", run.date.isoformat() if run.date else ""),
        ("Rate", f"{rate:g} 1/s"),
    ]
    text = log_text(
        dialect,
        run.commands.time_s,
        readings,
        LOGGED_UNITS,
        time_decimals=_digits(1.0 / rate),
        facts=facts,
    )
    write_text(folder / _LOGS / f"{run.id}.csv", text)


def write_inspections(rows: Iterable[Inspection], folder: Path) -> None:
    """Write inspections.csv."""
    head = "pack,service_hours,plate,member,thickness_mm,mass_g,roughness_ra_um,note\n"
    text = "".join(
        f"{row.pack},{row.service_hours:.1f},{row.plate},{row.member},{row.thickness_mm:.4f},"
        f"{row.mass_g:.2f},{row.roughness_ra_um:.2f},{row.note}\n"
        for row in rows
    )
    write_text(folder / "inspections.csv", head + text)


def write_truth(truth: Truth, path: Path) -> None:
    """Write what the campaign hides as JSON; keep it away from the campaign's folder."""
    write_json(
        path,
        {
            "materials": {name: asdict(law) for name, law in truth.materials.items()},
            "packs": {name: asdict(pack) for name, pack in truth.packs.items()},
            "run_factors": truth.run_factors,
            "errors": truth.errors,
        },
    )


_PACK_KEYS = (
    "material",
    "batch",
    "state",
    "service_hours",
    "friction_faces",
    "outer_radius_mm",
    "inner_radius_mm",
    "radius_u_mm",
    "contact_area_fraction",
    "pressure_law",
    "spline_radius_mm",
    "spline_friction",
    "duty",
)


def _run_keys(run: RunDesign) -> dict[str, TomlValue]:
    keys: dict[str, TomlValue] = {
        "id": run.id,
        "pack": run.pack,
        "procedure": run.commands.procedure,
        "log": f"{_LOGS}/{run.id}.csv",
    }
    if run.date is not None:
        keys["date"] = run.date
    for name in ("remark", "exclude"):
        if getattr(run, name):
            keys[name] = getattr(run, name)
    return keys


def _digits(step_s: float) -> int:
    """Digits after the decimal mark that write a time step exactly, at most 6."""
    return next((n for n in range(1, 6) if abs(round(step_s, n) - step_s) < 1e-9), 6)
