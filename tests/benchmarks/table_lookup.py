"""A million look-ups in a coefficient table against SciPy's interpolator on the same grid.

Run as ``python -m tests.benchmarks table_lookup``; the table is one of the small demo.
The peer gives mu alone, then all that a reading holds; neither knows of the envelope.
"""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
from scipy.interpolate import RegularGridInterpolator

from rigdata.friction.conditions import Conditions
from rigdata.tables.read import read_table
from tests.benchmarks.ratios import Ratio, Size

COUNT = 1_000_000


def seconds(work: Callable[[], object], repeats: int) -> float:
    """Median processor time."""
    taken = []
    for _ in range(repeats):
        start = time.process_time()
        work()
        taken.append(time.process_time() - start)
    return float(np.median(taken))


def table_in(folder: Path) -> Path:
    """Return the folder of a table of the small demo, made if it is not there."""
    demo = folder / "demo"
    for words in (["example", str(demo), "--size", "small"], ["run", str(demo)]):
        if not (demo / "results" / "tables").exists():
            command = "from rigdata.cli.main import main; main()"
            subprocess.run([sys.executable, "-c", command, *words], capture_output=True)
    return next((demo / "results" / "tables").glob("*/*/coefficients.json")).parent


def ratios(size: Size) -> Iterator[Ratio]:
    table = read_table(table_in(size.folder))
    rng = np.random.default_rng(1)
    low, high = (np.array([axis[end] for axis in table.axes]) for end in (0, -1))
    places = rng.uniform(low, high, (3 * COUNT, len(low)))
    places = places[table.envelope.contains(Conditions(*places.T))]
    places = np.resize(places, (COUNT, len(low)))
    own = seconds(lambda: table.mu(*places.T), size.repeats)
    alone = RegularGridInterpolator(table.axes, table.field("mu"))
    every = np.moveaxis(np.concatenate([table.nodes, table.components]), 0, -1)
    whole = RegularGridInterpolator(table.axes, every)
    peers = {f"all {every.shape[-1]} fields": (whole, 1.0), "mu alone": (alone, None)}
    for words, (peer, most) in peers.items():
        took = seconds(lambda peer=peer: peer(places), size.repeats)
        note = f"{own:.2f} s for {COUNT} readings"
        yield Ratio(f"look-ups over SciPy, {words}", own / took, most=most, note=note)
