"""How often the bootstrap doubts a right fit, and finds runs that differ in more than their level.

Run as ``python tests/studies/bootstrap_rates.py [groups]``.  Each line: the root mean square of
the ratio of what refits show to what the fit says, the share of quantities called more and
less than chance, and the share of groups with any of them.
"""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np
from friction_points import OIL, REFERENCE, THETA, Truth, drawn

from rigdata.errors import FitError
from rigdata.friction.bootstrap import Bootstrap, bootstraps_of
from rigdata.friction.fit import fit_campaign

LAYOUTS = {
    "3 packs, 4 runs of 12": ((12,) * 4,) * 3,
    "4 packs, 2 runs of 12": ((12,) * 2,) * 4,
    "4 packs, 1 to 6 runs": ((12,), (12,) * 3, (12,) * 6, (9, 15)),
    "6 packs, 4 runs of 8": ((8,) * 4,) * 6,
    "12 packs, 2 runs of 8": ((8,) * 2,) * 12,
}
LAWS = ("log-speed", "stribeck")
TILT = 0.01  # relative change of mu per e-fold of slip speed, from run to run


def tried(truth: Truth, seed: int, tilt: float) -> tuple[Bootstrap, ...]:
    """The bootstraps of one group; none where it could not be fitted."""
    points = drawn(truth, np.random.default_rng(seed))
    _, run = np.unique(points.run, return_inverse=True)
    slopes = np.random.default_rng(seed + 10_000).normal(0.0, tilt, run.max() + 1)[run]
    points = replace(points, mu=points.mu * (1.0 + slopes * np.log(points.slip_speed_m_s / 0.1)))
    try:
        (fit,) = fit_campaign(points, REFERENCE, laws=[truth.law], oil=OIL).values()
    except FitError:
        return ()
    return bootstraps_of(points, fit, refits=300, seed=seed)


def main() -> None:
    groups = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    for tilt in (0.0, TILT):
        print(f"slopes of runs differ by {100 * tilt:g} % an e-fold" if tilt else "right fits")
        for words, layout in LAYOUTS.items():
            for law in LAWS:
                truth = Truth(law=law, theta=THETA[law], layout=layout)
                found = [tried(truth, seed, tilt) for seed in range(groups)]
                for unit in ("pack", "run"):
                    own = [one.spreads for every in found for one in every if one.unit == unit]
                    each = [spread for spreads in own for spread in spreads]
                    if not each:
                        continue
                    size = np.sqrt(np.mean([spread.ratio**2 for spread in each]))
                    more = np.mean([spread.ratio > spread.high for spread in each])
                    less = np.mean([spread.ratio < spread.low for spread in each])
                    any_ = np.mean([any(s.beyond_chance for s in spreads) for spreads in own])
                    print(f"{words}, {law}, {unit}s: ratio {size:.2f}, more {more:.1%}, "
                          f"less {less:.1%}, groups {any_:.0%}", flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
