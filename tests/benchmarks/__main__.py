"""All benchmarks on one screen: each ratio with its goal.

    python -m tests.benchmarks [NAME ...] [--rows N] [--growth N] [--repeats N] [--folder F]

Without names all run but the slow ones, which must be asked for.  A benchmark is a
module with a function `ratios(size)`, and a line in `BENCHMARKS`.
"""

from __future__ import annotations

import argparse
import importlib
import os
import tempfile
import time
from pathlib import Path

from tests.benchmarks.ratios import Ratio, Size

BENCHMARKS = {
    "startup": "the command line before it does anything",
    "arithmetic": "flags, windows and corrections over a copy of the samples",
    "log_to_points": "a long text log to friction points over reading it alone",
    "notebook": "the same, and its uncertainty, over what a notebook would do",
    "workers": "64 runs by two processes, and by a cluster",
    "bootstrap": "a thousand refits of 500 points over a loop of lmfit calls",
    "figures": "twelve figures drawn together over one by one",
}
SLOW = {
    "memory": "peak memory, and how it grows with the log",
    "fit_scaling": "cost of a fit from 2,000 to 200,000 points; takes minutes",
    "table_lookup": "a million readings of a table against SciPy",
}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    names = {**BENCHMARKS, **SLOW}
    words = "; ".join(f"{name}: {text}" for name, text in names.items())
    parser.add_argument("names", nargs="*", metavar="NAME", help=words)
    parser.add_argument("--rows", type=int, default=5_000_000, help="rows of the long log")
    parser.add_argument("--growth", type=int, default=10, help="how much longer one for memory is")
    parser.add_argument("--repeats", type=int, default=5, help="rounds of which the median counts")
    parser.add_argument("--folder", type=Path, help="where the long log is kept between calls")
    asked = parser.parse_args()
    if unknown := set(asked.names) - set(names):
        parser.error(f"no benchmark {', '.join(sorted(unknown))}")
    print(f"{len(os.sched_getaffinity(0))} cores, load {os.getloadavg()[0]:.1f}; {asked.rows} rows")
    with tempfile.TemporaryDirectory() as scratch:
        size = Size(asked.folder or Path(scratch), asked.rows, asked.growth, asked.repeats)
        for name in asked.names or BENCHMARKS:
            start = time.perf_counter()
            found: list[Ratio] = []
            for ratio in importlib.import_module(f"tests.benchmarks.{name}").ratios(size):
                found.append(ratio)
                print(ratio, flush=True)
            missed = sum(ratio.verdict == "MISSED" for ratio in found)
            took = time.perf_counter() - start
            print(
                f"-- {name}: {len(found)} numbers, {missed} goals missed, {took:.0f} s", flush=True
            )


if __name__ == "__main__":
    main()
