"""How often the 95 % intervals of differences of traits hold, and how often they show nothing.

    python tests/studies/trait_coverage.py 200

Two materials of 3 to 5 packs on one rig; the last column is for materials that are alike.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from dataclasses import replace

import numpy as np
from friction_points import REFERENCE, Truth, drawn

from rigdata.comparison.pair_fits import fit_pairs
from rigdata.comparison.trait_differences import TraitDifference, compare_traits
from rigdata.comparison.trait_measures import TRAITS
from rigdata.friction.fit import fit_campaign
from rigdata.friction.static import fit_static
from rigdata.reduction.points import concatenate

PLAIN, ROUGH = (0.10, -0.004, -0.0008, -0.06), (0.14, 0.003, -0.0005, -0.04)
PLAIN_AT_REST, ROUGH_AT_REST = 0.12, 0.135
KINDS = TRAITS[:-1]  # the last, the work to bed in, has a study of its own


def traits_of(theta: tuple[float, ...], at_rest: float) -> list[float]:
    """True traits, in the order of `KINDS` without the spread of packs."""
    mu, a, b, c = theta
    return [a / REFERENCE.slip_speed_m_s, at_rest / mu, 100 * np.expm1(100 * b), 100 * (2**c - 1)]


def compared(seed: int, *, alike: bool) -> tuple[TraitDifference, ...]:
    """Draw and compare one campaign."""
    rng = np.random.default_rng(seed)
    gain, packs = rng.normal(), int(rng.integers(3, 6))
    other = (PLAIN, PLAIN_AT_REST) if alike else (ROUGH, ROUGH_AT_REST)
    parts = []
    for name, (theta, level) in (("plain", (PLAIN, PLAIN_AT_REST)), ("rough", other)):
        truth = Truth(material=name, theta=theta, packs=packs)
        rest = replace(truth, kind="static", law="constant", theta=(level,), runs=(2, 2))
        parts += [drawn(truth, rng, gain), drawn(replace(rest, points=(5, 5)), rng, gain)]
    points = concatenate(parts)
    kinetic = fit_campaign(points, REFERENCE, laws=["log-speed"])
    pairs = fit_pairs(points, kinetic, baseline="plain", reference=REFERENCE)
    return compare_traits(pairs, points, fit_static(points, REFERENCE)[0], kinds=KINDS)


def main(campaigns: int) -> None:
    """Print one line a trait."""
    rough, plain = traits_of(ROUGH, ROUGH_AT_REST), traits_of(PLAIN, PLAIN_AT_REST)
    true = [*(one - other for one, other in zip(rough, plain, strict=True)), 1.0]
    held, shown = defaultdict(list), defaultdict(list)
    for seed in range(campaigns):
        for one, value in zip(compared(seed, alike=False), true, strict=True):
            found = one.measured
            if found is not None:
                held[one.trait].append(found.difference.low <= value <= found.difference.high)
        for one in compared(seed, alike=True):
            shown[one.trait].append(one.verdict in ("higher", "lower"))
    for kind in KINDS:
        name = kind.name
        print(f"{name:30} {100 * np.mean(held[name]):5.1f} % held, "
              f"{100 * np.mean(shown[name]):5.1f} % shown between equals")  # fmt: skip


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
