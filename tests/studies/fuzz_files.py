"""Give thousands of spoilt files to the command line: one clear message each, soon and small?

    python -m tests.studies.fuzz_files 10000

The seed of a file is its number: ``python -m tests.studies.fuzz_files 1 4711`` tries one again
and shows what was printed.
"""

from __future__ import annotations

import os
import random
import sys
import tempfile
from collections import Counter, defaultdict
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from tests.properties.fuzzing import OUTCOMES, TARGETS, Outcome, Target, example, tried

_PLACE: list[Path] = []  # of this process: the campaign, and where to work


def _begin(folder: str) -> None:
    place = Path(folder) / str(os.getpid())
    place.mkdir()
    _PLACE[:] = [example(place / "base"), place]


def _one(number: int) -> tuple[int, Target, str, Outcome]:
    rng = random.Random(number)
    target = rng.choices(TARGETS, [t.share for t in TARGETS])[0]
    outcome, how = tried(target, *_PLACE, rng)
    return number, target, how, outcome


def main(count: int, first: int = 0, workers: int = 2) -> None:
    """Try `count` files, and print what came of them."""
    outcomes: dict[str, list[Outcome]] = defaultdict(list)
    with (
        tempfile.TemporaryDirectory() as folder,
        ProcessPoolExecutor(min(workers, count), initializer=_begin, initargs=(folder,)) as pool,
    ):
        numbers = range(first, first + count)
        for number, target, how, outcome in pool.map(_one, numbers, chunksize=min(20, count)):
            outcomes[target.kind].append(outcome)
            if outcome.faults:
                words = f"{target.command[0]} {target.file} ({how}): {'; '.join(outcome.faults)}"
                print(f"{number}: {words}", flush=True)
            if count == 1:
                print(outcome.shown)
    codes = " | ".join(f"exit {code}" for code in OUTCOMES)
    print(f"| file | files | {codes} | most time, s | most memory, MB | faults |")
    print("| --- " * (5 + len(OUTCOMES)) + "|")
    for kind in dict.fromkeys(target.kind for target in TARGETS):
        if kind in outcomes:
            print(_row(kind, outcomes[kind]))
    print(_row("all", [one for found in outcomes.values() for one in found]))


def _row(kind: str, found: list[Outcome]) -> str:
    codes = Counter(one.code for one in found)
    shown = " | ".join(str(codes[code]) for code in OUTCOMES)
    slowest, largest = max(o.seconds for o in found), max(o.megabytes for o in found)
    faults = sum(bool(one.faults) for one in found)
    return f"| {kind} | {len(found)} | {shown} | {slowest:.1f} | {largest:.0f} | {faults} |"


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
