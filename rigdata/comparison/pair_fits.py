"""Pairs of groups that are compared, each fitted together.

Sources with one id are one source in a joint fit, so what both groups have in common
cancels by itself in whatever is compared of them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from rigdata.campaign.campaign import Reference
from rigdata.comparison.pairs import pairs, quoted_place
from rigdata.errors import ComparisonError, FitError, Notice
from rigdata.friction.conditions import Conditions
from rigdata.friction.fit import split
from rigdata.friction.joint import JointFit, joint_fit
from rigdata.friction.results import FrictionFit, Group
from rigdata.reduction.points import FrictionPoints
from rigdata.steps import Progress, counted


@dataclass(frozen=True, eq=False)
class PairFit:
    """Two groups in one fit.

    Attributes
    ----------
    group, against : Group
        The first is told relative to the second.
    fits : (FrictionFit, FrictionFit)
        Each alone: laws, envelopes, and where the joint fit started.
    place : Conditions
        The condition to quote.
    joint : JointFit
        Both together, the points of `group` first.
    notices : tuple of Notice
        Such as a quoted condition that is not the reference.
    """

    group: Group
    against: Group
    fits: tuple[FrictionFit, FrictionFit]
    place: Conditions
    joint: JointFit
    notices: tuple[Notice, ...] = ()


def fit_pairs(
    points: FrictionPoints,
    fits: Mapping[Group, FrictionFit],
    *,
    baseline: str,
    reference: Reference,
    progress: Progress | None = None,
) -> tuple[PairFit, ...]:
    """Fit each material with the baseline, and each state with the new one.

    Pairs without a common condition or a joint fit are left out.

    Raises
    ------
    ComparisonError
        When no pair can be compared.
    """
    own = split(points, "kinetic")
    found = []
    named = {f"{one} with {other}": (one, other) for one, other in pairs(fits, baseline)}
    for words in counted(progress, "comparing", named):
        group, against = named[words]
        place, notices = quoted_place(fits, group, against, reference)
        if place is None:
            continue
        try:
            joint = fit_pair(own, fits, group, against)
        except FitError:
            continue
        both = (fits[group], fits[against])
        found.append(PairFit(group, against, both, place, joint, notices))
    if not found:
        raise ComparisonError(
            "no two groups can be compared",
            where=f"baseline {baseline}",
            expected="a fit of the baseline and of another material in the same state, or of two "
            "states of one material, with a common condition",
            do="Test both at the reference condition",
        )
    return tuple(found)


def fit_pair(
    own: Mapping[Group, FrictionPoints],
    fits: Mapping[Group, FrictionFit],
    group: Group,
    against: Group,
) -> JointFit:
    """Fit two groups together, each with the law and the choice of scatter of its own fit."""
    blocks = [fits[which].block(own[which]) for which in (group, against)]
    start = np.concatenate([fits[which].theta for which in (group, against)])
    return joint_fit(blocks, fits[group].reference, [start])
