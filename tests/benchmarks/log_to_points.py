"""How long a log takes to become friction points, beside reading it with pandas alone.

Run it with ``python -m tests.benchmarks.log_to_points [ROWS]``; both are timed in
turn in processes of their own, and the ratio of their medians is what counts.
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
from rigdata.reduction.reduce import reduce_campaign
empty = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
start = time.perf_counter()
points = reduce_campaign(read_campaign(Path(sys.argv[1]))).points
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


def once(code: str, folder: Path) -> tuple[float, float, float]:
    """Seconds, peak memory and memory after the imports of one process. [s, MB, MB]"""
    done = subprocess.run(
        [sys.executable, "-c", code, str(folder)], capture_output=True, text=True, check=True
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
        pairs = [(once(REDUCE, folder), once(READ, folder)) for _ in range(3)]
    ours = statistics.median(a[0] for a, _ in pairs)
    theirs = statistics.median(b[0] for _, b in pairs)
    peak = max(a[1] for a, _ in pairs)
    empty = max(a[2] for a, _ in pairs)
    print(f"log to points   {ours:6.2f} s   peak {peak:.0f} MB, {empty:.0f} MB of it imports")
    print(f"pandas.read_csv {theirs:6.2f} s   peak {max(b[1] for _, b in pairs):.0f} MB")
    print(f"ratio           {ours / theirs:6.2f}   (goal: at most 2.5; peak at most 600 MB)")


if __name__ == "__main__":
    main()
