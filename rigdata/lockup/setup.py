"""From a wanted lock back to the setup: preload, ramps, plates."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from scipy import optimize

from rigdata.errors import TableError
from rigdata.lockup.description import LockPack
from rigdata.lockup.difference import difference
from rigdata.lockup.torque import DRIVE, Lock, lock_torque, speed_difference
from rigdata.tables.table import CoefficientTable

_MOST_N = 1e6
_STEP = 0.01  # of a preload, for its slope


@dataclass(frozen=True)
class NeededPreload:
    """A preload that gives what was wanted.

    Attributes
    ----------
    value_n : float
        [N]
    low_n, high_n : float
        95 % interval for the means of such packs. [N]
    next_low_n, next_high_n : float
        The same for one more pack; NaN where only one pack was tested. [N]
    lock : Lock
        What the pack then locks with.
    tested : bool
        Whether the friction was tested under that force.
    """

    value_n: float
    low_n: float
    high_n: float
    next_low_n: float
    next_high_n: float
    lock: Lock
    tested: bool


@dataclass(frozen=True)
class Operation:
    """Where a pack is looked at.

    Attributes
    ----------
    input_torque_nm : float
        [N m]
    temperature_c : float
        Of the plates. [degC]
    speed_difference_rad_s : float or None
        Between the outputs; that of the table's reference where None. [rad/s]
    side : str
        ``drive`` or ``coast``.
    """

    input_torque_nm: float
    temperature_c: float
    speed_difference_rad_s: float | None = None
    side: str = DRIVE

    def lock(self, pack: LockPack, table: CoefficientTable, *, outside: bool = True) -> Lock:
        """Return the lock torque of a pack there."""
        return lock_torque(
            pack,
            table,
            self.input_torque_nm,
            self.temperature_c,
            speed_difference_rad_s=self.speed_difference_rad_s,
            side=self.side,
            outside=outside,
        )


@dataclass(frozen=True)
class Lever:
    """What one change of the setup does to the lock torque.

    Attributes
    ----------
    name : str
        The change, in words.
    change_nm : float
        Lock torque with it less that without it. [N m]
    half_nm, next_half_nm : float
        Half its 95 % interval, for the means of such packs and for one more. [N m]
    tested : bool
        Whether the friction was tested there.
    """

    name: str
    change_nm: float
    half_nm: float
    next_half_nm: float
    tested: bool


def with_preload(pack: LockPack, force_n: float) -> LockPack:
    """Return the pack with another preload, known as well as its own in proportion."""
    own = pack.preload
    share = own.u_n / own.force_n if own.force_n > 0.0 else 0.0
    return replace(pack, preload=replace(own, force_n=force_n, u_n=share * force_n))


def same_lock(
    pack: LockPack, table: CoefficientTable, other: CoefficientTable, where: Operation
) -> NeededPreload:
    """Return the preload at which plates of another material lock alike.

    Parameters
    ----------
    pack : LockPack
    table, other : CoefficientTable
        Of the plates in the pack, and of those to be put in.
    where : Operation
        Where the two are to be alike.

    Raises
    ------
    TableError
        When no preload does, because the ramps alone lock more, or the friction was not
        tested there.

    Notes
    -----
    The interval is that of the difference between the two lock torques, in which the
    calibration of a common rig cancels, over the slope of the lock torque with preload.
    """
    wanted = where.lock(pack, table, outside=False)
    bare = replace(pack, preload=replace(pack.preload, u_n=0.0))
    target = float(where.lock(bare, table).lock_nm[0])
    force = _solved(lambda n: _lock_nm(where, with_preload(bare, n), other) - target)
    if force is None:
        raise _no_preload(pack, other, where, target)
    there = where.lock(with_preload(pack, force), other)
    apart = difference(there, wanted)
    slope = _slope(where, pack, other, force)
    return _preload(force, float(apart.half_nm[0]), float(apart.next_half_nm[0]), slope, there)


def preload_for_breakaway(
    pack: LockPack, table: CoefficientTable, torque_nm: float, temperature_c: float
) -> NeededPreload:
    """Return the preload at which one output breaks away under a torque on the bench.

    Parameters
    ----------
    pack : LockPack
    table : CoefficientTable
        Of breakaway, in that state of wear.
    torque_nm : float
        On one output, with the other one held and the case free. [N m]
    temperature_c : float
        Of the plates. [degC]

    Raises
    ------
    TableError
        When the friction was not tested there.

    Notes
    -----
    That takes half the lock torque, with nothing from the ramps:
    ``dT / 2 = mu_s F sum(N_i r_i) / 2``.
    """
    where = Operation(0.0, temperature_c, 0.0)
    force = _solved(lambda n: _lock_nm(where, with_preload(pack, n), table) - 2.0 * torque_nm)
    if force is None:
        raise _no_preload(pack, table, where, 2.0 * torque_nm)
    there = where.lock(with_preload(pack, force), table)
    half, more = there.high_nm - there.lock_nm, there.next_high_nm - there.lock_nm
    slope = _slope(where, pack, table, force)
    return _preload(force, float(half[0]), float(more[0]), slope, there)


def levers(
    pack: LockPack,
    table: CoefficientTable,
    where: Operation,
    others: Mapping[str, CoefficientTable] | None = None,
    *,
    hotter_k: float = 30.0,
) -> list[Lever]:
    """Return what the changes that a workshop can make do to the lock torque, largest first.

    Parameters
    ----------
    pack : LockPack
    table : CoefficientTable
        Of the plates in it.
    where : Operation
    others : mapping of str to CoefficientTable, optional
        Plates that could be put in, by name.
    hotter_k : float
        What heat to set beside them. [K]
    """
    if where.speed_difference_rad_s is None:
        reference = speed_difference(pack, table.reference[0])
        where = replace(where, speed_difference_rad_s=reference)
    before = where.lock(pack, table, outside=False)
    found = []
    for name, (other, changed, place) in {
        **_changes(pack, table, where, hotter_k),
        **{f"plates: {name}": (new, pack, where) for name, new in (others or {}).items()},
    }.items():
        after = place.lock(changed, other)
        apart = difference(after, before)
        half, more = float(apart.half_nm[0]), float(apart.next_half_nm[0])
        found.append(Lever(name, float(apart.value_nm[0]), half, more, bool(after.tested[0])))
    return sorted(found, key=lambda lever: -abs(lever.change_nm))


Change = tuple[CoefficientTable, LockPack, Operation]


def _changes(
    pack: LockPack, table: CoefficientTable, where: Operation, hotter_k: float
) -> dict[str, Change]:
    key = f"{where.side}_deg"
    angle = getattr(pack.ramps, key)
    flatter = max(angle - 5.0, 1.0)
    more_faces = replace(pack, faces=pack.faces + 2)
    assert where.speed_difference_rad_s is not None
    faster = replace(where, speed_difference_rad_s=2.0 * where.speed_difference_rad_s)
    hotter = replace(where, temperature_c=where.temperature_c + hotter_k)
    preload = with_preload(pack, 1.2 * pack.preload.force_n)
    ramps = replace(pack, ramps=replace(pack.ramps, **{key: flatter}))
    return {
        "preload 20 % more": (table, preload, where),
        f"{where.side} ramps at {flatter:g} deg, not {angle:g}": (table, ramps, where),
        "two more faces a side": (table, more_faces, where),
        f"plates {hotter_k:g} K hotter": (table, pack, hotter),
        "outputs twice as far apart in speed": (table, pack, faster),
    }


def _lock_nm(where: Operation, pack: LockPack, table: CoefficientTable) -> float:
    return float(where.lock(pack, table).lock_nm[0])


def _solved(excess: Callable[[float], float]) -> float | None:
    """Return the preload at which a rising excess is 0; None where it is above 0 from the start."""
    if excess(0.0) > 0.0:
        return None
    high = 100.0
    while excess(high) < 0.0:
        high *= 2.0
        if high > _MOST_N:
            return None
    return float(optimize.brentq(excess, 0.0, high, xtol=1e-6))


def _slope(where: Operation, pack: LockPack, table: CoefficientTable, force: float) -> float:
    """Return how the lock torque rises with preload. [m]"""
    step = max(_STEP * force, 1.0)
    ends = (_lock_nm(where, with_preload(pack, force + side), table) for side in (0.0, step))
    low, high = ends
    return (high - low) / step


def _preload(force: float, half: float, more: float, slope: float, lock: Lock) -> NeededPreload:
    width, wider = half / slope, more / slope
    return NeededPreload(
        force,
        max(force - width, 0.0),
        force + width,
        max(force - wider, 0.0) if math.isfinite(wider) else wider,
        force + wider,
        lock,
        bool(lock.tested[0]),
    )


def _no_preload(
    pack: LockPack, table: CoefficientTable, where: Operation, wanted: float
) -> TableError:
    ramps = _lock_nm(where, with_preload(pack, 0.0), table)
    return TableError(
        f"no preload gives {wanted:.0f} N m: the ramps alone lock with {ramps:.0f} N m",
        where=f"pack {pack.name} with {table.material} ({table.state})",
        do="Change the ramps or the number of faces first",
    )
