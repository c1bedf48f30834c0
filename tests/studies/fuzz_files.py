"""Give thousands of spoilt files to the command line: one clear message each, soon and small?

    python -m tests.studies.fuzz_files 10000

The seed of a file is its number: ``python -m tests.studies.fuzz_files 1 4711`` tries one again.
"""

from __future__ import annotations

import random
import sys
import tempfile
from collections import Counter, defaultdict
from pathlib import Path

from tests.properties.fuzzing import OUTCOMES, TARGETS, Outcome, example, tried


def main(count: int, first: int = 0) -> None:
    """Try `count` files, and print what came of them."""
    outcomes: dict[str, list[Outcome]] = defaultdict(list)
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        base = example(place / "base")
        for number in range(first, first + count):
            rng = random.Random(number)
            target = rng.choices(TARGETS, [t.share for t in TARGETS])[0]
            outcome, how = tried(target, base, place, rng)
            outcomes[target.kind].append(outcome)
            if outcome.faults:
                print(f"{number}: {target.file} ({how}), {' '.join(target.command[:1])}: "
                      f"{'; '.join(outcome.faults)}", flush=True)  # fmt: skip
            if outcome.faults and count == 1:
                print(outcome.shown)
    codes = " | ".join(f"exit {code}" for code in OUTCOMES)
    print(f"| file | files | {codes} | most time, s | most memory, MB | faults |")
    print("| --- " * (6 + len(OUTCOMES) - 1) + "|")
    for kind, found in outcomes.items():
        print(_row(kind, found))
    print(_row("all", [one for found in outcomes.values() for one in found]))


def _row(kind: str, found: list[Outcome]) -> str:
    codes = Counter(one.code for one in found)
    shown = " | ".join(str(codes[code]) for code in OUTCOMES)
    slowest, largest = max(o.seconds for o in found), max(o.megabytes for o in found)
    faults = sum(bool(one.faults) for one in found)
    return f"| {kind} | {len(found)} | {shown} | {slowest:.1f} | {largest:.0f} | {faults} |"


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
