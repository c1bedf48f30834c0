"""How long the command line takes to say what it can do, beside an interpreter that does nothing.

Importing click alone is shown too: it is most of it.
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
    rounds = [
        (seconds("-c", HELP, "--help"), seconds("-c", "import click"), seconds("-c", "pass"))
        for _ in range(6 * size.repeats)
    ]
    help_, click = (median_ratio([(one[i], one[2]) for one in rounds]) for i in (0, 1))
    note = f"importing click alone {click:.2g}"
    yield Ratio("rigdata --help over a bare interpreter", help_, most=4, note=note)
