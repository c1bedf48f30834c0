"""End `rigdata run` 500 times: is anything lost, half written, or different when run again?

    python -m tests.studies.kills 500

A fifth each by SIGKILL, SIGTERM and SIGINT after a random time, by SIGKILL at a random
one of all calls that change a file or folder, and on a disk that is full from a random
size of a file on (a limit of the process on the size of files stands for the disk).
Half of the runs begin with earlier results in the folder.
"""

from __future__ import annotations

import random
import sys
import tempfile
from collections import Counter
from pathlib import Path

from rigdata.simulation.campaign import simulate_campaign
from rigdata.simulation.demo import study_spec
from tests.storage.kills import Bench

KINDS = ("SIGKILL", "SIGTERM", "SIGINT", "change", "full disk")


def main(count: int, seed: int = 1) -> None:
    with tempfile.TemporaryDirectory() as folder:
        campaign, place = Path(folder) / "bench" / "study", Path(folder) / "killed"
        simulate_campaign(study_spec(packs=1, tests=("zero", "drag", "sweep-light")), 5, campaign)
        place.mkdir()
        bench = Bench(campaign, place)
        print(f"a run takes {bench.seconds:.1f} s and changes files {bench.changes} times")
        rng = random.Random(seed)
        ended, faults, codes = Counter[str](), Counter[str](), Counter[tuple[str, int]]()
        for number in range(count):
            ending = bench.once(KINDS[number % len(KINDS)], rng)
            ended[ending.kind] += 1
            codes[ending.kind, ending.code] += 1
            if ending.faults:
                faults[ending.kind] += 1
                print(ending, flush=True)
    print("| ended by | runs | exit codes | lost, half written or different |")
    print("| --- | --- | --- | --- |")
    for kind in KINDS:
        told = ", ".join(f"{code}: {n}" for (k, code), n in sorted(codes.items()) if k == kind)
        print(f"| {kind} | {ended[kind]} | {told} | {faults[kind]} |")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
