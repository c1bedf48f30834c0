"""What is found of the bedding-in of a campaign."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from rigdata.arrays import FloatArray, frozen
from rigdata.errors import Notice
from rigdata.friction.results import Group

BEDDED = "bedded"
STEADY = "steady from the start"
NOT_YET = "not yet steady"
CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, eq=False)
class PackBedding:
    """When one pack became steady.

    Attributes
    ----------
    pack : str
    group : Group
    verdict : str
        `BEDDED`, `STEADY`, `NOT_YET` or `CANNOT_TELL`.
    words : str
        The verdict in a sentence.
    work_kj, low_kj, high_kj : float
        Sliding work from which mu is steady, and its 95 % interval; the upper end is
        infinite where the tests do not show one.  NaN for other verdicts than
        `BEDDED` and `NOT_YET`.
    work_j_mm2 : float
        The same work over the area of all friction faces.
    engagements, sliding_min : float
        How often the pack had begun to slip by then in these tests, and for how long.
    runs : int
        Runs of the pack begun by then; 0 where there is no such work.
    change, u_change : float
        Change of mu at the first point from its steady level, relative to that, and
        its standard uncertainty; NaN where nothing was fitted.
    least : bool
        Whether runs could not be read, so that the work is the least it can be.
    n_points, n_runs : int
        What it rests on.
    course_kj, course : (n,) float
        The points: sliding work, and mu over its steady level at the same condition.
    fitted : (n,) float
        What was fitted to them; 1 everywhere for a level.
    """

    pack: str
    group: Group
    verdict: str
    words: str
    work_kj: float
    low_kj: float
    high_kj: float
    work_j_mm2: float
    engagements: float
    sliding_min: float
    runs: int
    change: float
    u_change: float
    least: bool
    n_points: int
    n_runs: int
    course_kj: FloatArray
    course: FloatArray
    fitted: FloatArray

    def __post_init__(self) -> None:
        for name in ("course_kj", "course", "fitted"):
            object.__setattr__(self, name, frozen(getattr(self, name)))

    @property
    def kept_out_to_kj(self) -> float:
        """Sliding work before which points are not those of a bedded pack.

        The best estimate, not the upper end of its interval: at the estimate what is
        left of the change is the tolerance and from there on less, while the upper end
        would cost the more good points the less the tests resolve.
        """
        return self.work_kj if self.verdict in (BEDDED, NOT_YET) else -np.inf


@dataclass(frozen=True)
class TimeToBed:
    """The sliding work that the packs of a group take to bed in.

    Attributes
    ----------
    group : Group
    n_packs : int
        Packs it rests on: those found to be bedded.
    n_others : int
        Packs that were steady from the first point, not yet steady, or not to tell.
    work_to_bed_kj, low, high : float
        Median over packs, and its 95 % interval. [kJ]
    next_pack_low, next_pack_high : float
        95 % interval for one more pack; NaN after one. [kJ]
    work_j_mm2 : float
        The median over the area of all friction faces.
    words : str
    """

    group: Group
    n_packs: int
    n_others: int
    work_to_bed_kj: float
    low: float
    high: float
    next_pack_low: float
    next_pack_high: float
    work_j_mm2: float
    words: str


@dataclass(frozen=True, eq=False)
class Bedding:
    """The bedding-in of a campaign.

    Attributes
    ----------
    steady : float
        How near to its level mu counts as steady, relative.
    packs : tuple of PackBedding
        In the order of the points.
    groups : mapping of Group to TimeToBed
        Groups with a pack that was found to be bedded.
    notices : tuple of Notice
    """

    steady: float
    packs: tuple[PackBedding, ...]
    groups: Mapping[Group, TimeToBed]
    notices: tuple[Notice, ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "groups", MappingProxyType(dict(self.groups)))
