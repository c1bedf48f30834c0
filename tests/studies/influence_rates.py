"""How often a clean group names a pack or run that drives it, and how often a bad one is named.

    python tests/studies/influence_rates.py [groups] [clean|planted]

Groups of friction points with nothing wrong, in layouts of all kinds; then with the first
pack off by some standard deviations of the scatter between packs.  300 clean groups of
each layout take five minutes.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator

import numpy as np
from friction_points import OIL, REFERENCE, THETA, Truth, drawn, spoiled

from rigdata.friction.case_deletion import Deletion, largest
from rigdata.friction.driving import APART, CARRIES, DOMINATES
from rigdata.friction.fit import fit_group
from rigdata.friction.results import Group

CLEAN = {
    "3 packs of 4 to 6 runs": Truth(),
    "3 packs of 2 runs": Truth(runs=(2, 2)),
    "4 packs of 4 runs": Truth(packs=4, runs=(4, 4)),
    "4 packs of 1 to 6 runs": Truth(packs=4, runs=(1, 6)),
    "6 packs of 3 runs": Truth(packs=6, runs=(3, 3)),
    "6 packs of 1 to 6 runs, 3 to 40 points": Truth(packs=6, runs=(1, 6), points=(3, 40)),
    "6 packs of 3 runs that differ more": Truth(packs=6, runs=(3, 3), pack_sd=0.005, run_sd=0.02),
    "6 packs of 3 runs, stribeck": Truth(
        packs=6, runs=(3, 3), law="stribeck", theta=THETA["stribeck"]
    ),
    "8 packs of 1 run": Truth(packs=8, runs=(1, 1)),
    "10 packs of 2 runs": Truth(packs=10, runs=(2, 2)),
    "1 pack of 6 runs": Truth(packs=1, runs=(6, 6)),
}


def deletions(truth: Truth, groups: int, sds: float = 0.0) -> Iterator[tuple[Deletion, ...]]:
    """What leaving out each pack and run does, group by group, the first pack being off."""
    for seed in range(groups):
        points = drawn(truth, np.random.default_rng(seed))
        first = points.pack == points.pack[0]
        points = spoiled(points, first, 1.0 + sds * truth.pack_sd)
        fit = fit_group(points, Group("rough", "new"), REFERENCE, laws=[truth.law], oil=OIL)
        yield fit.deletions


def clean(groups: int) -> None:
    print(f"{groups} clean groups each: share with a warning that one lies apart, or dominates, "
          "with a note that one carries much [%]; largest change [u], median and 95 %")  # fmt: skip
    for words, truth in CLEAN.items():
        every = list(deletions(truth, groups))
        rates = [100 * np.mean([any(one.driving == why for one in each) for each in every])
                 for why in (APART, DOMINATES, CARRIES)]  # fmt: skip
        most = [abs(one.change_u) for each in every if (one := largest(each)) is not None]
        low, high = np.quantile(most, [0.5, 0.95])
        print(
            f"{words:40s}",
            *(f"{rate:5.1f}" for rate in rates),
            f"{low:6.2f} {high:.2f}",
            flush=True,
        )


def planted(groups: int) -> None:
    print(f"{groups} groups each, first pack off: share in which it is named, and any other [%]")
    for packs in (3, 4, 6, 8, 12):
        for sds in (5.0, 10.0):
            truth = Truth(packs=packs, runs=(3, 3))
            named = [{one.title for one in each if one.driving == APART}
                     for each in deletions(truth, groups, sds)]  # fmt: skip
            own = {"pack rough-new-1"}
            right = 100 * np.mean([own <= each for each in named])
            other = 100 * np.mean([bool(each - own) for each in named])
            print(
                f"{packs:3d} packs of 3 runs, {sds:3.0f} sds {right:6.1f} {other:5.1f}", flush=True
            )


if __name__ == "__main__":
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    wanted = sys.argv[2:] or ["clean", "planted"]
    for part in wanted:
        {"clean": clean, "planted": planted}[part](number)
