"""How long a text log takes to become friction points, beside reading it alone.

Run it with ``python -m tests.benchmarks log_to_points``.  The readers give all columns
of the file as a table in memory; each runs in a process of its own, in turn with ours.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from tests.benchmarks.big_log import filtered_campaign, long_campaign
from tests.benchmarks.ratios import Ratio, Size, Work, in_turn, median_ratio

REDUCE = (
    "from pathlib import Path\n"
    "from rigdata.campaign.campaign import read_campaign\n"
    "from rigdata.reduction.reduce import reduce_campaign",
    "assert len(reduce_campaign(read_campaign(Path(arg).parent)).points)",
)
KEPT = (
    f"{REDUCE[0]}\nfrom rigdata.logs.frames_cache import FramesCache",
    "folder = Path(arg).parent\n"
    "cache = FramesCache(folder / 'kept')\n"
    "assert len(reduce_campaign(read_campaign(folder), cache=cache).points)",
)
READERS = {
    "pandas": ("import pandas", "pandas.read_csv(arg)"),
    "pyarrow": ("import pyarrow.csv", "pyarrow.csv.read_csv(arg)"),
    "polars": ("import polars", "polars.read_csv(arg)"),
    "duckdb": ("import duckdb", "duckdb.read_csv(arg).fetchnumpy()"),
}


def reduction_of(log: Path) -> Work:
    """Return the work of taking a log to friction points."""
    return Work(*REDUCE, str(log))


def ratios(size: Size) -> Iterator[Ratio]:
    log = long_campaign(size.folder, size.rows)
    works = {"ours": reduction_of(log), "kept": Work(*KEPT, str(log))}
    works["filtered"] = reduction_of(filtered_campaign(size.folder, size.rows))
    works |= {name: Work(*code, str(log)) for name, code in READERS.items()}
    rounds = in_turn(works, size.repeats)
    for name in READERS:
        wall = median_ratio([(one["ours"].wall_s, one[name].wall_s) for one in rounds])
        cpu = median_ratio([(one["ours"].cpu_s, one[name].cpu_s) for one in rounds])
        goal = 1.3 if name == "pandas" else None
        note = f"processor time {cpu:.2f}"
        yield Ratio(f"log to points over {name} reading it", wall, most=goal, note=note)
    low_pass = median_ratio([(one["filtered"].wall_s, one["pandas"].wall_s) for one in rounds])
    yield Ratio("the same through a filter on three channels", low_pass, most=1.6)
    kept = median_ratio([(one["kept"].wall_s, one["pandas"].wall_s) for one in rounds])
    yield Ratio("what was kept of the log to points over pandas", kept, most=0.4)
    fastest = [min(one[name].wall_s for name in READERS if name != "pandas") for one in rounds]
    pairs = zip((one["ours"].wall_s for one in rounds), fastest, strict=True)
    yield Ratio("log to points over the fastest but pandas", median_ratio([*pairs]), most=1.3)
    megabytes = log.stat().st_size / 1e6
    best = min(one["ours"].wall_s for one in rounds)
    yield Ratio("megabytes of text a second, at best", megabytes / best)
