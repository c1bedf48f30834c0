"""How often the diagnostics of a fit raise a false alarm, and how often they hold the truth.

    python tests/studies/diagnostics_rates.py [groups] [law] [packs]

Groups of friction points with nothing wrong, then with a hysteresis of 3 % and a
drift of 0.2 % a run planted; printed are the shares of intervals that miss the truth
(5 % expected), of clear findings (0.3 %) and of trends that leave zero (5 %).
"""

import sys
from collections import Counter
from dataclasses import replace

import numpy as np
from friction_points import OIL, REFERENCE, THETA, Truth, drawn

from rigdata.friction.diagnostics import findings
from rigdata.friction.diagnostics.drift import run_numbers
from rigdata.friction.fit import fit_group
from rigdata.friction.results import Group
from rigdata.reduction.points import FrictionPoints

PLANTED = {findings.HYSTERESIS: 0.03, findings.DRIFT_PER_RUN: 0.002, findings.DRIFT_PER_HOUR: 0.0}


def swept(
    points: FrictionPoints, *, hysteresis: float = 0.0, per_run: float = 0.0, per_hour: float = 0.0
) -> FrictionPoints:
    """Return points laid out as sweeps up and down again, 10 s a point, with faults planted."""
    direction = np.full(len(points), "-", dtype="<U4")
    start = np.zeros(len(points))
    for i, run in enumerate(dict.fromkeys(points.run.tolist())):
        mine = np.flatnonzero(points.run == run)
        up, down = mine[i % 2 :: 2], mine[1 - i % 2 :: 2]
        direction[up], direction[down] = "up", "down"
        start[up] = 10.0 * np.arange(up.size)
        start[down] = 10.0 * (up.size + np.arange(down.size)[::-1])
    side = 0.5 * (direction == "up") - 0.5 * (direction == "down")
    hours = start / 3600.0
    factor = 1.0 + hysteresis * side + per_run * run_numbers(points) + per_hour * hours
    moved = {"mu": points.mu * factor, "direction": direction}
    return replace(points, **moved, start_s=start, end_s=start + 8.0)


def rates(groups: int, law: str, packs: int, planted: dict[str, float]) -> None:
    truth = Truth(law=law, theta=THETA[law], packs=packs)
    missed, clear, seen, left = Counter(), Counter(), Counter(), Counter()
    for seed in range(groups):
        points = swept(
            drawn(truth, np.random.default_rng(seed)),
            hysteresis=planted.get(findings.HYSTERESIS, 0.0),
            per_run=planted.get(findings.DRIFT_PER_RUN, 0.0),
        )
        fit = fit_group(points, Group("rough", "new"), REFERENCE, laws=[law], oil=OIL)
        for found in fit.diagnostics.findings:
            expected = 1.0 if found.name == findings.SPREAD else planted.get(found.name, 0.0)
            seen[found.name] += 1
            missed[found.name] += not found.low <= expected <= found.high
            clear[found.name] += found.clear
        for trend in fit.diagnostics.trends:
            left[trend.coordinate] += not trend.level
    print(f"{groups} groups, {law}, {packs} packs, planted {planted or 'nothing'}")
    for name in (findings.SPREAD, *PLANTED, findings.DRIFT_AT_REFERENCE):
        if seen[name]:
            shares = f"{100 * missed[name] / seen[name]:5.1f} {100 * clear[name] / seen[name]:5.1f}"
            print(f"  {name:24s} missed, clear: {shares} % of {seen[name]}")
    told = ", ".join(f"{name} {100 * n / groups:.1f} %" for name, n in left.items())
    print(f"  trends that leave zero: {told}")


if __name__ == "__main__":
    arguments = sys.argv[1:]
    number = int(arguments[0]) if arguments else 200
    name = arguments[1] if len(arguments) > 1 else "log-speed"
    n_packs = int(arguments[2]) if len(arguments) > 2 else 3
    rates(number, name, n_packs, {})
    rates(number, name, n_packs, PLANTED)
