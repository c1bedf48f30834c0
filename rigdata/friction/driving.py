"""Which pack or run drives the result: one that lies apart, or on which nearly all rests.

Leaving out one of k packs moves mu by ``1 / sqrt(k - 1)`` of its uncertainty by chance
alone, so how far mu moves says little by itself.  A pack or run is named where mu moves
by half its uncertainty and it lies off all the others by more than their own scatter
explains, which is estimated without it; or where it carries most of the information on mu
although it is one of many.  The latter follows from how the tests were laid out, and the
uncertainty of mu tells of it; it is a warning only where next to nothing else is known.
Of three packs none can be told to lie apart: the other two do not show how packs scatter.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from rigdata.arrays import IntArray, TextArray
from rigdata.errors import Notice, Severity
from rigdata.friction.case_deletion import PACK, RUN, Deletion
from rigdata.friction.joint import JointFit
from rigdata.friction.nesting import numbered
from rigdata.friction.outliers import cutoff_of
from rigdata.friction.run_space import RunSpace

APART, CARRIES, DOMINATES = "apart", "carries", "dominates"
_LEAST_CHANGE = 0.5  # of u(mu): below, it does not matter what causes it
_LEAST_OTHERS = 3  # that show how packs or runs scatter
_MOST, _NEARLY_ALL = 2.0 / 3.0, 0.9  # of the information
_MANY = 8  # packs or runs
_TIMES_ITS_SHARE = 3.0  # a large share is no wonder where there are few


def judged(fit: JointFit, deletions: Sequence[Deletion]) -> tuple[Deletion, ...]:
    """Return the deletions of a fit with those marked that drive its result.

    Parameters
    ----------
    fit : JointFit
        Of one group.
    deletions : sequence of Deletion
        Of its packs and runs.
    """
    points, found = fit.design.blocks[0].points, list[Deletion]()
    for kind, names in ((PACK, points.pack), (RUN, points.run)):
        own = [one for one in deletions if one.kind == kind]
        count = numbered(names)[1]
        suspects = [one.name for one in own if abs(one.change_u or 0.0) >= _LEAST_CHANGE]
        apart = _apart(fit, kind, suspects) if suspects else set()
        for one in own:
            rests = _rests(one.leverage, count)
            found.append(replace(one, driving=APART if one.name in apart else rests))
    return tuple(found)


def _rests(leverage: float, count: int) -> str:
    """Say whether mu rests on one of `count` packs or runs more than it should."""
    if leverage > _NEARLY_ALL and count >= _MANY:
        return DOMINATES
    return CARRIES if leverage > max(_MOST, _TIMES_ITS_SHARE / count) else ""


def _apart(fit: JointFit, kind: str, suspects: Sequence[str]) -> set[str]:
    """Return which packs or runs lie off all the others by more than their scatter explains."""
    known = fit.design.known.get(kind)
    if kind not in fit.estimate.components:
        return set()
    names, space = _space(fit, kind)
    if names.size < _LEAST_OTHERS + 1 or (known is None and space.dof_without(()) < 2.0):
        return set()
    found = set()
    for name in suspects:
        (which,) = np.flatnonzero(names == name).tolist()
        if space.gram[which, which] <= space.least[which]:
            continue
        if known is None:
            there = space.fitted_without([which])
            dof = there.dof_without([which])
        else:
            there, dof = space, known.dof or 0.0
        if there.t([which])[0] > cutoff_of(names.size, dof):
            found.add(name)
    return found


def _space(fit: JointFit, kind: str) -> tuple[TextArray, RunSpace]:
    """Return the packs, or the runs within their packs, of a fit, and their names."""
    points = fit.design.blocks[0].points
    names, first = np.unique(points.pack if kind == PACK else points.run, return_index=True)
    pack_of: IntArray = np.unique(points.pack, return_inverse=True)[1][first]
    return names, RunSpace.of(fit.profile, kind, fit.estimate.variances, pack_of)


def driving_notices(deletions: Sequence[Deletion], where: str) -> tuple[Notice, ...]:
    """Return what the user must know of the packs and runs that drive the result.

    Parameters
    ----------
    deletions : sequence of Deletion
        As judged.
    where : str
        Name of the group.
    """
    found = []
    for one in deletions:
        if not one.driving:
            continue
        if one.driving == APART:
            why = "lies further from all the others than their scatter explains"
            do = f"Look at its log and its plates, or test one more {one.kind}"
        else:
            why = f"carries {100 * one.leverage:.0f} % of what is known of mu at the reference"
            do = f"Repeat it: a second {one.kind} at its conditions shows whether it is right"
        severity = Severity.NOTE if one.driving == CARRIES else Severity.WARNING
        found.append(Notice(severity, where, f"{one.title} {why}; {_moved(one)}", do))
    return tuple(found)


def _moved(one: Deletion) -> str:
    if one.mu is None or one.change is None or one.change_u is None:
        return "without it mu at the reference is not determined"
    return (
        f"without it mu at the reference would be {one.mu:.4f} instead of "
        f"{one.mu / (1.0 + one.change):.4f}, a change of {abs(one.change_u):.1f} times its "
        "uncertainty"
    )
