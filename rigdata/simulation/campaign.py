"""A whole campaign on the virtual rig, from its plan to its files and its truth."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from rigdata.errors import CampaignError
from rigdata.simulation.calibrate import calibrate
from rigdata.simulation.inspections import Inspection, inspect_pack
from rigdata.simulation.logfile import Dialect
from rigdata.simulation.noise import stream
from rigdata.simulation.plates import Annulus, Splines
from rigdata.simulation.rig import VirtualRig, build_rig
from rigdata.simulation.runs import MountedPack, run_on_bench
from rigdata.simulation.spec import CampaignSpec, PackDesign
from rigdata.simulation.truth import PackTruth, Truth
from rigdata.simulation.writer import (
    write_campaign_file,
    write_inspections,
    write_log,
    write_record,
    write_rig_file,
)
from rigdata.steps import Progress, counted

# Sliding work of a pack that came out of service: far beyond bedding-in. [J/mm^2]
_SERVED_J_MM2 = 1e3


def simulate_campaign(
    spec: CampaignSpec,
    seed: int,
    folder: Path,
    *,
    rig_folder: Path | None = None,
    progress: Progress | None = None,
) -> Truth:
    """Make every run of a campaign and write its files.

    Parameters
    ----------
    spec : CampaignSpec
        What to test.
    seed : int
        Seed of all chance; the same seed gives the same bytes.
    folder : Path
        Where campaign.toml, logs/ and inspections.csv go.
    rig_folder : Path, optional
        Where rig.toml and records/ go; ``folder/rig`` by default.
    progress : callable, optional
        Told each run before it is made.

    Returns
    -------
    Truth
        What a reduction of the files should find.

    Raises
    ------
    CampaignError
        When a pack or a run names something that is not there.
    """
    _check_names(spec)
    rig_folder = folder / "rig" if rig_folder is None else rig_folder
    rig = build_rig(spec.rig, seed)
    _write_rig(rig, spec.dialect, seed, rig_folder)
    write_campaign_file(spec, folder, rig_folder)
    packs = {pack.name: _draw_pack(spec, pack, seed) for pack in spec.packs}
    factors = _make_runs(spec, seed, folder, rig, packs, progress)
    materials = {material.name: material for material in spec.materials}
    if spec.inspections:
        rows: list[Inspection] = []
        duties = {duty.name: duty for duty in spec.duties}
        for pack in spec.packs:
            rng = stream(seed, "inspection", pack.name)
            duty = duties[pack.duty] if pack.duty is not None else None
            rows += inspect_pack(pack, materials[pack.material], duty, rng)
        write_inspections(rows, folder)
    return Truth(materials, packs, factors, dict(rig.errors))


def _make_runs(
    spec: CampaignSpec,
    seed: int,
    folder: Path,
    rig: VirtualRig,
    packs: Mapping[str, PackTruth],
    progress: Progress | None,
) -> dict[str, float]:
    """Make and log the runs; return the factor of each."""
    designs = {pack.name: pack for pack in spec.packs}
    materials = {material.name: material for material in spec.materials}
    work = {
        name: 0.0 if design.state == "new" else _SERVED_J_MM2 for name, design in designs.items()
    }
    factors: dict[str, float] = {}
    runs = {run.id: run for run in spec.runs}
    for name in counted(progress, "making run", runs):
        run, rng = runs[name], stream(seed, "run", name)
        design, truth = designs[run.pack], packs[run.pack]
        material = materials[design.material]
        factors[run.id] = 1.0 + float(rng.normal(0.0, material.run_scatter))
        mounted = MountedPack(
            plates=Annulus(
                design.friction_faces,
                truth.outer_radius_m,
                truth.inner_radius_m,
                design.contact_area_fraction,
                truth.wear_mixture,
            ),
            nominal_radius_m=design.radius_m,
            material=material,
            factor=truth.factor
            * factors[run.id]
            * float(material.wear_factor(truth.service_hours)),
            work_j_mm2=work[run.pack],
            splines=_splines(design),
        )
        happened = run_on_bench(rig.bench, mounted, run.commands, rng)
        work[run.pack] = float(happened.work_j_mm2[-1])
        height = 2.0 * (design.friction_faces + 1)
        readings = rig.observe(happened, spec.logger, rng, pack_height_mm=height)
        write_log(run, readings, spec.dialect, rig.design.name, folder)
    return factors


def _write_rig(rig: VirtualRig, dialect: Dialect, seed: int, folder: Path) -> None:
    design = rig.design
    for on_record in (design.torque, design.clamp_load):
        error = rig.errors[f"{on_record.quantity}_reference"]
        rng = stream(seed, "calibration", on_record.record)
        write_record(on_record, calibrate(on_record.cell, error, rng), design, folder)
    write_rig_file(design, dialect, folder)


def _draw_pack(spec: CampaignSpec, pack: PackDesign, seed: int) -> PackTruth:
    rng = stream(seed, "pack", pack.name)
    material = next(item for item in spec.materials if item.name == pack.material)
    factor, outer, inner = rng.normal(0.0, 1.0, 3)
    return PackTruth(
        material=pack.material,
        state=pack.state,
        service_hours=pack.service_hours,
        factor=(1.0 + material.pack_scatter * float(factor))
        * spec.batch_factors.get(pack.batch, 1.0),
        outer_radius_m=(pack.outer_radius_mm + pack.radius_u_mm * float(outer)) / 1e3,
        inner_radius_m=(pack.inner_radius_mm + pack.radius_u_mm * float(inner)) / 1e3,
        wear_mixture=float(rng.uniform(*pack.wear_mixture)),
    )


def _splines(pack: PackDesign) -> Splines | None:
    if pack.spline_radius_mm is None or pack.spline_friction is None:
        return None
    return Splines(pack.spline_radius_mm / 1e3, pack.spline_friction)


def _check_names(spec: CampaignSpec) -> None:
    materials = {material.name for material in spec.materials}
    packs = {pack.name for pack in spec.packs}
    wanted = [(pack.material, materials, f"pack {pack.name}") for pack in spec.packs]
    wanted += [(run.pack, packs, f"run {run.id}") for run in spec.runs]
    wanted.append((spec.baseline, materials, "baseline"))
    for name, known, where in wanted:
        if name not in known:
            raise CampaignError(
                f"'{name}' is not there", where=where, expected="one of " + ", ".join(sorted(known))
            )
