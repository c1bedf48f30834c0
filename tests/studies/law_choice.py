"""How often the law that made the points is chosen among all laws, and how long it takes.

Run as ``python tests/studies/law_choice.py [campaigns]``.
"""

from __future__ import annotations

import sys
import time
from collections import Counter

import numpy as np
from friction_points import OIL, REFERENCE, THETA, Truth, drawn

from rigdata.friction.fit import fit_campaign


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    for name, theta in THETA.items():
        for packs in (3, 6):
            truth = Truth(law=name, theta=theta, packs=packs)
            start, chosen, n_points = time.process_time(), Counter(), []
            for seed in range(count):
                points = drawn(truth, np.random.default_rng(seed))
                (fit,) = fit_campaign(points, REFERENCE, oil=OIL).values()
                chosen[fit.law] += 1
                n_points.append(len(points))
            spent = (time.process_time() - start) / count
            shares = ", ".join(f"{law} {100 * n / count:.0f} %" for law, n in chosen.most_common())
            print(
                f"{name:10} {packs} packs, {np.mean(n_points):.0f} points: {shares}; {spent:.3f} s"
            )


if __name__ == "__main__":
    main()
