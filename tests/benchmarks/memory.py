"""Peak memory of a reduction, and how it grows with the length of the log."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path

from tests.benchmarks.big_log import long_campaign, write_campaign
from tests.benchmarks.log_to_points import reduction_of
from tests.benchmarks.ratios import Ratio, Size, once


def ratios(size: Size) -> Iterator[Ratio]:
    short = once(reduction_of(long_campaign(size.folder, size.rows)))
    note = f"{short.imports_mb:.0f} MB are imports"
    yield Ratio("peak memory over imports [MB]", short.peak_mb - short.imports_mb, 200, note=note)
    with tempfile.TemporaryDirectory(dir=size.folder) as folder:
        log = write_campaign(Path(folder), size.growth * size.rows)
        long = once(reduction_of(log))
        note = f"{log.stat().st_size / 1e9:.1f} GB of text"
    growth = long.peak_mb / short.peak_mb
    yield Ratio(f"peak memory, {size.growth} times the log", growth, 1.05, note=note)
