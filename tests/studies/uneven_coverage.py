"""How often intervals hold where packs have very different numbers of runs and points.

Run as ``python tests/studies/uneven_coverage.py [campaigns]``; 300 campaigns take about
three minutes.  The law is the true one; a row is a layout and a pair of spreads.
"""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np
from friction_points import REFERENCE, Truth, drawn
from scipy import stats

from rigdata.friction.conditions import Conditions
from rigdata.friction.design import Block
from rigdata.friction.joint import JointFit, joint_fit
from rigdata.friction.laws.registry import law
from rigdata.friction.results import interpret
from rigdata.uncertainty.degrees import coverage_factor

PLACES = Conditions([0.1, 0.02, 0.5], [80.0, 60.0, 110.0], [1.0, 1.5, 0.7])
LAYOUTS = {  # points of each run of each pack
    "2 packs, 4 runs each": ((10,) * 4,) * 2,
    "2 packs, 2 and 5 runs": ((4, 20), (10, 3, 15, 8, 8)),
    "3 packs, 4 runs each": ((10,) * 4,) * 3,
    "3 packs, 1, 1 and 6 runs": ((10,), (10,), (10,) * 6),
    "3 packs, 3 to 40 points": ((3, 3), (10, 10), (40, 40)),
    "4 packs, 1 to 6 runs": ((8,), (3, 30), (5, 12, 20, 4), (10, 3, 3, 25, 8, 6)),
    "5 packs, 1 to 5 runs": tuple((10,) * runs for runs in range(1, 6)),
    "6 packs, 1 to 6 runs": ((6,), (12,), (30,), (10, 4), (8,) * 4, (5, 10, 20, 3, 3, 12)),
}
SPREADS = ({"pack_sd": 0.02, "run_sd": 0.005}, {"pack_sd": 0.01, "run_sd": 0.02})
LAW = law("log-speed")


def campaign(truth: Truth, seed: int) -> dict[str, np.ndarray]:
    """Draw and fit one group; return which intervals held, or how likely they hold."""
    points = drawn(truth, np.random.default_rng(seed))
    fit = joint_fit([Block(truth.material, points, LAW, {})], REFERENCE)
    theta, mean = fit.estimate.theta, truth.mu(PLACES)
    mu, gradient = (f(PLACES, theta, REFERENCE) for f in (LAW.mu, LAW.jacobian))
    told = interpret(fit.estimate, mu, gradient, np.ones(mu.size, dtype=bool))

    def share(low: np.ndarray, high: np.ndarray, sd: float) -> np.ndarray:
        return np.diff(stats.norm.cdf((np.array([low, high]) / mean - 1.0) / sd), axis=0)[0]

    either = float(np.hypot(truth.pack_sd, truth.run_sd))
    each = np.mean([1.0 / len(sizes) for sizes in truth.layout])  # runs of a pack like these
    as_tested = float(np.hypot(truth.pack_sd, truth.run_sd * np.sqrt(each)))
    plain = satterthwaite(fit, gradient)
    return {
        "mean": (told.mean_low <= mean) & (mean <= told.mean_high),
        "next pack": share(told.next_pack_low, told.next_pack_high, as_tested),
        "next run": share(told.next_run_low, told.next_run_high, either),
        "plain": np.abs(mu - mean) <= plain,
        "width": told.mean_high / mu - 1.0,
    }


def satterthwaite(fit: JointFit, gradient: np.ndarray) -> np.ndarray:
    """Half widths of the mean by Satterthwaite's formula for the whole variance, as is usual."""
    estimate, free = fit.estimate, fit.estimate.variances > 0.0
    slopes = estimate.slopes(gradient)[:, free]
    known = np.linalg.pinv(fit.profile.information[np.ix_(free, free)])
    spread = np.einsum("kc,cd,kd->k", slopes, known, slopes)
    variance = estimate.variance(gradient)
    dof = np.maximum(2.0 * variance**2 / np.maximum(spread, 1e-300), 1.0)
    return coverage_factor(dof) * np.sqrt(variance)


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    print(f"{count} campaigns a row, 95 % intervals, mean over three conditions")
    names = ("mean", "next pack", "next run", "plain")
    print(f"{'':28}{'pack sd':>9}{'run sd':>8}" + "".join(f"{name:>11}" for name in names))
    for layout, sizes in LAYOUTS.items():
        for spread in SPREADS:
            truth = replace(Truth(layout=sizes), **spread)
            done = [campaign(truth, seed) for seed in range(count)]
            shares = [100 * np.mean([d[name] for d in done]) for name in names]
            width = 100 * np.median([d["width"][0] for d in done])
            print(
                f"{layout:28}{100 * truth.pack_sd:7.1f} %{100 * truth.run_sd:6.1f} %"
                + "".join(f"{value:9.1f} %" for value in shares)
                + f"   +-{width:.1f} %",
                flush=True,
            )


if __name__ == "__main__":
    main()
