"""Random faults in the logs of simulated campaigns: named rightly, wrongly, or not at all.

Run it with ``python -m tests.studies.fault_injection [FAULTS] [CLEAN] [FIRST_SEED] [WORKERS]``.

Each fault is of a random kind, of random size, at a random place of a random run in which
it can happen, and alone in its campaign (`tests.faults.inject` edits the text of the log).
It is named rightly when a finding has its kind, its run and its channel; a mains hum that
folds to less than 0.25 Hz may be called a drift of the zero, for that is all it shows.
It is named wrongly when its run has findings but no such one, and missed when it has none.
A fault that was missed and moved no used point by more than half its uncertainty left no
trace, and is counted apart.  A coefficient is wrong in silence when a used point, moved
by the fault, lies more than 3 u from the simulator's truth while neither its run nor the
drag or zero run of its pack has a warning.  A clean campaign gives a false alarm when
anything at all is found in it.
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter, defaultdict
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

from rigdata.campaign.campaign import read_campaign
from rigdata.reduction.reduce import reduce_campaign
from rigdata.simulation.demo import write_example
from tests.faults.inject import INJECTORS
from tests.faults.judging import Bench, Outcome

A_CAMPAIGN = 25  # faults, one after another


def faults_of(seed: int) -> list[Outcome]:
    """Spoil one demo campaign again and again."""
    rng = np.random.default_rng([seed, 8])
    kinds = list(INJECTORS)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "demo"
        bench = Bench(folder, write_example(folder, seed=seed, size="small"))
        found = []
        for _ in range(A_CAMPAIGN):
            inject = kinds[rng.integers(len(kinds))]
            runs = bench.runs_for(INJECTORS[inject])
            found.append(bench.spoilt(inject, runs[rng.integers(len(runs))], rng))
    return found


def alarms_of(seed: int) -> list[str]:
    """Return what is found in a clean campaign."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "demo"
        write_example(folder, seed=seed, size="small")
        return [f"{seed} {f.run} {f.words}" for f in reduce_campaign(read_campaign(folder)).faults]


def rows(found: list[Outcome]) -> Iterator[str]:
    """Yield the table, a line a kind."""
    names = ("injected", "rightly", "wrongly", "missed", "no trace", "silent", "traceback")
    by_kind: dict[str, Counter[str]] = defaultdict(Counter)
    for one in found:
        for name in (one.injection.kind, "all"):
            count = by_kind[name]
            count["injected"] += 1
            lost = one.named == "missed" and not one.moved
            count["no trace" if lost else one.named] += 1
            count["silent"] += one.silent > 0
            count["others accused"] += one.accused > 0
    yield f"{'':24s}" + "".join(f"{name:>10s}" for name in names) + "  others accused"
    for kind, count in sorted(by_kind.items()):
        told = "".join(f"{count[name]:10d}" for name in names)
        yield f"{kind:24s}{told}{count['others accused']:16d}"
    every = by_kind["all"]
    traced = every["injected"] - every["no trace"]
    yield (
        f"named rightly: {100 * every['rightly'] / traced:.1f} % of {traced} that left a trace, "
        f"{100 * every['rightly'] / every['injected']:.1f} % of all"
    )


def main() -> None:
    faults, clean, first, workers = (
        int(sys.argv[i]) if len(sys.argv) > i else default
        for i, default in ((1, 1000), (2, 200), (3, 5000), (4, 2))
    )
    campaigns = range(first, first + -(-faults // A_CAMPAIGN))
    others = range(first + 100_000, first + 100_000 + clean)
    found: list[Outcome] = []
    alarms = 0
    with ProcessPoolExecutor(workers) as pool:
        for outcomes in pool.map(faults_of, campaigns):
            for one in outcomes:
                if one.named != "rightly" or one.silent or one.accused:
                    print(_told(one), flush=True)
            found += outcomes
        print("\n".join(rows(found[:faults])), flush=True)
        for alarm in pool.map(alarms_of, others):
            alarms += bool(alarm)
            print(*alarm, sep="\n", end="\n" if alarm else "", flush=True)
    print(f"{alarms} of {clean} clean campaigns gave a false alarm")


def _told(one: Outcome) -> str:
    what = one.injection
    return (
        f"{one.named}: {what.kind} {what.channel} ({what.words}) in {one.run} {one.procedure}, "
        f"moved {one.moved}, silent {one.silent}: {', '.join(one.findings)} {one.error}"
    )


if __name__ == "__main__":
    main()
