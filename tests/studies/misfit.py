"""How often a law is said to miss its points, and what the surface then taken is worth.

Run as ``python tests/studies/misfit.py [groups]``; 300 groups take about half an hour.
A law that made the points should be flagged in at most 5 % of the groups, another one
in at least 95 %; the 95 % bands of a surface should hold.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from dataclasses import dataclass

import numpy as np
from friction_points import OIL, REFERENCE, THETA, Truth, drawn

from rigdata.friction.adequacy import adequacy_of
from rigdata.friction.choice import choose_law
from rigdata.friction.conditions import Conditions
from rigdata.friction.fit import fit_campaign

GRID = tuple((t, p) for t in (50.0, 80.0, 110.0) for p in (0.7, 1.4))
ON_GRID = {"settings": GRID, "runs": (6, 6), "points": (10, 10)}
SPEEDS = np.geomspace(0.012, 0.85, 15)
PLACES = Conditions(
    np.tile(SPEEDS, 3), np.repeat([60.0, 80.0, 105.0], 15), np.repeat([1.4, 1.0, 0.7], 15)
)


@dataclass(frozen=True)
class Warm(Truth):
    """A hollow over temperature that no formula follows."""

    def mu(self, where: Conditions) -> np.ndarray:
        """The true mean of all packs."""
        place = (where.temperature_c - 80.0) / 15.0
        return super().mu(where) * (1.0 - 0.08 * np.exp(-0.5 * place**2))


RIGHT = {
    **{name: (Truth(law=name, theta=theta), [name]) for name, theta in THETA.items()},
    "log-speed, misfit 1 %": (Truth(misfit_sd=0.01), ["log-speed"]),
    "log-speed, one pack": (Truth(packs=1), ["log-speed"]),
    "log-speed, two packs": (Truth(packs=2, runs=(2, 3)), ["log-speed"]),
    "log-speed, six packs run once": (Truth(packs=6, runs=(1, 1)), ["log-speed"]),
    "log-speed, packs alike": (Truth(pack_sd=0.0, run_sd=0.0), ["log-speed"]),
    "log-speed, same settings": (Truth(**ON_GRID), ["log-speed"]),
}
FEW = ["constant", "log-speed", "stribeck"]
WRONG = {
    "stribeck, not offered": (Truth(law="stribeck", theta=THETA["stribeck"]), FEW[:2]),
    "hersey, not offered": (Truth(law="hersey", theta=THETA["hersey"]), FEW),
    "bump 4 %": (Truth(bump=0.04), FEW),
    "bump 6 %": (Truth(bump=0.06), FEW),
    "bump 6 %, misfit 1 %": (Truth(bump=0.06, misfit_sd=0.01), FEW),
    "bump 6 %, one pack": (Truth(bump=0.06, packs=1), FEW),
    "bump 6 %, two packs": (Truth(bump=0.06, packs=2, runs=(2, 3)), FEW),
    "bump 6 %, same settings": (Truth(bump=0.06, **ON_GRID), FEW),
    "hollow 8 % over temperature": (Warm(), FEW),
}
SURFACES = {
    "bump 8 %": Truth(bump=0.08),
    "bump 8 %, packs alike": Truth(bump=0.08, pack_sd=0.0, run_sd=0.0),
    "bump 8 %, six packs": Truth(bump=0.08, packs=6),
    "hollow 8 % over temperature": Warm(),
}


def flagged(name: str, truth: Truth, laws: list[str], count: int) -> None:
    """Print how often the best of some laws is flagged, and along what."""
    start, along, sizes = time.process_time(), Counter(), []
    for seed in range(count):
        points = drawn(truth, np.random.default_rng(seed))
        ranking = choose_law(name, points, REFERENCE, laws, OIL).ranking
        found = adequacy_of(ranking.chosen.fit)
        sizes.append(found.size)
        if found.flagged:
            along[found.along] += 1
    spent = (time.process_time() - start) / count
    share, told = 100 * along.total() / count, ", ".join(f"{k} {n}" for k, n in along.items())
    print(f"{name:32} {share:5.1f} %  rms {100 * np.median(sizes):.2f} %  {spent:.2f} s  {told}",
          flush=True)  # fmt: skip


def held(name: str, truth: Truth, count: int) -> None:
    """Print how often a surface is taken, and how often its bands then hold."""
    start, mean, more, width, error = time.process_time(), [], [], [], []
    for seed in range(count):
        points = drawn(truth, np.random.default_rng(seed))
        (fit,) = fit_campaign(points, REFERENCE, oil=OIL).values()
        if fit.law != "surface":
            continue
        told, true = fit.predict(PLACES), truth.mu(PLACES)
        outside = ~told.inside
        pack = true * (1.0 + truth.pack_sd * np.random.default_rng(10_000 + seed).normal())
        for found, low, value, high in (
            (mean, told.mean_low, true, told.mean_high),
            (more, told.next_pack_low, pack, told.next_pack_high),
        ):
            inside = ((low <= value) & (value <= high)).astype(float)
            found.append(np.where(outside, np.nan, inside))
        width.append(np.nanmean(np.where(outside, np.nan, told.mean_high / told.mu - 1.0)))
        error.append(np.nanmean(np.where(outside, np.nan, np.abs(told.mu / true - 1.0))))
    spent = (time.process_time() - start) / count
    by_place = 100 * np.nanmean(mean, axis=0)
    print(f"{name:32} taken {100 * len(mean) / count:.1f} %, mean {100 * np.nanmean(mean):.1f} % "
          f"(at the worst place {np.nanmin(by_place):.1f} %), one more pack "
          f"{100 * np.nanmean(more):.1f} %, half width {100 * np.median(width):.2f} %, "
          f"error {100 * np.mean(error):.2f} %  {spent:.2f} s", flush=True)  # fmt: skip


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    print(f"{count} groups each; the right law, flagged:")
    for name, (truth, laws) in RIGHT.items():
        flagged(name, truth, laws, count)
    print("a wrong law, flagged:")
    for name, (truth, laws) in WRONG.items():
        flagged(name, truth, laws, count)
    print("the surface: how often its 95 % intervals hold")
    for name, truth in SURFACES.items():
        held(name, truth, count)


if __name__ == "__main__":
    main()
