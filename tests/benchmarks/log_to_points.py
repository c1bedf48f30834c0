"""How long a log takes to become friction points, beside reading it with pandas alone.

Run it with ``python -m tests.benchmarks.log_to_points [ROWS]``; reading with pandas, to
points from the log and to points from what was kept of it are timed in turn in processes
of their own, and the ratios of their medians are what counts.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.benchmarks.big_log import write_campaign

REDUCE = """
import sys, time, resource
from pathlib import Path
from rigdata.campaign.campaign import read_campaign
from rigdata.logs.frames_cache import FramesCache
from rigdata.reduction.reduce import reduce_campaign
empty = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
start = time.perf_counter()
campaign = read_campaign(Path(sys.argv[1]))
cache = FramesCache(campaign.folder / "kept") if "kept" in sys.argv else None
points = reduce_campaign(campaign, cache=cache).points
took = time.perf_counter() - start
print(took, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, empty / 1024, len(points))
"""
READ = """
import sys, time, resource
import pandas as pd
start = time.perf_counter()
table = pd.read_csv(sys.argv[1] + "/long.csv")
took = time.perf_counter() - start
print(took, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, 0, len(table))
"""


def once(code: str, folder: Path, *more: str) -> tuple[float, float, float]:
    """Seconds, peak memory and memory after the imports of one process. [s, MB, MB]"""
    done = subprocess.run(
        [sys.executable, "-c", code, str(folder), *more], capture_output=True, text=True, check=True
    )
    took, peak, empty, _ = (float(word) for word in done.stdout.split())
    return took, peak, empty


def main() -> None:
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 5_000_000
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        start = time.perf_counter()
        log = write_campaign(folder, rows)
        print(f"{rows} rows, {log.stat().st_size / 1e6:.0f} MB", end="")
        print(f" (written in {time.perf_counter() - start:.0f} s)")
        once(READ, folder)
        once(REDUCE, folder, "kept")  # from here on it is
        rounds = [
            (once(REDUCE, folder), once(REDUCE, folder, "kept"), once(READ, folder))
            for _ in range(3)
        ]
    whole, kept, theirs = (statistics.median(r[i][0] for r in rounds) for i in range(3))
    peaks = [max(r[i][1] for r in rounds) for i in range(3)]
    empty = max(r[0][2] for r in rounds)
    print(f"log to points   {whole:6.2f} s   peak {peaks[0]:.0f} MB, {empty:.0f} MB of it imports")
    print(f"kept to points  {kept:6.2f} s   peak {peaks[1]:.0f} MB")
    print(f"pandas.read_csv {theirs:6.2f} s   peak {peaks[2]:.0f} MB")
    print(f"ratios          {whole / theirs:6.2f} and {kept / theirs:.2f} kept")


if __name__ == "__main__":
    main()
