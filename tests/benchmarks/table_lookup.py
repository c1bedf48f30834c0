"""A million look-ups in a coefficient table against SciPy's interpolator on the same grid.

Run as ``python -m tests.benchmarks.table_lookup FOLDER [repeats]`` with the folder of a table.
The peer gives mu alone, then all that a reading holds; neither knows of the envelope.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

import numpy as np
from scipy.interpolate import RegularGridInterpolator

from rigdata.friction.conditions import Conditions
from rigdata.tables.read import read_table

COUNT = 1_000_000


def seconds(work: Callable[[], object], repeats: int) -> float:
    """Median processor time."""
    taken = []
    for _ in range(repeats):
        start = time.process_time()
        work()
        taken.append(time.process_time() - start)
    return float(np.median(taken))


def main() -> None:
    table = read_table(sys.argv[1])
    repeats = int(sys.argv[2]) if len(sys.argv) > 2 else 5
    rng = np.random.default_rng(1)
    low, high = (np.array([axis[end] for axis in table.axes]) for end in (0, -1))
    places = rng.uniform(low, high, (3 * COUNT, len(low)))
    places = places[table.envelope.contains(Conditions(*places.T))]
    places = np.resize(places, (COUNT, len(low)))
    own = seconds(lambda: table.mu(*places.T), repeats)
    alone = RegularGridInterpolator(table.axes, table.field("mu"))
    every = np.moveaxis(np.concatenate([table.nodes, table.components]), 0, -1)
    whole = RegularGridInterpolator(table.axes, every)
    peers = {"mu alone": alone, f"all {every.shape[-1]} fields": whole}
    print(f"{COUNT} readings: {own:.2f} s")
    for words, peer in peers.items():
        took = seconds(lambda peer=peer: peer(places), repeats)
        print(f"SciPy, {words}: {took:.2f} s, ratio {own / took:.2f}")


if __name__ == "__main__":
    main()
