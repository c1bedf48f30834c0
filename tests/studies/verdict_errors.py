"""How often verdicts are wrong: at equality and at the margin, on one rig and on two.

Run as ``python tests/studies/verdict_errors.py [comparisons]``; 1000 take some minutes.  At a true
ratio of 1 a verdict of higher or lower is false, at a true ratio of 1 + margin a verdict of
equivalent is; neither may come in more than 5 % of comparisons.
"""

from __future__ import annotations

import sys
from collections import Counter, defaultdict
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace

import numpy as np
from friction_points import REFERENCE, Truth, drawn

from rigdata.comparison.ratios import MARGIN, compare_groups
from rigdata.errors import ComparisonError
from rigdata.friction.fit import fit_campaign
from rigdata.reduction.points import concatenate

PACKS = (2, 3, 4, 5, 6)
PLAIN = Truth(
    material="plain", law="constant", theta=(0.12,), runs=(2, 3), points=(5, 8), run_sd=0.003
)


def comparison(seed: int) -> tuple[tuple[str, ...], str]:
    """Draw and compare one pair; return what it was and the verdict."""
    rng = np.random.default_rng(50_000 + seed)
    packs = PACKS[seed % len(PACKS)]
    shared = bool(seed // len(PACKS) % 2)
    ratio = (1.0, 1.0 + MARGIN)[seed // (2 * len(PACKS)) % 2]
    plain = replace(PLAIN, packs=packs)
    rough = replace(plain, material="rough", theta=(0.12 * ratio,), record="T1" if shared else "T2")
    gains = rng.normal(size=2)
    points = concatenate(
        [drawn(plain, rng, gains[0]), drawn(rough, rng, gains[0] if shared else gains[1])]
    )
    fits = fit_campaign(points, REFERENCE, laws=["constant"])
    try:
        (found,) = compare_groups(points, fits, baseline="plain", reference=REFERENCE)
    except ComparisonError:  # nothing was tested of both alike
        found = None
    kind = (f"{packs} packs", "one rig" if shared else "two rigs", f"ratio {ratio:g}")
    return kind, "not compared" if found is None else found.verdict


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    found: dict[str, Counter[str]] = defaultdict(Counter)
    with ProcessPoolExecutor() as pool:
        for (packs, rig, ratio), verdict in pool.map(comparison, range(count), chunksize=10):
            for key in (ratio, f"{ratio}, {packs}", f"{ratio}, {rig}"):
                found[key][verdict] += 1
    for key in sorted(found):
        n = sum(found[key].values())
        false = ("higher", "lower") if key.startswith("ratio 1,") or key == "ratio 1" else (
            "equivalent",
        )  # fmt: skip
        wrong = sum(found[key][verdict] for verdict in false)
        told = ", ".join(f"{verdict} {m}" for verdict, m in found[key].most_common())
        print(f"{key:26} {n:5}: {100 * wrong / n:4.1f} % false ({told})")


if __name__ == "__main__":
    main()
