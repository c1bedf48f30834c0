"""How often the intervals of fits and ratios hold, on points drawn from a known truth.

Run as ``python tests/studies/fit_coverage.py [campaigns [scenario]]``; 1000 campaigns of all
scenarios take a few minutes.  The target is 92 to 97 % for packs that differ by 1 to 3 %.
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace
from typing import Any

import numpy as np
from friction_points import REFERENCE, Truth, drawn
from scipy import stats

from rigdata.comparison.ratios import compare_groups
from rigdata.errors import ComparisonError
from rigdata.friction.conditions import Conditions
from rigdata.friction.fit import fit_campaign
from rigdata.reduction.points import concatenate

PLACES = Conditions([0.1, 0.02, 0.5], [80.0, 60.0, 110.0], [1.0, 1.5, 0.7])
SCENARIOS = {
    "pack sd 1 %": {"pack_sd": 0.01},
    "pack sd 2 %": {"pack_sd": 0.02},
    "pack sd 3 %": {"pack_sd": 0.03},
    "pack sd 2 %, misfit 1 %": {"pack_sd": 0.02, "misfit_sd": 0.01},
    "pack sd 2 %, five packs": {"pack_sd": 0.02, "packs": 5},
    "pack sd 2 %, any law": {"pack_sd": 0.02, "laws": None},
    "pack sd 0.3 %": {"pack_sd": 0.003},
    "pack sd 2 %, two packs": {"pack_sd": 0.02, "packs": 2},
    "packs alike": {"pack_sd": 0.0},
}


def campaign(seed: int, changes: dict[str, Any]) -> dict[str, np.ndarray]:
    """Draw and fit one campaign of two materials; return which intervals held."""
    rng = np.random.default_rng(seed)
    laws = changes.get("laws", ["log-speed"])
    changes = {name: value for name, value in changes.items() if name != "laws"}
    plain = replace(Truth(), material="plain", **changes)
    rough = replace(plain, material="rough", theta=(0.17, -0.006, -0.0008, -0.06))
    gain = rng.normal()
    points = concatenate([drawn(truth, rng, gain) for truth in (plain, rough)])
    fits = fit_campaign(points, REFERENCE, laws=laws)
    fit = next(f for group, f in fits.items() if group.material == "plain")
    truth, told = plain.mu(PLACES), fit.predict(PLACES)
    sd = max(plain.pack_sd, 1e-12)
    low, high = ((side / truth - 1.0) / sd for side in (told.next_pack_low, told.next_pack_high))
    either = np.hypot(sd, plain.run_sd)
    worst, best = (
        (side / truth - 1.0) / either for side in (told.next_run_low, told.next_run_high)
    )
    try:
        (ratio,) = compare_groups(points, fits, baseline="plain", reference=REFERENCE)
        true_ratio = rough.mu(ratio.conditions)[0] / plain.mu(ratio.conditions)[0]
        held = float(ratio.low[0] <= true_ratio <= ratio.high[0])
    except ComparisonError:  # few packs may happen to have no condition in common
        held = np.nan
    return {
        "mean": (told.mean_low <= truth) & (truth <= told.mean_high),
        # The chance that a new pack, without any error of measurement, falls inside.
        "next pack": stats.norm.cdf(high) - stats.norm.cdf(low),
        "next run": stats.norm.cdf(best) - stats.norm.cdf(worst),
        "ratio": np.array([held]),
        "no pack spread": np.array([fit.scatter.pack == 0.0]),
        "half width": 100 * np.array([told.mean_high[0] / told.mu[0] - 1.0]),
    }


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    print(f"{count} campaigns each, 95 % intervals; the standard error of a share of 95 % is "
          f"{100 * np.sqrt(0.05 * 0.95 / count):.1f} %")  # fmt: skip
    print(f"{'':26} mean at three conditions   next pack              next run          "
          "     ratio  s_pack=0  median")  # fmt: skip
    wanted = sys.argv[2] if len(sys.argv) > 2 else ""
    for name, changes in SCENARIOS.items():
        if wanted not in name:
            continue
        start = time.perf_counter()
        done = [campaign(seed, changes) for seed in range(count)]
        shares = {key: 100 * np.nanmean([d[key] for d in done], axis=0) for key in done[0]}
        each = "   ".join(
            "  ".join(f"{value:5.1f}" for value in shares[key])
            for key in ("mean", "next pack", "next run", "ratio", "no pack spread")
        )
        width = np.median([d["half width"] for d in done])
        spent = (time.perf_counter() - start) / count
        print(f"{name:26} {each}  +-{width:4.1f} %   {spent:.3f} s", flush=True)


if __name__ == "__main__":
    main()
