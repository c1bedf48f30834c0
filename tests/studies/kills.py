"""End `rigdata run` 500 times: is anything lost, half written, or different when run again?

    python -m tests.studies.kills 500 1        # 1 is the seed
    python -m tests.studies.kills 500 1 reduce # the first stage alone, a fifth of the time

By turns by SIGKILL, SIGTERM and SIGINT at a random moment, by SIGKILL at a random one of
all calls that change a file or folder, by a limit on the size of its files, and by a full
disk: a small one in memory, which only root may make and which is else left out.  Half
of the runs begin with earlier results in the folder.
"""

from __future__ import annotations

import random
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from rigdata.simulation.campaign import simulate_campaign
from rigdata.simulation.demo import study_spec
from tests.storage.kills import REDUCE, RUN, Bench

KINDS = ("SIGKILL", "SIGTERM", "SIGINT", "change", "short files", "full disk")
DISK = ("mount", "-t", "tmpfs", "-o", "size=96m", "none")


@contextmanager
def _disk() -> Iterator[tuple[Path, bool]]:
    """Yield a folder on a small disk of its own, and whether that could be made."""
    with tempfile.TemporaryDirectory() as folder:
        made = subprocess.run([*DISK, folder], capture_output=True, check=False).returncode == 0
        try:
            yield Path(folder), made
        finally:
            if made:
                subprocess.run(["umount", folder], check=True)


def main(count: int, seed: int = 1, command: str = "run") -> None:
    with _disk() as (folder, small):
        kinds = KINDS if small else KINDS[:-1]
        campaign, place = folder / "bench" / "study", folder / "killed"
        simulate_campaign(study_spec(packs=1, tests=("zero", "drag", "sweep-light")), 5, campaign)
        place.mkdir()
        bench = Bench(campaign, place, {"run": RUN, "reduce": REDUCE}[command])
        print(f"rigdata {command} takes {bench.seconds:.1f} s of processor time", end="")
        print(f" and changes files {bench.changes} times", flush=True)
        rng = random.Random(seed)
        ended, faults, codes = Counter[str](), Counter[str](), Counter[tuple[str, int]]()
        try:
            for number in range(count):
                ending = bench.once(kinds[number % len(kinds)], rng)
                ended[ending.kind] += 1
                codes[ending.kind, ending.code] += 1
                if (number + 1) % 50 == 0:
                    print(f"{number + 1} ended", file=sys.stderr, flush=True)
                if ending.faults:
                    faults[ending.kind] += 1
                    print(ending, flush=True)
        finally:  # what was found so far, after Ctrl-C too
            print("| ended by | runs | exit codes | lost, half written or different |")
            print("| --- | --- | --- | --- |")
            for kind in kinds:
                told = ", ".join(
                    f"{code}: {n}" for (k, code), n in sorted(codes.items()) if k == kind
                )
                print(f"| {kind} | {ended[kind]} | {told} | {faults[kind]} |")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:3]), *sys.argv[3:])
