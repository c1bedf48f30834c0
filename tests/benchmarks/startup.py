"""How long the command line takes before it does anything, beside an interpreter that does nothing.

A third of the goal of 0.3 s for the first feedback of a command goes into it.
"""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Iterator

from tests.benchmarks.ratios import Ratio, Size, median_ratio

HELP = "from rigdata.cli.main import main; main()"


def seconds(*words: str) -> float:
    """Wall time of one interpreter."""
    start = time.perf_counter()
    subprocess.run([sys.executable, *words], capture_output=True, check=True)
    return time.perf_counter() - start


def ratios(size: Size) -> Iterator[Ratio]:
    pairs = [
        (seconds("-c", HELP, "--help"), seconds("-c", "pass")) for _ in range(4 * size.repeats)
    ]
    yield Ratio("rigdata --help over a bare interpreter", median_ratio(pairs), most=4)
