"""A million look-ups in a coefficient table against SciPy's interpolator on the same grid.

Run it with ``python -m tests.benchmarks table_lookup``.
The peer gives mu alone, then all that a reading holds; neither knows of the envelope.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
from scipy.interpolate import RegularGridInterpolator

from rigdata.campaign.campaign import read_campaign
from rigdata.friction.conditions import Conditions
from rigdata.friction.fit import fit_campaign
from rigdata.reduction.reduce import reduce_campaign
from rigdata.simulation.campaign import simulate_campaign
from rigdata.simulation.demo import study_spec
from rigdata.tables.build import build_tables
from rigdata.tables.table import CoefficientTable
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


def ratios(size: Size) -> Iterator[Ratio]:
    table = _table(size.folder / "table")
    rng = np.random.default_rng(1)
    low, high = (np.array([axis[end] for axis in table.axes]) for end in (0, -1))
    places = rng.uniform(low, high, (3 * COUNT, len(low)))
    places = places[table.envelope.contains(Conditions(*places.T))]
    places = np.resize(places, (COUNT, len(low)))
    own = seconds(lambda: table.mu(*places.T), size.repeats)
    alone = RegularGridInterpolator(table.axes, table.field("mu"))
    every = np.moveaxis(np.concatenate([table.nodes, table.components]), 0, -1)
    whole = RegularGridInterpolator(table.axes, every)
    for words, peer in {"mu alone": alone, f"all {every.shape[-1]} fields": whole}.items():
        took = seconds(lambda peer=peer: peer(places), size.repeats)
        yield Ratio(f"a million readings over SciPy, {words}", own / took)


def _table(folder: Path) -> CoefficientTable:
    """Return the table of a small simulated material."""
    if not folder.is_dir():
        simulate_campaign(study_spec(packs=3), 5, folder)
    campaign = read_campaign(folder / "campaign.toml")
    points = reduce_campaign(campaign).points
    fits = fit_campaign(points, campaign.reference, laws=["log-speed"])
    return next(iter(build_tables(fits, points, campaign).tables.values()))
