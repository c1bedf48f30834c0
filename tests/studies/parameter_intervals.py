"""How often the 95 % intervals of the Stribeck speed and of the exponent hold the truth.

Profile intervals against symmetric ones, and how often a side is open; an open side
holds whatever lies there.  Fits with every parameter free, whatever the choice of the
law would say of them.

Run as ``python tests/studies/parameter_intervals.py [campaigns]``.
"""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import replace

import numpy as np
from friction_points import REFERENCE, THETA, Truth, drawn

from rigdata.errors import FitError
from rigdata.friction.design import Block
from rigdata.friction.joint import joint_fit
from rigdata.friction.laws.registry import LAWS
from rigdata.friction.profiles import profiles_of

LAW = LAWS["stribeck"]
NAMES = ("v_s", "d")


def with_exponent(d: float) -> tuple[float, ...]:
    """Return the parameters of the other studies with another exponent."""
    theta = list(THETA["stribeck"])
    theta[LAW.names.index("d")] = d
    return tuple(theta)


PLAIN = Truth(law="stribeck", theta=THETA["stribeck"])
FEW = replace(PLAIN, runs=(2, 2), points=(6, 6))
ROWS = {
    "three packs, 0.01 to 1 m/s": PLAIN,
    "two runs of six points a pack": FEW,
    "the same, from 0.03 m/s": replace(FEW, speeds=(0.03, 1.0)),
    "the same, exponent 0.6": replace(FEW, theta=with_exponent(0.6)),
    "the same, exponent 2": replace(FEW, theta=with_exponent(2.0)),
}


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    for label, truth in ROWS.items():
        held: Counter[str] = Counter()
        fits = 0
        for seed in range(count):
            points = drawn(truth, np.random.default_rng(seed))
            try:
                fit = joint_fit([Block(label, points, LAW, {})], REFERENCE)
            except FitError:
                continue
            fits += 1
            for profile in profiles_of(fit, NAMES):
                true = truth.theta[LAW.names.index(profile.name)]
                low = -np.inf if profile.low is None else profile.low
                high = np.inf if profile.high is None else profile.high
                half = profile.half_width
                held[f"{profile.name} profile"] += low <= true <= high
                held[f"{profile.name} symmetric"] += (
                    half is not None and abs(true - profile.value) <= half
                )
                held[f"{profile.name} open"] += profile.open
        told = ", ".join(
            f"{name} {kind} {100 * held[f'{name} {kind}'] / max(fits, 1):.1f} %"
            for name in NAMES
            for kind in ("profile", "symmetric", "open")
        )
        print(f"{label:32} {fits} fits: {told}", flush=True)


if __name__ == "__main__":
    main()
