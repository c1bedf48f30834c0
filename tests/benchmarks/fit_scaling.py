"""How the cost of a fit grows with the points: 1,000 runs of 50 packs, 2 to 200 points each.

Run as ``python -m tests.benchmarks.fit_scaling [repeats]``; two repeats take some minutes.
Processor time, the least of the repeats; the exponent is the slope of a straight line through
the logarithms, and the ratio is to the time that the same points take per point at the start.
"""

from __future__ import annotations

import sys
import time
import tracemalloc
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "studies"))

from friction_points import OIL, REFERENCE, THETA, Truth, drawn

from rigdata.friction.fit import fit_campaign
from rigdata.reduction.points import FrictionPoints

RUNS, PACKS = 1000, 50
EACH = (2, 6, 20, 60, 200)  # points of a run
CASES = {
    "log-speed law": ("log-speed", ["log-speed"]),
    "all laws": ("log-speed", None),
}


def points(law: str, each: int) -> FrictionPoints:
    """Points of all runs, as many in each."""
    layout = ((each,) * (RUNS // PACKS),) * PACKS
    return drawn(Truth(law=law, theta=THETA[law], layout=layout), np.random.default_rng(each))


def seconds(data: FrictionPoints, laws: list[str] | None, repeats: int) -> float:
    """Least processor time of a fit."""
    taken = []
    for _ in range(repeats):
        start = time.process_time()
        fit_campaign(data, REFERENCE, laws=laws, oil=OIL)
        taken.append(time.process_time() - start)
    return min(taken)


def peak(data: FrictionPoints, laws: list[str] | None) -> float:
    """Peak memory of a fit, in bytes a point."""
    tracemalloc.start()
    fit_campaign(data, REFERENCE, laws=laws, oil=OIL)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return most / len(data)


def main() -> None:
    repeats = int(sys.argv[1]) if len(sys.argv) > 1 else 2
    for words, (law, laws) in CASES.items():
        counts, times = [], []
        for each in EACH:
            data = points(law, each)
            counts.append(len(data))
            times.append(seconds(data, laws, repeats))
            ratio = times[-1] / times[0] * counts[0] / counts[-1]
            print(f"{words}: {len(data):7} points {times[-1]:8.2f} s, {ratio:.2f} times per point",
                  flush=True)  # fmt: skip
        slope = np.polyfit(np.log(counts), np.log(times), 1)[0]
        last = np.diff(np.log(times[-2:])) / np.diff(np.log(counts[-2:]))
        print(f"{words}: exponent {slope:.2f}, {last[0]:.2f} at the end; "
              f"{peak(data, laws):.0f} bytes a point at the end")  # fmt: skip


if __name__ == "__main__":
    main()
