"""How often the interval of the work to bed in holds the truth, and what is kept out wrongly.

    python -m tests.studies.bedding_coverage 14

Whole campaigns of two materials, logs included, in five layouts; 14 of the first give 112
packs in two minutes.  Each layout says: packs by verdict, how often the 95 % intervals
of packs and of the group's median held the truth, the error of ln work (mean and
standard deviation), and the share of the used points of other runs than bedding runs
that are kept out.
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from rigdata.bedding.assess import WITHIN, assess_bedding
from rigdata.bedding.keep_out import before_steady
from rigdata.bedding.results import BEDDED, Bedding
from rigdata.campaign.campaign import read_campaign
from rigdata.reduction.reduce import reduce_campaign
from rigdata.simulation.campaign import simulate_campaign
from rigdata.simulation.demo import study_spec
from rigdata.simulation.scenario import ROUGH, STEEL
from rigdata.simulation.spec import PackDesign
from rigdata.simulation.truth import Material

_BASIS = ("zero", "drag")
_SWEEPS = ("sweep-light", "sweep-heavy", "sweep-middle")
_HASTY = (
    replace(ROUGH, bedding_start=-0.05, bedding_work_j_mm2=0.3),
    replace(STEEL, bedding_start=0.05, bedding_work_j_mm2=0.3),
)


@dataclass(frozen=True)
class Layout:
    """A way to test packs."""

    name: str
    tests: tuple[str, ...]
    materials: tuple[Material, Material] = (ROUGH, STEEL)
    packs: int = 4
    bedded: bool = False


LAYOUTS = (
    Layout("bedding run first", (*_BASIS, "bedding", "sweep-light", "sweep-heavy", "load")),
    Layout("steady run first, 5 %", (*_BASIS, "steady", *_SWEEPS), _HASTY, packs=3),
    Layout("sweeps at once, 7 to 10 %", (*_BASIS, *_SWEEPS, "steady"), packs=3),
    Layout("bedded before, 3 runs", (*_BASIS, "sweep-light", "sweep-heavy", "load"), bedded=True),
    Layout(
        "bedded before, 5 runs",
        (*_BASIS, "steady", "sweep-light", "sweep-heavy", "temperature", "load"),
        packs=3,
        bedded=True,
    ),
)


def true_kj(material: Material) -> float:
    """Sliding work at which the tolerance is left of the change of an unused pack."""
    pack = PackDesign("any", material.name)
    scales = np.log(abs(material.bedding_start) / WITHIN)
    return float(material.bedding_work_j_mm2 * scales * pack.area_mm2 * pack.friction_faces / 1e3)


def assessed(layout: Layout, seed: int) -> tuple[Bedding, int, int]:
    """Return the bedding-in of one campaign, its used points and those kept out of them."""
    spec = study_spec(
        packs=layout.packs, materials=layout.materials, tests=layout.tests, bedded=layout.bedded
    )
    with tempfile.TemporaryDirectory() as place:
        simulate_campaign(spec, seed, Path(place))
        campaign = read_campaign(Path(place))
        points = reduce_campaign(campaign).points
    bedding = assess_bedding(points, campaign)
    return bedding, int(points.used.sum()), int(before_steady(points, bedding).sum())


def main(campaigns: int) -> None:
    """Print one line a layout."""
    for layout in LAYOUTS:
        truth = {material.name: true_kj(material) for material in layout.materials}
        verdicts: Counter[str] = Counter()
        held, medians, errors, used, lost = [], [], [], 0, 0
        for seed in range(campaigns):
            bedding, some, out = assessed(layout, 5000 + seed)
            used, lost = used + some, lost + out
            verdicts.update(one.verdict for one in bedding.packs)
            for one in bedding.packs:
                if one.verdict == BEDDED:
                    true = truth[one.group.material]
                    held.append(one.low_kj <= true <= one.high_kj)
                    errors.append(np.log(one.work_kj / true))
            medians += [
                one.low <= truth[one.group.material] <= one.high for one in bedding.groups.values()
            ]
        print(f"{layout.name}: {dict(verdicts)}, kept out {100.0 * lost / used:.2f} %", end="")
        if errors:
            packs, groups = (100.0 * float(np.mean(each)) for each in (held, medians))
            error = f"{np.mean(errors):+.3f} +- {np.std(errors):.3f}"
            print(f", packs held {packs:.1f} %, medians {groups:.0f} %, ln work {error}", end="")
        print(flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 14)
