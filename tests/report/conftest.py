"""A made-up campaign with every stage's result, for the report to be written from."""

import datetime
import hashlib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import sparse

from rigdata.bedding.assess import assess_bedding
from rigdata.campaign.campaign import Campaign, Material, Oil, Pack, Reference, Run
from rigdata.campaign.files import InputFile
from rigdata.campaign.records import CalibrationRecord
from rigdata.campaign.rig import Channel, LogSettings, Rig
from rigdata.comparison.pair_fits import fit_pairs
from rigdata.comparison.ratios import compare_groups
from rigdata.comparison.trait_differences import compare_traits
from rigdata.errors import Notice, Severity
from rigdata.friction.fit import fit_campaign
from rigdata.friction.static import fit_static
from rigdata.reduction.points import FrictionPoints
from rigdata.reduction.results import Reduction, RunSummary
from rigdata.reduction.trace import Trace, TraceWindow
from rigdata.report.model import ReportInput
from rigdata.report.page import render_report
from rigdata.uncertainty.sources import Effect, Scope, Source

V0, T0, P0 = 0.1, 80.0, 0.8
LAW = {  # mu0, a, b, c, static
    ("rough", "new"): (0.128, 0.0055, -4.0e-4, -0.04, 0.121),
    ("plain", "new"): (0.106, -0.0035, -1.5e-4, -0.02, 0.128),
    ("rough", "worn"): (0.119, 0.0030, -4.5e-4, -0.04, 0.121),
}
TORQUE = Source("torque:TC-0312:slope", Scope.RIG, Effect.PROPORTIONAL, "slope of record TC-0312")
LOAD = Source("clamp-load:LC-0077:slope", Scope.RIG, Effect.PROPORTIONAL, "slope of record LC-0077")


def mu_of(key, v, t, p):
    mu0, a, b, c, _ = LAW[key]
    return (mu0 + a * np.log(v / V0)) * np.exp(b * (t - T0)) * (p / P0) ** c


def make_points(packs, *, seed=1, breakaway=True, bedding=True):
    """Return points of `packs`, a mapping of pack name to (material, state)."""
    rng = np.random.default_rng(seed)
    rows, shares = [], []
    run = 0
    shift = {TORQUE: rng.normal(), LOAD: rng.normal()}
    for pack, (material, state) in packs.items():
        key = (material, state)
        pack_factor = 1 + 0.018 * rng.normal()
        radius = Source(f"outer-radius:{pack}", Scope.PACK, Effect.PROPORTIONAL, "outer radius")
        shift[radius] = rng.normal()
        plans = [("speed-sweep", t, p) for t, p in ((40, 0.8), (80, 0.4), (80, 1.6), (120, 0.8))]
        plans += [("load-sweep", 80, None), ("temperature-sweep", None, 0.8)]
        plans += [("bedding", 60, 0.8)] * bedding + [("breakaway", 60, 0.8)] * breakaway
        for procedure, t, p in plans:
            run += 1
            name = f"R{run:03d}"
            zero = Source(f"zero:{name}", Scope.RUN, Effect.ADDITIVE, "zero of the torque cell")
            drag = Source(f"drag:{pack}", Scope.PACK, Effect.ADDITIVE, "drag")
            shift.setdefault(zero, rng.normal())
            shift.setdefault(drag, rng.normal())
            run_factor = 1 + 0.006 * rng.normal()
            n = {"speed-sweep": 14, "load-sweep": 6, "temperature-sweep": 12}.get(procedure, 8)
            v = np.geomspace(0.005, 1.5, n // 2)
            v = np.concatenate([v, v[::-1]]) if procedure == "speed-sweep" else np.full(n, V0)
            temps = np.linspace(40, 150, n) if t is None else t + rng.normal(0, 2, n)
            if procedure == "load-sweep":
                v = np.repeat([0.02, 0.1, 0.5], 2)
            press = np.full(n, 0.8 if p is None else p) * (1 + 0.005 * rng.normal(size=n))
            static = procedure == "breakaway"
            mu = mu_of(key, v, temps, press)
            if static:
                mu = LAW[key][4] * (1 + 0.03 * np.log10(np.arange(1, n + 1)))
                v = np.zeros(n)
            if procedure == "bedding":
                mu = mu * (1 - 0.16 * np.exp(-np.arange(n) / 2.0))
            u = 0.0007 + 0.004 * mu * np.ones(n)
            part = {
                TORQUE: 0.004 * mu,
                LOAD: 0.006 * mu,
                radius: 0.002 * mu,
                zero: 0.0006 * 0.8 / press,
                drag: 0.0004 * 0.8 / press,
            }
            mu = mu * pack_factor * run_factor * (1 + 0.004 * rng.normal(size=n))
            mu = mu + sum(shift[s] * c for s, c in part.items()) + rng.normal(0, u)
            # A gain's contribution is taken at the coefficient as measured, noise and all.
            part = part | {TORQUE: 0.004 * mu, LOAD: 0.006 * mu, radius: 0.002 * mu}
            for i in range(n):
                direction = "-"
                if procedure == "speed-sweep":
                    direction = "up" if i < n // 2 else "down"
                used, reason = procedure != "bedding", "" if procedure != "bedding" else "bedding"
                if procedure == "speed-sweep" and i == 3 and run % 5 == 0:
                    used, reason = False, "stick-slip in the window"
                rows.append(
                    {
                        "point": f"{name}/{i + 1}",
                        "run": name,
                        "pack": pack,
                        "material": material,
                        "batch": "batch 1",
                        "state": state,
                        "service_hours": 0.0 if state == "new" else 40.0,
                        "procedure": procedure,
                        "kind": "static" if static else "kinetic",
                        "method": "breakaway" if static else "ratio",
                        "direction": direction,
                        "slip_speed_m_s": v[i],
                        "temperature_c": temps[i],
                        "pressure_mpa": press[i],
                        "mu": mu[i],
                        "u_random": u[i],
                        "n_samples": 4000,
                        "n_effective": 90.0,
                        "start_s": 10.0 + 9.0 * i,
                        "end_s": 15.0 + 9.0 * i,
                        "dwell_s": float(i + 1) if static else np.nan,
                        # The bedding run comes first, whatever its number.
                        "pack_work_kj": 5.0 * (i + 1) * (procedure == "bedding")
                        + (100.0 * run + i) * (procedure != "bedding"),
                        "pack_sliding_s": 10.0 * run + i,
                        "pack_engagements": float(run),
                        "runs_not_counted": 0.0,
                        "used": used,
                        "reason": reason,
                    }
                )
                shares.append({s: c[i] if np.ndim(c) else c for s, c in part.items()})
    sources = list(dict.fromkeys(s for share in shares for s in share))
    matrix = sparse.lil_array((len(rows), len(sources)))
    for i, share in enumerate(shares):
        for source, value in share.items():
            matrix[i, sources.index(source)] = value
    columns = {name: [row[name] for row in rows] for name in rows[0]}
    return FrictionPoints(**columns, sources=tuple(sources), contributions=matrix.tocsr())


def make_trace(points, run, *, seed=3):
    """Return a trace that could have given the points of one run."""
    own = points.select(points.run == run)
    rng = np.random.default_rng(seed)
    time = np.linspace(0.0, float(own.end_s[-1]) + 15.0, 1500)
    middle = (own.start_s + own.end_s) / 2.0
    pressed = (time > 6.0) & (time < time[-1] - 6.0)
    load = np.interp(time, middle, 9000.0 * own.pressure_mpa) * pressed
    speed = np.interp(time, middle, np.maximum(own.slip_speed_m_s, 1e-3) / 0.06) * pressed
    torque = load * np.interp(time, middle, own.mu) * 0.06 * 8 + rng.normal(0, 2.0, time.size)
    windows = tuple(
        TraceWindow(
            str(own.point[i]), float(own.start_s[i]), float(own.end_s[i]), bool(own.used[i])
        )
        for i in range(len(own))
    )
    return Trace(
        run=run,
        procedure=str(own.procedure[0]),
        pack=str(own.pack[0]),
        time_s=time,
        torque_raw_nm=torque + 6.0 + 0.3 * speed,
        torque_nm=torque,
        clamp_load_n=load + rng.normal(0, 25.0, time.size),
        slip_speed_rad_s=speed,
        plate_temperature_c=np.interp(time, middle, own.temperature_c),
        windows=windows,
    )


REFERENCE = Reference(slip_speed_m_s=V0, temperature_c=T0, pressure_mpa=P0)
HOSTILE = '<script>alert("x")</script> $x_1$ & </style>'
LEFT_OUT = {
    "R901": "excluded in campaign.toml: clamp cylinder stuck",
    "R902": "logs/R902.csv, line 48: time goes backwards; expected rising time",
}


def sha(text):
    return hashlib.sha256(text.encode()).hexdigest()


def make_record(record_id, quantity):
    return CalibrationRecord(
        path=Path(f"records/{record_id}.toml"),
        sha256=sha(record_id),
        id=record_id,
        sensor="reaction torque cell, 500 N*m",
        quantity=quantity,
        applied_unit="N*m",
        indicated_unit="mV/V",
        date=datetime.date(2025, 2, 1),
        valid_until=datetime.date(2026, 2, 1),
        reference_expanded_u_percent=0.1,
        coverage_factor=2.0,
        temperature_c=22.0,
        degree=1,
        series=["1"],
        direction=["up"],
        applied=[0.0],
        indicated=[0.0],
    )


def make_campaign(points, packs):
    """Return a campaign that could have given these points."""
    channels = {
        name: Channel(name, calibration=make_record(record, name))
        for name, record in (("torque", "TC-0312"), ("clamp_load", "LC-0077"))
    }
    materials = {
        "rough": Material("rough", "rough-faced plate, sprayed", "plain steel plate", "trial"),
        "plain": Material("plain", "plain steel plate, nitrided", "plain steel plate", HOSTILE),
    }
    first = {str(run): i for i, run in reversed(list(enumerate(points.run)))}
    runs = [
        Run(run, str(points.pack[i]), str(points.procedure[i]), Path(f"/r/logs/{run}.csv"))
        for run, i in sorted(first.items())
    ]
    pack = next(iter(packs))
    runs += [
        Run("R901", pack, "speed-sweep", Path("/r/logs/R901.csv"), exclude="clamp cylinder stuck"),
        Run("R902", pack, "drag", Path("/r/logs/R902.csv")),
    ]
    return Campaign(
        path=Path("/r/campaign.toml"),
        folder=Path("/r"),
        name="Plates for a ramp-type differential",
        date=datetime.date(2025, 3, 28),
        baseline="plain" if ("plain", "new") in packs.values() else "rough",
        rig=Rig(
            Path("/r/rig.toml"), "twin-shaft plate bench", 0.1, 0.01, LogSettings("t"), channels
        ),
        reference=REFERENCE,
        oil=Oil("gear oil 75W-140", 172.0, 24.5, 868.0),
        materials={m: materials[m] for m in materials if m in {a for a, _ in packs.values()}},
        packs={
            name: Pack(
                name,
                material,
                "L1",
                state,
                0.0 if state == "new" else 40.0,
                friction_faces=10,
                outer_radius_mm=55.0,
                inner_radius_mm=40.0,
                radius_u_mm=0.05,
                contact_area_fraction=0.8,
                pressure_law="uniform-pressure",
            )
            for name, (material, state) in packs.items()
        },
        runs=tuple(runs),
        inputs=(
            InputFile("campaign", Path("/r/campaign.toml"), sha("campaign")),
            InputFile("rig", Path("/bench/rig.toml"), sha("rig")),
        ),
    )


def make_reduction(campaign, points):
    notices = (
        Notice(Severity.WARNING, "run R003", "the zero moved by 1.3 N*m", "Check the cell."),
        Notice(Severity.LEFT_OUT, "run R901", "excluded in campaign.toml: clamp cylinder stuck"),
        Notice(Severity.NOTE, "pack A1", HOSTILE),
    )
    summaries = {
        run.id: RunSummary(
            run=run.id,
            n_rows=45000,
            n_points=int(np.sum(points.run == run.id)),
            flagged={"torque": {"SPIKE": i % 3, "MISSING": 0}},
            log_sha256=sha(run.id),
        )
        for i, run in enumerate(campaign.runs)
        if run.id not in LEFT_OUT
    }
    return Reduction(
        campaign=campaign,
        points=points,
        traces={run: make_trace(points, run) for run in dict.fromkeys(points.run.tolist())},
        summaries=summaries,
        left_out=LEFT_OUT,
        notices=notices,
        drag={"A1": "own drag runs R950"},
    )


def make_report(packs, *, seed=1, laws=("log-speed",), **options):
    """Return everything a report needs for `packs`."""
    points = make_points(packs, seed=seed, **options)
    campaign = make_campaign(points, packs)
    baseline = campaign.baseline
    fits = fit_campaign(points, REFERENCE, laws=laws)
    several = len(fits) > 1
    ratios = compare_groups(points, fits, baseline=baseline, reference=REFERENCE) if several else ()
    static, _ = fit_static(points, REFERENCE)
    return ReportInput(
        campaign=campaign,
        reduction=make_reduction(campaign, points),
        fits=fits,
        static=static,
        ratios=ratios,
        table_files=[Path("tables/rough-new/coefficients.csv")],
        provenance={"version": "0.1.0", "command": "rigdata run demo", "options": "none"},
        bedding=assess_bedding(points, campaign),
    )


PACKS = {
    "A1": ("rough", "new"),
    "A2": ("rough", "new"),
    "B$1 & co": ("plain", "new"),
    "B2": ("plain", "new"),
    "A8": ("rough", "worn"),
}


@pytest.fixture(scope="package")
def full():
    """Two materials, a worn pack, bedding and breakaway: everything there is to show."""
    report = make_report(PACKS)
    pairs = fit_pairs(report.points, report.fits, baseline="plain", reference=REFERENCE)
    return replace(report, traits=compare_traits(pairs, report.points, report.static))


@pytest.fixture(scope="package")
def page(full):
    return render_report(full)


@pytest.fixture(scope="package")
def bare():
    """One pack of one material, kinetic points only, no tables."""
    report = make_report({"A1": ("rough", "new")}, breakaway=False, bedding=False)
    return replace(report, table_files=[])


@pytest.fixture(scope="package")
def unfitted(bare):
    """Points, but no fit."""
    return replace(bare, fits={})
