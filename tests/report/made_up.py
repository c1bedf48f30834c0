"""A made-up campaign's friction points: two materials, several packs, all procedures."""

from __future__ import annotations

import numpy as np
from scipy import sparse

from rigdata.reduction.points import FrictionPoints
from rigdata.reduction.trace import Trace, TraceWindow
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
        TraceWindow(str(own.point[i]), float(own.start_s[i]), float(own.end_s[i]), bool(own.used[i]))
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
