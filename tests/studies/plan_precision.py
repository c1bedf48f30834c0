"""Does a planned campaign reach what was predicted of it?

    python tests/studies/plan_precision.py 200

Campaigns are drawn from the truth that the plan expects, at the places that it lays out, and
fitted.  For each layout: the scatter of the errors of mu and of the ratio of two materials over
the u predicted, the root mean square of the u stated by the fits over it, the mean half width
over that predicted, and how often a difference of the size said to be resolvable was shown.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace

import numpy as np
from friction_points import REFERENCE, Truth, drawn

from rigdata.comparison.verdict import two_sided_p
from rigdata.friction.budget import interval_of, joint_solution, quantity_of
from rigdata.friction.conditions import Conditions, at
from rigdata.friction.design import Block
from rigdata.friction.joint import joint_fit
from rigdata.friction.laws.registry import law
from rigdata.planning.candidates import PlannedTest
from rigdata.planning.expected import Expected, ExpectedSource
from rigdata.planning.precision import Predicted, precision_of_mu, precision_of_ratio
from rigdata.uncertainty.sources import Effect, Scope

SETTINGS = ((80.0, 1.0), (45.0, 0.6), (115.0, 1.8), (80.0, 1.0), (45.0, 1.8), (115.0, 0.6))
POINTS, POWER = 10, 0.9
TRUTH = Truth(settings=SETTINGS, layout=((POINTS,) * len(SETTINGS),))
LAYOUTS = {
    "3 packs": (3, TRUTH),
    "4 packs": (4, TRUTH),
    "6 packs": (6, TRUTH),
    "4 packs, runs scatter twice as packs do": (4, replace(TRUTH, pack_sd=0.01, run_sd=0.02)),
    "4 packs, calibration of 2 %": (4, replace(TRUTH, gain_u=0.02)),
}


@dataclass(frozen=True)
class Outcome:
    """One campaign: relative errors, and what its fits stated of them."""

    error: tuple[float, float]  # of mu and of the ratio
    u: tuple[float, float]
    half: tuple[float, float]
    shown: bool


def expectation(truth: Truth) -> Expected:
    """What a planner who knew the truth would expect."""
    sources = (
        ExpectedSource("torque", Scope.RIG, Effect.PROPORTIONAL, {"": truth.gain_u}),
        ExpectedSource("outer-radius", Scope.PACK, Effect.PROPORTIONAL, {"": truth.radius_u}),
        ExpectedSource("zero", Scope.RUN, Effect.ADDITIVE, {"": truth.zero_u}),
    )
    spread = (truth.pack_sd, truth.run_sd, truth.misfit_sd, truth.point_sd)
    return Expected(law(truth.law), np.array(truth.theta), *spread, sources, "the truth")


def sweeps_of(truth: Truth) -> list[PlannedTest]:
    """The sweeps of one pack, where `drawn` makes them."""
    speeds = np.geomspace(*truth.speeds, POINTS)
    return [
        PlannedTest("speed-sweep", truth.speeds, (t, t), (p, p), 5.0, Conditions(speeds, t, p))
        for t, p in truth.settings
    ]


def predictions(packs: int, truth: Truth) -> tuple[Predicted, Predicted]:
    """What the plan says of mu and of the ratio."""
    known, tests = expectation(truth), sweeps_of(truth)
    mu = precision_of_mu("one", known, tests, packs, REFERENCE)
    ratio = precision_of_ratio(
        {"one": known, "other": known}, tests, packs, REFERENCE, power=POWER, comparisons=1
    )
    return mu, ratio


def campaign(packs: int, truth: Truth, resolvable: float, rng: np.random.Generator) -> Outcome:
    """Draw two materials that differ by what is said to be resolvable, and fit them."""
    gain, form = rng.normal(), law(truth.law)
    level = np.array([1.0 + resolvable, 1.0 + resolvable, 1.0, 1.0])  # mu0 and a of log-speed
    better = tuple((np.array(truth.theta) * level).tolist())
    told = replace(truth, layout=truth.layout * packs)
    sides = [
        drawn(replace(told, material=name, theta=theta), rng, gain)
        for name, theta in (("one", better), ("other", truth.theta))
    ]
    where, errors, us, halves = at(REFERENCE), [], [], []
    shown = False
    for points, true in ((sides[1:], truth.theta[0]), (sides, 1.0 + resolvable)):
        blocks = [Block(f"group {i}", own, form, {}) for i, own in enumerate(points)]
        solution = joint_solution(joint_fit(blocks, REFERENCE))
        value, gradient = quantity_of(solution, where)
        estimate, slope = solution.estimate, gradient[None, :] / value
        low, high = interval_of(solution, where)
        errors.append(float(np.log(value / true)))
        us.append(float(np.sqrt(estimate.variance(slope)[0])))
        halves.append(0.5 * (high - low) / value)
        if len(blocks) == 2:

            def half(at_level: float, estimate=estimate, slope=slope) -> float:
                return float(estimate.half_width(slope, level=at_level)[0])

            shown = two_sided_p(half, abs(float(np.log(value)))) < 0.05 and value > 1.0
    return Outcome((errors[0], errors[1]), (us[0], us[1]), (halves[0], halves[1]), shown)


def main(count: int) -> None:
    print("reached over predicted, mu and ratio; standard error of a scatter", end=" ")
    print(f"{100 / np.sqrt(2 * count):.0f} %")
    head = ("errors", "u stated", "half width", "difference shown")
    print(f"{'layout':40}" + "".join(f"{name:>18}" for name in head))
    for number, (name, (packs, truth)) in enumerate(LAYOUTS.items()):
        rng = np.random.default_rng([20260301, number])
        both = predictions(packs, truth)
        found = [campaign(packs, truth, both[1].resolvable, rng) for _ in range(count)]
        cells = []
        for kind, of in (("error", "u"), ("u", "u"), ("half", "half_width")):
            values = np.array([getattr(one, kind) for one in found])
            size = values.mean(axis=0) if kind == "half" else np.sqrt(np.mean(values**2, axis=0))
            cells.append(
                " ".join(f"{s / getattr(p, of):.2f}" for s, p in zip(size, both, strict=True))
            )
        cells.append(f"{100 * np.mean([one.shown for one in found]):.0f} %")
        print(f"{name:40}" + "".join(f"{cell:>18}" for cell in cells), flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
