"""What pooling the scatter of three materials does to the intervals of one of them.

Run as ``python tests/studies/pooled_coverage.py [campaigns]``; 100 campaigns take about
three minutes.  The scatter is the same in all three materials, or that of one differs, so
that pooling is wrong and the test may or may not see it.
"""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np
from friction_points import REFERENCE, Truth, drawn
from scipy import stats

from rigdata.friction.conditions import at
from rigdata.friction.fit import fit_campaign
from rigdata.reduction.points import concatenate

SIZES = {"points": (6, 8), "runs": (3, 3)}
CASES = {  # packs of each material, and the spread between packs of each
    "2 packs each, alike": ((2, 2, 2), (0.02, 0.02, 0.02)),
    "3 packs each, alike": ((3, 3, 3), (0.02, 0.02, 0.02)),
    "3 packs each, first 2 x": ((3, 3, 3), (0.02, 0.01, 0.01)),
    "3 packs each, first 5 x": ((3, 3, 3), (0.05, 0.01, 0.01)),
    "3 packs each, first 1/3": ((3, 3, 3), (0.01, 0.03, 0.03)),
}
PLACE = at(REFERENCE)


def campaign(seed: int, packs: tuple[int, ...], spreads: tuple[float, ...]) -> dict[str, float]:
    """Draw and fit three materials; return what held for the first of them."""
    rng = np.random.default_rng(seed)
    gain = rng.normal()
    truths = [
        replace(Truth(material=f"m{i}", packs=n, pack_sd=sd), **SIZES)
        for i, (n, sd) in enumerate(zip(packs, spreads, strict=True))
    ]
    points = concatenate([drawn(truth, rng, gain) for truth in truths])
    fit = next(iter(fit_campaign(points, REFERENCE, laws=["log-speed"]).values()))
    assert fit.pooling is not None
    mean, sd = float(truths[0].mu(PLACE)[0]), spreads[0]
    (test,) = (test for test in fit.pooling.tests if test.kind == "pack")
    kept = "pack" not in {part.kind for part in fit.pooling.common}
    found = {"p < 0.05": float(test.speaks_against)}
    for name, told in (("own", fit.pooling.own), ("pooled", fit.pooling.pooled)):
        told = fit.pooling.own if told is None or (name == "pooled" and kept) else told
        ends = np.array([told.next_pack_low, told.next_pack_high])
        found[f"mean, {name}"] = float(told.mean_low <= mean <= told.mean_high)
        found[f"next, {name}"] = float(np.diff(stats.norm.cdf((ends / mean - 1.0) / sd))[0])
        found[f"+-, {name}"] = told.mean_high / told.mu - 1.0
    return found


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    print(f"{count} campaigns a row; shares that hold of 95 % intervals, and half widths")
    for name, (packs, spreads) in CASES.items():
        done = [campaign(seed, packs, spreads) for seed in range(count)]
        shares = {key: 100 * np.mean([d[key] for d in done]) for key in done[0]}
        told = "  ".join(f"{key} {share:.1f} %" for key, share in shares.items())
        print(f"{name:26}{told}", flush=True)


if __name__ == "__main__":
    main()
