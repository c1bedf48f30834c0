"""The package beside what a user would write instead: how long, and whose uncertainty is right.

The truth of the second part: benches whose lever arm is wrong by 1 % (one standard deviation,
as the rig file states), and packs whose effective radius lies anywhere between the two laws.
All windows of a bench share that error, which a fit to windows cannot see.
"""

from __future__ import annotations

import math
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pandas as pd

from rigdata.campaign.campaign import read_campaign
from rigdata.reduction.points import FrictionPoints
from rigdata.reduction.reduce import reduce_campaign
from tests.benchmarks.big_log import CAMPAIGN, RIG, long_campaign
from tests.benchmarks.log_to_points import reduction_of
from tests.benchmarks.notebook_peer import FACES, INNER_M, OUTER_M, RADIUS_M, mean_mu
from tests.benchmarks.ratios import Ratio, Size, Work, in_turn, median_ratio

BENCHES, RATE_HZ, SECONDS = 60, 500.0, 66.0
MU, LOAD_N, ARM_M, ARM_U = 0.14, 5400.0, 0.25, 0.01
TORQUE = '[channels.torque]\ncolumn = "torque"\nunit = "N*m"\nu = 1.0\n'
FORCE = (
    '[channels.torque]\ncolumn = "torque"\nunit = "N"\nu = 1.0\n'
    f"lever_arm_mm = {1000 * ARM_M}\nlever_arm_u_mm = {1000 * ARM_M * ARM_U}\n"
)


def one_bench(folder: Path, rng: np.random.Generator) -> Path:
    """Write a campaign of one run on a bench with errors of its own; return its log."""
    (folder / "rig.toml").write_text(RIG.replace(TORQUE, FORCE))
    (folder / "campaign.toml").write_text(CAMPAIGN)
    arm_m = ARM_M * (1.0 + ARM_U * rng.normal())
    radius_m = rng.uniform((OUTER_M + INNER_M) / 2.0, RADIUS_M)
    time = np.arange(0.0, SECONDS, 1.0 / RATE_HZ)
    on = np.clip(np.minimum(time - 3.0, SECONDS - 3.0 - time), 0.0, 1.0)
    torque = MU * FACES * radius_m * LOAD_N * on
    table = {
        "time": time,
        "torque": torque / arm_m + rng.normal(0.0, 8.0, time.size),
        "load": LOAD_N / 1000.0 * on + rng.normal(0.0, 0.01, time.size),
        "speed": 100.0 * on + rng.normal(0.0, 0.1, time.size),
        "plate": 90.0 + 3.0 * np.sin(time / 10.0) + rng.normal(0.0, 0.3, time.size),
        "oil": 80.0 + rng.normal(0.0, 0.1, time.size),
    }
    log = folder / "long.csv"
    pd.DataFrame(table).to_csv(log, index=False, float_format="%.4f")
    return log


def mean_of(points: FrictionPoints) -> tuple[float, float]:
    """Return the mean of the points, and its uncertainty with all that they share."""
    used = np.flatnonzero(points.used)
    shared = points.contributions[used].mean(axis=0)
    random = points.u_random[used] / used.size
    return float(points.mu[used].mean()), math.hypot(*np.ravel(shared), *random)


def ratios(size: Size) -> Iterator[Ratio]:
    log = long_campaign(size.folder, size.rows)
    imports, code = "from tests.benchmarks.notebook_peer import mean_mu", "mean_mu(arg)"
    works = {"ours": reduction_of(log), "peer": Work(imports, code, str(log))}
    rounds = in_turn(works, size.repeats)
    wall = median_ratio([(one["peer"].wall_s, one["ours"].wall_s) for one in rounds])
    cpu = median_ratio([(one["peer"].cpu_s, one["ours"].cpu_s) for one in rounds])
    yield Ratio("notebook over log to points", wall, least=3, note=f"processor time {cpu:.2f}")
    peak = median_ratio([(one["peer"].peak_mb, one["ours"].peak_mb) for one in rounds])
    yield Ratio("notebook over log to points, peak memory", peak)
    rng = np.random.default_rng(1)
    ours, peer = [], []
    for _ in range(BENCHES):
        with tempfile.TemporaryDirectory() as folder:
            path = one_bench(Path(folder), rng)
            ours.append(mean_of(reduce_campaign(read_campaign(path.parent)).points))
            peer.append(mean_mu(str(path), ARM_M))
    for name, found in (("ours", np.array(ours)), ("notebook", np.array(peer))):
        off = (found[:, 0] - MU) / found[:, 1]
        held = f"95 % intervals held {np.mean(np.abs(off) < 1.96):.0%} of {BENCHES} benches"
        most = 1.3 if name == "ours" else None  # 1 within what 60 benches can tell
        yield Ratio(
            f"{name}: error over stated u (rms)", math.sqrt(np.mean(off**2)), most, None, held
        )
