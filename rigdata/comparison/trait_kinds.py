"""What a trait of a material is, and how it stands between two groups."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from rigdata.bedding.results import TimeToBed
from rigdata.comparison.pair_fits import PairFit
from rigdata.friction.results import FrictionFit, Group
from rigdata.reduction.points import FrictionPoints


@dataclass(frozen=True)
class Side:
    """A number with its standard uncertainty and 95 % interval."""

    value: float
    u: float
    low: float
    high: float


@dataclass(frozen=True)
class Measured:
    """A trait of two groups and what parts them.

    Attributes
    ----------
    group, against : Side
        The trait of each.
    difference : Side
        The first less the second, or over it where the trait is compared as a ratio.
    p : float
        Chance of a difference as large between equals.
    detectable : float
        Difference, or ratio, that these tests find four times in five.
    """

    group: Side
    against: Side
    difference: Side
    p: float
    detectable: float


@dataclass(frozen=True, eq=False)
class TraitPair:
    """What traits of two groups are measured on.

    Attributes
    ----------
    fitted : PairFit
        Their kinetic points in one fit.
    points : FrictionPoints
        All points of the campaign, those not used included.
    static : mapping of Group to FrictionFit
        Laws of breakaway, where it was tested.
    bedding : mapping of Group to TimeToBed
        What packs took to bed in, of groups in which that was seen.
    """

    fitted: PairFit
    points: FrictionPoints
    static: Mapping[Group, FrictionFit]
    bedding: Mapping[Group, TimeToBed]

    @property
    def groups(self) -> tuple[Group, Group]:
        """The two, the first being told relative to the second."""
        return self.fitted.group, self.fitted.against


@dataclass(frozen=True)
class TraitKind:
    """A trait that groups are compared by.

    Attributes
    ----------
    name, unit : str
    label : str
        Both in 14 characters at most, for tables.
    more, less : str
        What it means where the first group has more of it, and less.
    measure : function of TraitPair to Measured
        Raises ComparisonError, saying why, where it cannot be measured on both.
    neutral : float
        Value of the difference between equals: 1 where it is a ratio.
    """

    name: str
    unit: str
    label: str
    more: str
    less: str
    measure: Callable[[TraitPair], Measured]
    neutral: float = 0.0
