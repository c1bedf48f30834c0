"""How the cost of a fit grows with the points: 1,000 runs of 50 packs, 2 to 200 points each.

Run as ``python -m tests.benchmarks fit_scaling --repeats 2``, which takes some minutes.
Processor time, the least of the repeats; the exponent is the slope of a straight line through
the logarithms.
"""

from __future__ import annotations

import sys
import time
import tracemalloc
from collections.abc import Iterator
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "studies"))

from friction_points import OIL, REFERENCE, THETA, Truth, drawn

from rigdata.friction.fit import fit_campaign
from rigdata.reduction.points import FrictionPoints
from tests.benchmarks.ratios import Ratio, Size

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


def ratios(size: Size) -> Iterator[Ratio]:
    for words, (law, laws) in CASES.items():
        counts, times = [], []
        for each in EACH:
            data = points(law, each)
            counts.append(len(data))
            times.append(seconds(data, laws, size.repeats))
            note = f"{times[-1] / times[0] * counts[0] / counts[-1]:.2f} times per point"
            most = 5.0 if each == EACH[-1] and laws else None
            yield Ratio(f"{words}, {len(data)} points [s]", times[-1], most=most, note=note)
        slope = np.polyfit(np.log(counts), np.log(times), 1)[0]
        last = np.diff(np.log(times[-2:])) / np.diff(np.log(counts[-2:]))
        note = f"{last[0]:.2f} at the end, {peak(data, laws):.0f} bytes a point"
        yield Ratio(f"{words}, exponent", slope, most=1.1, note=note)
