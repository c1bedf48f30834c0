"""What planted outliers do to a fit, and how often clean points and runs are taken for some.

Run as ``python tests/studies/outliers.py [groups]``; 50 groups take half an hour.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from friction_points import OIL, REFERENCE, THETA, Truth, drawn, spoiled

from rigdata.friction.candidates import candidates
from rigdata.friction.conditions import at
from rigdata.friction.fit import fit_campaign
from rigdata.friction.laws.registry import law, laws_for
from rigdata.friction.results import FrictionFit
from rigdata.friction.robust import rank_robustly
from rigdata.friction.selection import choose
from rigdata.reduction.points import FrictionPoints

CLEAN = {
    "3 packs of 4 runs": Truth(runs=(4, 4)),
    "3 packs of 4 to 6 runs": Truth(),
    "3 packs of 2 runs": Truth(runs=(2, 2)),
    "3 packs of 8 or 9 runs": Truth(runs=(8, 9)),
    "6 packs of 3 runs": Truth(packs=6, runs=(3, 3)),
    "1 pack of 6 runs": Truth(packs=1, runs=(6, 6)),
    "misfit 1 %": Truth(misfit_sd=0.01),
    "packs and runs alike": Truth(pack_sd=0.0, run_sd=0.0),
    "run sd 2 %": Truth(run_sd=0.02),
    "stribeck": Truth(law="stribeck", theta=THETA["stribeck"]),
    "quadratic": Truth(law="quadratic", theta=THETA["quadratic"]),
}
Mask = np.ndarray
Plant = Callable[[FrictionPoints, np.random.Generator], tuple[Mask, float, set[str]]]


def runs(count: int, factor: float) -> Plant:
    """Any runs off as a whole."""

    def plant(points: FrictionPoints, rng: np.random.Generator) -> tuple[Mask, float, set[str]]:
        chosen = rng.choice(np.unique(points.run), count, replace=False)
        return np.isin(points.run, chosen), factor, set(chosen.tolist())

    return plant


def in_a_row(count: int, factor: float, *, at_end: bool = False) -> Plant:
    """Some neighbouring points of one run off."""

    def plant(points: FrictionPoints, rng: np.random.Generator) -> tuple[Mask, float, set[str]]:
        own = np.flatnonzero(points.run == rng.choice(np.unique(points.run)))
        start = own.size - count if at_end else rng.integers(0, own.size - count + 1)
        mask = np.zeros(len(points), dtype=bool)
        mask[own[start : start + count]] = True
        return mask, factor, set(points.point[mask].tolist())

    return plant


PLANTED = {
    "run +10 %": runs(1, 1.1),
    "run -10 %": runs(1, 0.9),
    "run +30 %": runs(1, 1.3),
    "run -30 %": runs(1, 0.7),
    "run x 3": runs(1, 3.0),
    "two runs +30 %": runs(2, 1.3),
    "two runs x 3": runs(2, 3.0),
    "burst, 5 points x 1.5": in_a_row(5, 1.5),
    "end, 4 points x 0.6": in_a_row(4, 0.6, at_end=True),
    "end, 1 point x 1.5": in_a_row(1, 1.5, at_end=True),
}


@dataclass(frozen=True)
class Outcome:
    """How one group with a planted outlier was fitted, beside the same group clean."""

    shift: float
    width: float
    named: bool
    extra: int
    same_law: bool


def fit_of(points: FrictionPoints) -> FrictionFit:
    (fit,) = fit_campaign(points, REFERENCE, oil=OIL).values()
    return fit


def outcome(truth: Truth, plant: Plant, seed: int) -> Outcome:
    """Fit a group clean and spoiled."""
    points = drawn(truth, np.random.default_rng(seed))
    mask, factor, names = plant(points, np.random.default_rng(seed + 1000))
    clean, fit = fit_of(points), fit_of(spoiled(points, mask, factor))
    before, after = (f.predict(at(REFERENCE)) for f in (clean, fit))
    seen = {outlier.name for outlier in fit.outliers}
    return Outcome(
        shift=abs(after.mu[0] - before.mu[0]) / before.u_mu[0],
        width=(after.mean_high[0] - after.mu[0]) / (before.mean_high[0] - before.mu[0]),
        named=names <= seen,
        extra=len(seen - names),
        same_law=clean.law == fit.law,
    )


def planted(count: int) -> None:
    print(f"{count} groups of 3 packs with 4 runs each; shift of mu at the reference in clean u")
    print(f"{'':24}{'law':12}{'named':>7}{'others':>8}{'shift, median':>15}{'largest':>9}"
          f"{'interval':>14}{'same law':>10}")  # fmt: skip
    for words, plant in PLANTED.items():
        for name in ("log-speed", "stribeck", "quadratic"):
            truth = Truth(runs=(4, 4), law=name, theta=THETA[name])
            done = [outcome(truth, plant, seed) for seed in range(count)]
            shifts, widths = [d.shift for d in done], [d.width for d in done]
            low, high = np.quantile(widths, [0.1, 0.9])
            print(
                f"{words:24}{name:12}{np.mean([d.named for d in done]):7.2f}"
                f"{np.mean([d.extra for d in done]):8.2f}{np.median(shifts):15.2f}"
                f"{np.max(shifts):9.2f}{low:7.2f}{high:7.2f}"
                f"{np.mean([d.same_law for d in done]):10.2f}",
                flush=True,
            )


def false_alarms(count: int) -> None:
    forms = [law(name, OIL) for name in laws_for(OIL)]
    print(f"{count} clean groups each: share with an outlying point, and run; processor time")
    for words, truth in CLEAN.items():
        n_points = n_runs = trouble = 0
        plain = robust = 0.0
        for seed in range(count):
            points = drawn(truth, np.random.default_rng(seed))
            times = [time.process_time()]
            choose("x", points, candidates("x", points, forms, REFERENCE))
            times.append(time.process_time())
            choice = rank_robustly("x", points, forms, REFERENCE)
            times.append(time.process_time())
            plain, robust = plain + times[1] - times[0], robust + times[2] - times[1]
            kinds = {outlier.kind for outlier in choice.outliers}
            n_points, n_runs = n_points + ("point" in kinds), n_runs + ("run" in kinds)
            trouble += bool(choice.trouble)
        print(
            f"{words:24}{n_points / count:8.3f}{n_runs / count:8.3f}  {trouble} in trouble, "
            f"{plain / count:.3f} s alone, {100 * (robust / plain - 1):+.1f} % for the search",
            flush=True,
        )


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 50
    false_alarms(4 * count)
    planted(count)


if __name__ == "__main__":
    main()
