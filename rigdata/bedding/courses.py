"""The points of a group in the order they were made, and what besides bedding-in moves mu."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigdata.arrays import BoolArray, FloatArray, IntArray, TextArray, frozen
from rigdata.bedding.noise import Layout
from rigdata.friction.design import conditions_of
from rigdata.friction.laws.knots import coordinate, knots_along
from rigdata.friction.laws.natural_spline import line_and_bends
from rigdata.friction.nesting import numbered
from rigdata.friction.results import Group
from rigdata.reduction.points import FrictionPoints
from rigdata.reduction.slip import LEAST_STICK

NOT_BEDDED = "not yet bedded in"  # why a point of another than a bedding run is not used

# How far mu may follow its conditions, as standard deviations of ln mu: over the slip
# speeds tested, and for 50 K, a factor e of pressure, and squares and products of
# these.  Common practice, no source.
_SPEED, _OTHERS = 0.3, 0.1
_KELVIN = 50.0
_PER_KELVIN = 1e-3  # that mu may follow a shift of its temperature
_LOOSE = 3.0  # standard deviations of a source for one of its factor here


@dataclass(frozen=True, eq=False)
class Courses:
    """The kinetic points of one group, pack after pack, each in the order they were made.

    Attributes
    ----------
    packs : tuple of p str
    starts : (p,) int
        First point of each pack.
    point, run : (n,) str
        Name of each point, and its run.
    work_kj, sliding_s, engagements : (n,) float
        What the pack had done up to each, as in `FrictionPoints`.
    value : (n,) float
        ln mu.
    surroundings : (n, q) float
        What moves ln mu beside bedding-in, each column for one standard deviation of
        what it may be: conditions, and the sources that runs share.
    layout : Layout
        Runs, and what measurement alone explains of the scatter.
    least : (n,) bool
        Whether the work is the least it can be, as runs could not be read.
    """

    packs: tuple[str, ...]
    starts: IntArray
    point: TextArray
    run: TextArray
    work_kj: FloatArray
    sliding_s: FloatArray
    engagements: FloatArray
    value: FloatArray
    surroundings: FloatArray
    layout: Layout
    least: BoolArray

    def __post_init__(self) -> None:
        for name in ("work_kj", "sliding_s", "engagements", "value", "surroundings"):
            object.__setattr__(self, name, frozen(getattr(self, name)))

    @property
    def rows(self) -> dict[str, slice]:
        """The points of each pack."""
        ends = [*self.starts[1:].tolist(), self.value.size]
        parts = zip(self.packs, self.starts.tolist(), ends, strict=True)
        return {pack: slice(start, end) for pack, start, end in parts}

    def select(self, kept: BoolArray) -> Courses:
        """Return the courses with the points in `kept` alone; every pack keeps some."""
        names = ("point", "run", "work_kj", "sliding_s", "engagements", "value", "least")
        counts = np.add.reduceat(kept.astype(np.int64), self.starts)
        return Courses(
            packs=self.packs,
            starts=np.cumsum([0, *counts[:-1]]),
            surroundings=self.surroundings[kept],
            layout=Layout(self.layout.run[kept], self.layout.known[kept]),
            **{name: getattr(self, name)[kept] for name in names},
        )


def courses_of(points: FrictionPoints, group: Group, least_points: int) -> Courses | None:
    """Return the courses of the packs of a group that have points enough.

    Parameters
    ----------
    points : FrictionPoints
        Of a whole campaign.  Those of bedding runs and those kept out as not yet bedded
        in count as the others do; those not used for another reason do not.
    group : Group
    least_points : int
        Points that a pack needs whose sliding work is known.

    Returns
    -------
    Courses or None
        None where no pack has them.
    """
    own = points.select(_members(points, group))
    packs = tuple(
        name for name in dict.fromkeys(own.pack.tolist())
        if int(np.sum(own.pack == name)) >= least_points
    )  # fmt: skip
    if not packs:
        return None
    parts = [_in_order(own, np.flatnonzero(own.pack == name)) for name in packs]
    own = own.select(np.concatenate(parts))
    return Courses(
        packs=packs,
        starts=np.cumsum([0, *(part.size for part in parts[:-1])]),
        point=own.point,
        run=own.run,
        work_kj=own.pack_work_kj,
        sliding_s=own.pack_sliding_s,
        engagements=own.pack_engagements,
        value=np.log(own.mu),
        surroundings=np.concatenate([_conditions(own), _sources(own)], axis=1),
        layout=Layout(numbered(own.run)[0], own.u_random / own.mu),
        least=own.runs_not_counted > 0.0,
    )


def _members(points: FrictionPoints, group: Group) -> BoolArray:
    mine = (points.material == group.material) & (points.state == group.state)
    bedding = (points.procedure == "bedding") & ~(points.stick_share >= LEAST_STICK)
    members: BoolArray = (
        mine
        & (points.kind == "kinetic")
        & (np.minimum(points.mu, points.pressure_mpa) > 0.0)
        & (points.slip_speed_m_s > 0.0)
        & np.isfinite(points.pack_work_kj)
        & (points.used | bedding | (points.reason == NOT_BEDDED))
    )
    return members


def _in_order(points: FrictionPoints, own: IntArray) -> IntArray:
    """Return the points `own` run by run, both in the order of work."""
    work, run = points.pack_work_kj[own], points.run[own]
    first = {name: float(work[run == name].min()) for name in dict.fromkeys(run.tolist())}
    began = np.array([first[name] for name in run.tolist()])
    return own[np.lexsort((points.start_s[own], work, run, began))]


def _conditions(points: FrictionPoints) -> FloatArray:
    """Return columns that follow ln mu over the conditions, (n, q).

    A spline over ln slip speed, lines over temperature and ln pressure, and their
    squares and products.
    """
    conditions = conditions_of(points)
    knots = knots_along(conditions, "slip_speed_m_s")
    places = tuple(coordinate("slip_speed_m_s", knots).tolist())
    speed = np.zeros((len(points), 0))
    if len(places) > 1:
        speed = line_and_bends(places, coordinate("slip_speed_m_s", points.slip_speed_m_s))
    heat = (points.temperature_c - points.temperature_c.mean()) / _KELVIN
    load = np.log(points.pressure_mpa) - np.log(points.pressure_mpa).mean()
    both = [heat**2, heat * load, load**2, *(speed[:, :1].T * heat), *(speed[:, :1].T * load)]
    return np.column_stack([_SPEED * speed, *(_OTHERS * each for each in (heat, load, *both))])


def _sources(points: FrictionPoints) -> FloatArray:
    """Return what sources that runs share may do to ln mu, (n, m).

    Their contributions, and their shifts of the temperature as far as mu may follow
    that.  They are held loosely: they must come out, and what is told of bedding-in
    should not rest on how well each was stated.
    """
    relative = points.contributions.toarray() / points.mu[:, None]
    shifts = points.condition_shifts[1].toarray() if points.condition_shifts else relative[:, :0]
    columns: FloatArray = np.concatenate([relative, _PER_KELVIN * shifts], axis=1)
    runs, _ = numbered(points.run)
    first = np.where(columns != 0.0, runs[:, None], runs.max()).min(axis=0)
    last = np.where(columns != 0.0, runs[:, None], 0).max(axis=0)
    return _LOOSE * columns[:, first < last]
