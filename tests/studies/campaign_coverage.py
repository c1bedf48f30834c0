"""Coverage of the stated intervals on whole simulated campaigns, logs included.

Run it with ``python -m tests.studies.campaign_coverage [CAMPAIGNS] [WORKERS]``.
"""

from __future__ import annotations

import sys
from concurrent.futures import ProcessPoolExecutor

import numpy as np

from tests.studies.simulated import CURVES, Outcome, one_campaign


def outcomes(law: str, seeds: range, workers: int) -> list[Outcome]:
    """Simulate and reduce one campaign a seed."""
    with ProcessPoolExecutor(workers) as pool:
        return list(pool.map(one_campaign, [law] * len(seeds), seeds))


def summary(found: list[Outcome]) -> dict[str, float]:
    """Shares of intervals that hold the truth, and the bias in units of the stated u."""
    mean = np.array([o.mean_inside for o in found])
    error = np.array([o.error_over_u for o in found])
    return {
        "mean": float(mean.mean()),
        "one more pack": float(np.mean([o.next_share for o in found])),
        "ratio": float(np.mean([o.ratio_inside for o in found])),
        "bias over u": float(error.mean()),
        "spread over u": float(error.std()),
    }


def main() -> None:
    campaigns = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    workers = int(sys.argv[2]) if len(sys.argv) > 2 else 2
    print(f"{campaigns} campaigns a law, two materials of three packs each")
    print(
        f"{'law':10s} {'mean':>7s} {'1 more':>7s} {'ratio':>7s} {'bias/u':>7s} {'sd/u':>7s}  laws"
    )
    for law in CURVES:
        found = outcomes(law, range(1000, 1000 + campaigns), workers)
        s = summary(found)
        names, counts = np.unique([n for o in found for n in o.law_found], return_counts=True)
        chosen = ", ".join(f"{n} {c}" for n, c in zip(names, counts, strict=True))
        print(
            f"{law:10s} {100 * s['mean']:6.1f}% {100 * s['one more pack']:6.1f}% "
            f"{100 * s['ratio']:6.1f}% {s['bias over u']:7.2f} {s['spread over u']:7.2f}  {chosen}",
            flush=True,
        )


if __name__ == "__main__":
    main()
