"""Named causes of uncertainty.

Two values that name the same source share the same error, so their covariance
is the sum over shared sources of the product of their contributions
(JCGM 100:2008, F.1.2.3).
"""

from __future__ import annotations

import enum
import math
from dataclasses import dataclass


class Scope(enum.Enum):
    """How far one realisation of an error reaches."""

    RIG = "rig"
    PACK = "pack"
    RUN = "run"
    POINT = "point"


class Effect(enum.Enum):
    """How a source's contribution to mu moves with mu itself.

    A proportional contribution (a gain, a radius) scales with the coefficient;
    an additive one (a zero, a drag torque) does not.  Fits rescale the
    proportional ones to the fitted curve, because contributions that carry the
    points' own noise would pull a fit low (Peelle's puzzle: R. W. Peelle, 1987;
    D'Agostini, Nucl. Instrum. Meth. A 346 (1994) 306).
    """

    PROPORTIONAL = "proportional"
    ADDITIVE = "additive"


class Distribution(enum.Enum):
    """How an error is spread about nil, with the standard uncertainty as its standard deviation.

    Limits without anything known between them give a rectangular distribution,
    the half-width of which is ``sqrt(3)`` standard deviations (JCGM 100:2008, 4.3.7).
    """

    NORMAL = "normal"
    RECTANGULAR = "rectangular"


@dataclass(frozen=True)
class Source:
    """One named cause of uncertainty.

    Attributes
    ----------
    id : str
        Unique name, built as ``kind:owner`` or ``kind:owner:part``, such as
        ``torque:TC-0312:slope``, ``zero:R014``, ``outer-radius:A1``.
    scope : Scope
        How far one realisation reaches.
    effect : Effect
        Whether its contribution scales with mu.
    label : str
        What it is, in words a test engineer uses.
    distribution : Distribution
        How its error is spread.
    dof : float
        Degrees of freedom of its standard uncertainty: finite where that was
        estimated from readings (type A), infinite where it was stated (type B).
    """

    id: str
    scope: Scope
    effect: Effect
    label: str
    distribution: Distribution = Distribution.NORMAL
    dof: float = math.inf

    def __hash__(self) -> int:
        return hash(self.id)  # sources are looked up by the hundred thousand

    @property
    def kind(self) -> str:
        """The part of the id before the first colon, such as ``torque``."""
        return self.id.split(":", 1)[0]
