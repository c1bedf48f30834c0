"""What two processes bring on 64 runs, and what a cluster costs a run.

Run it with ``python -m tests.benchmarks workers``, on two idle cores; it needs the
extra ``cluster``.  The runs are links to one log, so that they take the room of one.
Reading a log takes threads of its own, so one worker is timed with all cores and with
one: the first is what a user gains, the second how well the work is shared out.
"""

from __future__ import annotations

import os
import resource
import statistics
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from unittest import mock

from distributed import LocalCluster

from rigdata.campaign.campaign import Campaign, read_campaign
from rigdata.engines.cluster import cluster
from rigdata.engines.engine import Engine, alone
from rigdata.engines.local import processes
from rigdata.reduction.reduce import reduce_campaign
from tests.benchmarks.big_log import CAMPAIGN, write_campaign
from tests.benchmarks.ratios import Ratio, Size

# As the guide to a cluster says; else dask has workers give memory back after each block.
MEMORY = {"MALLOC_TRIM_THRESHOLD_": "134217728", "MALLOC_MMAP_THRESHOLD_": "33554432"}
RUNS = 64
LONG, SHORT = 600_000, 100_000  # rows of a log: some 0.3 s of reading, and far less
RUN = """
[[runs]]
id = "R{0}"
pack = "P1"
procedure = "steady"
log = "R{0}.csv"
"""


def campaign_of(folder: Path, rows: int) -> Campaign:
    """A campaign of 64 runs with logs of so many rows."""
    log = write_campaign(folder, rows)
    for number in range(RUNS):
        os.link(log, folder / f"R{number}.csv")
    head = CAMPAIGN[: CAMPAIGN.index("[[runs]]")]
    runs = "".join(RUN.format(number) for number in range(RUNS))
    (folder / "campaign.toml").write_text(head + runs)
    return read_campaign(folder)


def timed(campaign: Campaign, engine: Engine) -> tuple[float, float]:
    """Wall time and processor time of one reduction, ended processes included. [s, s]"""
    start, before = time.perf_counter(), processor_time()
    reduce_campaign(campaign, engine=engine)
    return time.perf_counter() - start, processor_time() - before


@contextmanager
def one_core() -> Iterator[None]:
    """Keep this thread and those it starts on one core."""
    allowed = os.sched_getaffinity(0)
    os.sched_setaffinity(0, {min(allowed)})
    try:
        yield
    finally:
        os.sched_setaffinity(0, allowed)


def processor_time() -> float:
    both = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    used = [resource.getrusage(which) for which in both]
    return sum(one.ru_utime + one.ru_stime for one in used)


def ratios(size: Size) -> Iterator[Ratio]:
    with tempfile.TemporaryDirectory() as name:
        long = campaign_of(Path(name) / "long", LONG)
        short = campaign_of(Path(name) / "short", SHORT)
        rounds = []
        for _ in range(size.repeats):
            with one_core():
                core = timed(long, alone)
            rounds.append((timed(long, alone), core, timed(long, processes(2))))
            words = ("one", "one on one core", "two")
            told = (
                f"{w} {t:.1f} s ({c:.1f} s of processor time)"
                for w, (t, c) in zip(words, rounds[-1], strict=True)
            )
            print(", ".join(told), flush=True)
        with (
            mock.patch.dict(os.environ, MEMORY),
            LocalCluster(
                n_workers=1, threads_per_worker=1, host="127.0.0.1", dashboard_address="127.0.0.1:0"
            ) as running,
        ):
            there = cluster(running.scheduler_address)
            timed(short, there)  # the worker loads numpy
            costs = []
            for _ in range(size.repeats):
                here, away = timed(short, alone), timed(short, there)
                costs.append((away[0] - here[0]) / RUNS * 1e3)
                print(f"here {here[0]:.2f} s, cluster of one {away[0]:.2f} s, ", end="")
                print(f"{away[1]:.2f} s of processor time beside the worker", flush=True)
    gain, shared = (
        statistics.median(one[place][0] / one[2][0] for one in rounds) for place in (0, 1)
    )
    cost = statistics.median(costs)
    yield Ratio(f"two workers over one, {RUNS} runs", gain, least=1.7)
    yield Ratio("two workers over one on one core", shared, least=1.7)
    yield Ratio("a run by a cluster, beyond its own time, ms", cost, most=20.0)
