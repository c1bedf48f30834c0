"""How often the intervals of static fits hold, on breakaways drawn from a known truth.

Run as ``python tests/studies/static_coverage.py [campaigns]``; 400 campaigns take
some minutes.  Every parameter is asked of the dwell law alone; mu after the
shortest, middle and longest dwell of what the choice among all static laws gives.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from dataclasses import replace

import numpy as np
from friction_points import DWELL_THETA, REFERENCE, Truth, drawn

from rigdata.friction.conditions import Conditions
from rigdata.friction.results import FrictionFit
from rigdata.friction.slopes import dwell_rise
from rigdata.friction.static import fit_static

RESTS = Truth(
    kind="static",
    law="dwell",
    theta=DWELL_THETA,
    runs=(3, 4),
    points=(3, 5),
    point_sd=0.004,
    run_sd=0.003,
    dwells=(1.0, 60.0),
)
SCENARIOS = {
    "three packs": RESTS,
    "five packs": replace(RESTS, packs=5),
    "one temperature and pressure": replace(
        RESTS, temperatures=(89.0, 91.0), pressures=(0.99, 1.01), runs=(1, 2)
    ),
    "dwells 1.4 to 6 s": replace(RESTS, dwells=(1.4, 6.0)),
    "three breakaways a pack": replace(
        RESTS,
        runs=(1, 1),
        points=(3, 3),
        dwells=(1.4, 6.0),
        temperatures=(89.0, 91.0),
        pressures=(0.99, 1.01),
    ),
    "four packs, seven runs of three": replace(
        RESTS,
        layout=((3, 3), (3, 3), (3, 3), (3,)),
        run_sd=0.005,
        point_sd=0.0017,
        dwells=(3.8, 21.0),
    ),
    "a third of the rise": replace(RESTS, theta=(0.13, 0.0004, 1.0, -0.0008, -0.06)),
    "t0 of 0.1 s": replace(RESTS, theta=(0.128, 0.0012, 0.1, -0.0008, -0.06)),
    "t0 of 10 s": replace(RESTS, theta=(0.13, 0.0025, 10.0, -0.0008, -0.06)),
    "no rise": replace(RESTS, theta=(0.13, 0.0, 1.0, -0.0008, -0.06)),
}


def campaign(truth: Truth, seed: int) -> dict[str, object]:
    """Draw and fit one group; return which intervals held."""
    points = drawn(truth, np.random.default_rng(20_000 + seed))
    asked, _ = fit_static(points, REFERENCE, laws=["dwell"])
    chosen, _ = fit_static(points, REFERENCE)
    (dwell,), (best,) = asked.values(), chosen.values()
    low, high = truth.dwells or (np.nan, np.nan)
    temperature = float(np.median(points.temperature_c))
    where = Conditions(0.0, temperature, 1.0, [low, np.sqrt(low * high), high])
    told, mean = best.predict(where), truth.mu(where)
    return {
        "parameters": _held(dwell, truth),
        "rise": _rise_held(dwell, truth),
        "mean": (told.mean_low <= mean) & (mean <= told.mean_high),
        "asked": _inside(dwell, where, mean),
        "law": best.law,
        "t0": "t0" not in dwell.not_identified,
    }


def _inside(fit: FrictionFit, where: Conditions, mean: np.ndarray) -> np.ndarray:
    told = fit.predict(where)
    return (told.mean_low <= mean) & (mean <= told.mean_high)


def _held(fit: FrictionFit, truth: Truth) -> np.ndarray:
    """Which intervals of mu0, a, b, c hold the truth; NaN where one was held."""
    half = fit.estimate.half_width(np.eye(5))
    off = np.abs(fit.theta - np.array(truth.theta)) <= half
    free = np.diag(fit.covariance) > 0.0
    return np.where(free, off, np.nan)[[0, 1, 3, 4]]


def _rise_held(fit: FrictionFit, truth: Truth) -> float:
    """Whether the interval of the rise for ten times the dwell holds the true one."""
    rise = dwell_rise(fit)
    if rise is None:
        return np.nan
    ends = truth.mu(replace(_at_reference(fit), dwell_s=np.array([rise.start, rise.end])))
    true = np.expm1(np.log(ends[1] / ends[0]) * np.log(10.0) / np.log(rise.end / rise.start))
    return float(rise.low <= true <= rise.high)


def _at_reference(fit: FrictionFit) -> Conditions:
    reference = fit.reference
    return Conditions(0.0, reference.temperature_c, reference.pressure_mpa, [1.0, 1.0])


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 400
    print(f"{count} groups each, 95 % intervals; the standard error of a share of 95 % is "
          f"{100 * np.sqrt(0.05 * 0.95 / count):.1f} %")  # fmt: skip
    print(f"{'':30}  mu0    a     b     c    rise   mu, dwell law      mu, law chosen    t0 found")
    for name, truth in SCENARIOS.items():
        start = time.process_time()
        done = [campaign(truth, seed) for seed in range(count)]
        each = "  ".join(
            " ".join(f"{value:5.1f}" for value in np.atleast_1d(_share(done, key)))
            for key in ("parameters", "rise", "asked", "mean", "t0")
        )
        laws = ", ".join(f"{n} {c}" for n, c in Counter(d["law"] for d in done).most_common())
        spent = (time.process_time() - start) / count
        print(f"{name:30} {each}   {laws}; {spent:.3f} s", flush=True)


def _share(done: list[dict[str, object]], key: str) -> np.ndarray:
    table = np.array([d[key] for d in done], dtype=float)
    known = np.sum(np.isfinite(table), axis=0)
    return 100.0 * np.nansum(table, axis=0) / np.where(known > 0, known, np.nan)


if __name__ == "__main__":
    main()
