"""What a benchmark reports, and how two pieces of work are timed beside each other."""

from __future__ import annotations

import json
import statistics
import subprocess
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

# Runs the line of work in argv[2] after the imports in argv[1], and says what it took.
_CHILD = """
import json, sys, time
def most_mb():  # since this program began; getrusage counts the one that it was forked from too
    with open("/proc/self/status") as status:
        return next(int(line.split()[1]) / 1024 for line in status if line.startswith("VmHWM"))
arg = sys.argv[3]
exec(sys.argv[1])
before = most_mb()
wall, cpu = time.perf_counter(), time.process_time()
exec(sys.argv[2])
wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
print(json.dumps([wall, cpu, most_mb(), before]))
"""


@dataclass(frozen=True)
class Size:
    """How much work to do, and where files may be written."""

    folder: Path
    rows: int
    growth: int
    repeats: int


@dataclass(frozen=True)
class Ratio:
    """One line of the table: a number and what it should reach; no goal where it only informs."""

    what: str
    value: float
    most: float | None = None
    least: float | None = None
    note: str = ""

    @property
    def verdict(self) -> str:
        """Whether the goal is met, in one word."""
        if self.most is None and self.least is None:
            return ""
        low = -float("inf") if self.least is None else self.least
        high = float("inf") if self.most is None else self.most
        return "met" if low <= self.value <= high else "MISSED"

    def __str__(self) -> str:
        goal = f"<= {self.most:g}" if self.most is not None else ""
        goal = f">= {self.least:g}" if self.least is not None else goal
        return f"{self.what:54} {self.value:7.3g}  {goal:7} {self.verdict:6} {self.note}".rstrip()


@dataclass(frozen=True)
class Work:
    """Python code to be timed in a process of its own: imports before, `arg` a text it may use."""

    imports: str
    code: str
    arg: str


@dataclass(frozen=True)
class Taken:
    """What one process took. [s, s, MB, MB]"""

    wall_s: float
    cpu_s: float
    peak_mb: float
    imports_mb: float


def once(work: Work) -> Taken:
    """Do the work once."""
    command = [sys.executable, "-c", _CHILD, work.imports, work.code, work.arg]
    done = subprocess.run(command, capture_output=True, text=True)
    if done.returncode:
        raise SystemExit(done.stderr)
    return Taken(*json.loads(done.stdout.splitlines()[-1]))


def in_turn(works: Mapping[str, Work], repeats: int) -> list[dict[str, Taken]]:
    """Do every work in turn, round by round, after one round that does not count.

    Whatever else disturbs the machine then disturbs them alike.
    """
    for work in works.values():
        once(work)
    return [{name: once(work) for name, work in works.items()} for _ in range(repeats)]


def median_ratio(pairs: Sequence[tuple[float, float]]) -> float:
    """Return the median of the ratios within each round."""
    return statistics.median(one / other for one, other in pairs)
