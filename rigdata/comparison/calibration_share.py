"""What the rig's calibration adds to the variance of a ratio: little, where it cancels."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.friction.budget import joint_solution, source_effects
from rigdata.friction.joint import JointFit
from rigdata.uncertainty.identity import RADIUS_LAW
from rigdata.uncertainty.sources import Scope

_CANCELLED, _WHOLE = 0.1, 0.9  # of what it would be with nothing in common
_SHOWN = 0.005  # part of the variance from which the radius law is told


@dataclass(frozen=True)
class CalibrationShare:
    """Causes that reach over the whole rig, in the variance of one ratio.

    Attributes
    ----------
    share : float
        Part of the variance that comes from the rig's calibration, from 0 to 1.
    left : float
        Its variance over what it would be if the two groups shared no source.
    radius_law : float
        Part of the variance from how the pressure lies on the faces; next to nothing
        under one law, and not under two.
    """

    share: float
    left: float
    radius_law: float


def calibration_share(joint: JointFit, gradient: FloatArray) -> CalibrationShare:
    """Return the share for a number of a joint fit of two groups.

    Parameters
    ----------
    joint : JointFit
    gradient : (P,) array
        Derivatives of the logarithm of the ratio by all parameters.

    Notes
    -----
    A source moves ln of the ratio by the difference of what it does to the two, so
    that its variance is ``(e_A - e_B)^2`` and, were it two sources, ``e_A^2 + e_B^2``
    (JCGM 100:2008, 5.2.2).
    """
    solution = joint_solution(joint)
    alone = []
    for part in joint.design.columns:
        own = np.zeros_like(gradient)
        own[part] = gradient[part]
        alone.append(source_effects(solution, own))
    total = float(joint.estimate.variance(gradient[None, :])[0])
    sources = joint.design.every_source
    law = np.array([source.kind == RADIUS_LAW for source in sources], dtype=bool)
    rig = np.array([source.scope is Scope.RIG for source in sources], dtype=bool) & ~law
    shared = np.square(np.sum(alone, axis=0))
    apart = np.sum(np.square(alone), axis=0)
    whole = float(np.sum(apart[rig]))
    return CalibrationShare(
        share=float(np.sum(shared[rig])) / total,
        left=float(np.sum(shared[rig])) / whole if whole > 0.0 else 0.0,
        radius_law=float(np.sum(shared[law])) / total,
    )


def calibration_words(found: CalibrationShare) -> str:
    """Return in one sentence whether the rig's calibration cancels from a ratio.

    >>> calibration_words(CalibrationShare(0.012, 0.02, 0.0))
    "the rig's calibration makes 1.2 % of the variance of the ratio: it cancels"
    """
    if found.left <= _CANCELLED:
        ending = "it cancels"
    elif found.left < _WHOLE:
        ending = "it cancels in part, for the two share some of it alone"
    else:
        ending = "it does not cancel, for the two share no calibration"
    words = f"the rig's calibration makes {_percent(found.share)} of the variance of the ratio"
    if found.radius_law >= _SHOWN:
        ending += (
            f"; their packs state different pressure laws, which makes {_percent(found.radius_law)}"
        )
    return f"{words}: {ending}"


def _percent(share: float) -> str:
    return f"{100.0 * share:.2g} %" if share >= 0.0005 else "less than 0.1 %"
