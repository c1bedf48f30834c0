"""The linear budget of every point of the demo against Monte Carlo.

Run it with ``python -m tests.studies.monte_carlo_demo [DRAWS]``.

With 200,000 draws the standard deviation of the draws' own standard deviation
is 0.16 %, and of their mean 0.22 % of u.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import numpy as np

from rigdata.campaign.campaign import read_campaign
from rigdata.reduction.monte_carlo import DrawnPoints, draw_points
from rigdata.reduction.points import FrictionPoints
from rigdata.reduction.reduce import reduce_campaign
from rigdata.uncertainty.covariance import LowRankCovariance
from rigdata.uncertainty.monte_carlo import DRAWS

DEMO = Path(__file__).parents[2] / "examples" / "ramp-differential"
HEADERS = ("procedure", "points", "u, worst", "mean, worst", "width", "linear good", "settled")


def main() -> None:
    """Print the worst disagreement of each procedure, and how long it takes."""
    draws = int(sys.argv[1]) if len(sys.argv) > 1 else DRAWS
    reduction = reduce_campaign(read_campaign(DEMO))
    points = reduction.points
    drawn = draw_points(points, reduction.readings, draws=draws)
    print(f"{len(points)} points, {draws} draws each")
    print(("{:>18}" + "{:>13}" * 6).format(*HEADERS))
    for procedure in dict.fromkeys(points.procedure.tolist()):
        print(_line(procedure, points, drawn))
    every = np.arange(0, len(points), max(1, len(points) // 500))[:500]
    few = points.select(every)
    began = time.process_time()
    draw_points(few, reduction.readings, draws=10_000)
    print(f"{len(few)} points, 10000 draws: {time.process_time() - began:.2f} s of processor time")
    columns, diagonal = few.contributions.toarray(), few.u_random**2
    began = time.process_time()
    LowRankCovariance(diagonal, columns)
    print(f"their covariance, factored: {1e3 * (time.process_time() - began):.1f} ms")
    began = time.process_time()
    full = columns @ columns.T
    full[np.diag_indices_from(full)] += diagonal
    print(f"their covariance, written out: {1e3 * (time.process_time() - began):.1f} ms")


def _line(procedure: str, points: FrictionPoints, result: DrawnPoints) -> str:
    """Return one row: worst of u and mean, typical width of the interval, verdicts."""
    own, test = points.procedure == procedure, result.test
    drawn = test.drawn
    u = 100.0 * (drawn.u / points.u_mu - 1.0)[own]
    mean = 100.0 * ((drawn.mean - points.mu) / points.u_mu)[own]
    width = np.median(((drawn.high - drawn.low) / (test.high - test.low))[own])
    worst = (values[np.argmax(np.abs(values))] for values in (u, mean))
    cells = [f"{value:+.2f} %" for value in worst]
    cells += [f"{width:.3f}", str(test.passed[own].sum()), str(test.settled[own].sum())]
    return ("{:>18}{:>13}" + "{:>13}" * 5).format(procedure, int(own.sum()), *cells)


if __name__ == "__main__":
    main()
