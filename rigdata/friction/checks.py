"""What a fit must be asked before it is believed, and what the user is told."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from rigdata.errors import Notice, Severity
from rigdata.friction.adequacy import Adequacy
from rigdata.friction.conditions import (
    ALL_AXES,
    Conditions,
    shown_axes,
)
from rigdata.friction.joint import JointFit
from rigdata.friction.laws.registry import SURFACE
from rigdata.friction.mixed_model import profile
from rigdata.friction.profiles import ParameterProfile
from rigdata.friction.selection import Ranking
from rigdata.friction.undetermined import parameter_notices

LARGE_PULL = 2.0
LARGE_TREND = 3.0
_LEAST_NEW = 1e-6  # share of a trend column that the law does not already hold


def residual_trend(fit: JointFit, conditions: Conditions) -> dict[str, float]:
    """Return the standardised trend or bend that residuals keep along each axis.

    For each axis that was varied, a straight and a bent term are offered to the
    fit; their score statistics are standard normal when the law is right, and
    the larger one by size is returned.
    """
    at, found = fit.profile, {}
    shown = shown_axes(conditions)
    for axis in ALL_AXES:
        if axis not in shown:
            continue
        values = getattr(conditions, axis)
        x = values if axis == "temperature_c" else np.log(values)
        x = (x - x.mean()) / x.std()
        statistics = [0.0]
        for power in (1, 2):
            column = fit.design.prior.below(fit.curve * x**power)
            before = float(np.sum(column**2 * at.inverse_diagonal))
            left = float(column @ at.project(column[:, None])[:, 0])
            if left > _LEAST_NEW * before:
                statistics.append(float(column @ at.projected) / np.sqrt(left))
        found[axis] = float(max(statistics, key=abs))
    return found


def chi_squares(fit: JointFit) -> tuple[float, float]:
    """Return reduced chi-square with the scatter components and with measurement alone."""
    n, p = fit.model.design.shape
    if n <= p:
        return np.nan, np.nan
    bare = profile(fit.model, np.zeros(len(fit.model.components)))
    alone = np.nan if bare is None else float(fit.model.residual @ bare.projected) / (n - p)
    return float(fit.model.residual @ fit.profile.projected) / (n - p), alone


def notices_of(
    ranking: Ranking,
    where: str,
    conditions: Conditions,
    n_packs: int,
    pulls: Mapping[str, float],
    adequacy: Adequacy | None,
    profiles: Sequence[ParameterProfile],
) -> tuple[Notice, ...]:
    """Return everything the user must know about the fit of a group.

    `profiles` are those of the parameters of the chosen law.
    """
    return (
        *_on_packs(where, n_packs),
        *parameter_notices(ranking, where, conditions, profiles),
        *pull_notices(where, pulls),
        *_on_adequacy(ranking, where, adequacy),
    )


def _on_packs(where: str, n_packs: int) -> list[Notice]:
    if n_packs == 1:
        return [
            Notice(
                Severity.WARNING,
                where,
                "one pack only: intervals hold for that pack, and nothing can be said of the next",
                "Test at least three packs",
            )
        ]
    if n_packs == 2:
        return [
            Notice(
                Severity.NOTE,
                where,
                "two packs only: the spread between packs rests on one difference, "
                "so intervals are wide, and those of 95 % hold 91 to 97 %",
                "Test at least three packs",
            )
        ]
    return []


def pull_notices(where: str, pulls: Mapping[str, float]) -> list[Notice]:
    """Return the notices of sources that the fit moved far."""
    return [
        Notice(
            Severity.WARNING,
            where,
            f"source {name} is pulled by {value:+.1f} standard deviations",
            "Check what stands behind it: its calibration record, zero or radius",
        )
        for name, value in sorted(pulls.items(), key=lambda item: -abs(item[1]))
        if abs(value) > LARGE_PULL
    ]


def _on_adequacy(ranking: Ranking, where: str, adequacy: Adequacy | None) -> list[Notice]:
    """Say that the law, or every formula, misses the points."""
    if adequacy is None or not adequacy.flagged:
        return []
    if ranking.chosen.law.name == SURFACE:
        words = (
            f"every formula misses the points, so a smooth surface is taken. The best of them is "
            f"the {adequacy.law} law: {adequacy.words}"
        )
        do = "Use the surface within the tested range only; look there for what the formulas lack"
        return [Notice(Severity.WARNING, where, words, do)]
    tried = any(score.law == SURFACE for score in ranking.scores)
    return [
        Notice(
            Severity.WARNING,
            where,
            f"the {adequacy.law} law misses the points by more than chance: {adequacy.words}",
            "Look at the points there and at what sets their runs apart: a smooth surface "
            "through them predicts no better"
            if tried
            else "Look at the points there, or let all laws be tried",
        )
    ]
