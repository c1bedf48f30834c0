"""The questions that ``rigdata lock`` answers, each by a function of its own."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import click

from rigdata.cli.lock_words import (
    change_rows,
    change_words,
    event_rows,
    event_table,
    head_words,
    lever_table,
    lock_rows,
    lock_table,
    preload_row,
    preload_words,
    set_preload,
    side_by_side,
    slope_words,
)
from rigdata.cli.terminal import paragraph
from rigdata.errors import TableError
from rigdata.lockup.description import LockPack
from rigdata.lockup.event import slip_event
from rigdata.lockup.setup import (
    NeededPreload,
    Operation,
    levers,
    preload_for_breakaway,
    same_lock,
    with_preload,
)
from rigdata.lockup.torque import COAST, DRIVE, Lock, lock_torque
from rigdata.tables.table import CoefficientTable

OVERVIEW = "overview"
_TORQUES = (0.0, 100.0, 200.0, 300.0, 400.0, 600.0, 800.0)
_RPMS = (5.0, 10.0, 20.0, 40.0, 80.0, 160.0)
_TEMPERATURES = (60.0, 90.0, 120.0, 150.0)
_EVENT_RPM = 60.0
_COLD, _HOT = 60.0, 120.0


@dataclass(frozen=True)
class Question:
    """What was asked; nothing where a default will do."""

    pack: LockPack
    table: CoefficientTable
    others: tuple[CoefficientTable, ...]
    torques: tuple[float, ...] | None
    temperatures: tuple[float, ...] | None
    rpms: tuple[float, ...] | None
    coast: bool
    breakaway_nm: float | None
    seconds: float
    cooling_w_k: float

    @property
    def side(self) -> str:
        """The ramps that work."""
        return COAST if self.coast else DRIVE

    @property
    def torque(self) -> float:
        """One input torque. [N m]"""
        return (self.torques or (400.0,))[0]

    @property
    def several_torques(self) -> tuple[float, ...]:
        """Input torques of a table. [N m]"""
        return self.torques if self.torques and len(self.torques) > 1 else _TORQUES

    @property
    def temperature(self) -> float:
        """One temperature of the plates. [degC]"""
        return (self.temperatures or (self.table.reference[1],))[0]

    @property
    def speed(self) -> float | None:
        """One difference in speed; None for that of the reference. [rad/s]"""
        return _rad_s(self.rpms[0]) if self.rpms else None

    @property
    def operation(self) -> Operation:
        """One operating point."""
        return Operation(self.torque, self.temperature, self.speed, self.side)

    @property
    def other(self) -> CoefficientTable:
        """The other plates, which must be given."""
        if not self.others:
            raise click.UsageError("This needs the table of other plates: give --against FOLDER.")
        return self.others[0]


@dataclass(frozen=True)
class Answer:
    """What is printed, what JSON holds, and what was not tested."""

    text: str
    content: dict[str, object]
    missing: tuple[str, ...] = ()


@dataclass(frozen=True)
class View:
    """One question: in words, and the function that answers it."""

    words: str
    of: Callable[[Question], Answer]


def overview(asked: Question) -> Answer:
    """Lock torque on drive and coast, and the preload that other plates need."""
    tables = [asked.table, *asked.others]
    locks = {
        side: [_against_torque(asked, table, side) for table in tables] for side in (DRIVE, COAST)
    }
    parts, answers, rows = [], [], []
    for side, each in locks.items():
        parts.append(head_words(asked.pack, side) + "\n" + side_by_side(each))
        rows += [row for lock in each for row in lock_rows(lock)]
    untested = _untested(*(lock for each in locks.values() for lock in each))
    for other in asked.others:
        found = same_lock(asked.pack, asked.table, other, asked.operation)
        answers.append({"material": other.material, "state": other.state, **preload_row(found)})
        parts.append(paragraph(_swap_words(asked, other, found)))
        untested += _untested(found.lock)
    if asked.others:
        builds = [_against_speed(asked, table) for table in tables]
        parts.append("\n".join(paragraph(slope_words(lock), indent="  ") for lock in builds))
    return Answer("\n\n".join(parts) + "\n", {"rows": rows, "same_lock": answers}, untested)


def by_torque(asked: Question) -> Answer:
    """Lock torque against input torque."""
    locks = [_against_torque(asked, asked.table, side) for side in (DRIVE, COAST)]
    parts = [
        head_words(asked.pack, lock.side, lock.table) + "\n" + lock_table(lock, by="torque")
        for lock in locks
    ]
    rows = [row for lock in locks for row in lock_rows(lock)]
    return Answer("\n\n".join(parts) + "\n", {"rows": rows}, _untested(*locks))


def by_speed(asked: Question) -> Answer:
    """Build-up with the difference in speed."""
    lock = _against_speed(asked, asked.table)
    head = head_words(asked.pack, lock.side, lock.table)
    text = f"{head}\n{lock_table(lock, by='rpm')}\n{paragraph(slope_words(lock), indent='  ')}\n"
    return Answer(text, {"rows": lock_rows(lock)}, _untested(lock))


def by_temperature(asked: Question) -> Answer:
    """Lock torque against the temperature of the plates."""
    lock = lock_torque(
        asked.pack,
        asked.table,
        asked.torque,
        asked.temperatures or _TEMPERATURES,
        speed_difference_rad_s=asked.speed,
        side=asked.side,
    )
    text = head_words(asked.pack, lock.side, lock.table) + "\n" + lock_table(lock, by="temperature")
    return Answer(text + "\n", {"rows": lock_rows(lock)}, _untested(lock))


def heat(asked: Question) -> Answer:
    """Heating in a slip event."""
    event = slip_event(
        asked.pack,
        asked.table,
        asked.torque,
        asked.speed if asked.speed is not None else _rad_s(_EVENT_RPM),
        asked.temperature,
        asked.seconds,
        side=asked.side,
        cooling_w_k=asked.cooling_w_k,
    )
    head = head_words(asked.pack, event.lock.side, event.lock.table)
    missing: tuple[str, ...] = ()
    if event.ended_s is not None:
        missing = (f"cut off after {event.ended_s:.1f} s, where plates leave what was tested",)
    content: dict[str, object] = {"ended_s": event.ended_s, "rows": event_rows(event)}
    return Answer(f"{head}\n{event_table(event)}\n", content, missing)


def breakaway(asked: Question) -> Answer:
    """Preload for a breakaway torque on the bench."""
    table, wanted = asked.table, asked.breakaway_nm
    if wanted is None:
        raise click.UsageError("Which torque is wanted on the bench? Give --breakaway N_M.")
    if table.static is None:
        raise TableError(
            "there is no breakaway coefficient",
            where=str(table),
            do="Test breakaways of these plates, and fit them",
        )
    found = preload_for_breakaway(asked.pack, table.static, wanted, asked.temperature)
    words = (
        f"One output breaks away at {wanted:g} N m, with the other one held and the case free, "
        f"at {asked.temperature:g} degC with {table.material} ({table.state}): "
    )
    text = paragraph(words + preload_words(found))
    return Answer(text + "\n", preload_row(found), _untested(found.lock))


def swap(asked: Question) -> Answer:
    """Preload that keeps the lock with other plates."""
    found = same_lock(asked.pack, asked.table, asked.other, asked.operation)
    text = paragraph(_swap_words(asked, asked.other, found))
    content = {"before_n": asked.pack.preload.force_n, **preload_row(found)}
    return Answer(text + "\n", content, _untested(found.lock))


def change(asked: Question) -> Answer:
    """Lock from new to worn and from cold to hot."""
    cold, hot = (*(asked.temperatures or ()), _COLD, _HOT)[:2]
    if asked.temperatures and len(asked.temperatures) != 2:
        raise click.UsageError("Give two temperatures, cold and hot: --temperature 60,120.")
    locks = {
        (f"{table.material} ({table.state})", words): Operation(
            asked.torque, at, asked.speed, asked.side
        ).lock(asked.pack, table)
        for table in (asked.table, asked.other)
        for words, at in (("cold", cold), ("hot", hot))
    }
    text = head_words(asked.pack, asked.side) + "\n" + change_words(locks)
    return Answer(text + "\n", {"rows": change_rows(locks)}, _untested(*locks.values()))


def which_lever(asked: Question) -> Answer:
    """What moves the lock most."""
    named = {f"{one.material} ({one.state})": one for one in asked.others}
    before = asked.operation.lock(asked.pack, asked.table, outside=False)
    found = levers(asked.pack, asked.table, asked.operation, named)
    now = f"Now it locks with {float(before.lock_nm[0]):.0f} N m at {asked.torque:g} N m."
    head = head_words(asked.pack, before.side, before.table)
    text = f"{head}\n{now}\n{lever_table(before, found)}\n"
    content = {"lock_nm": float(before.lock_nm[0]), "rows": [vars(lever) for lever in found]}
    return Answer(text, content, tuple(lever.name for lever in found if not lever.tested))


VIEWS = {
    OVERVIEW: View("drive and coast, and the preload that --against needs", overview),
    "torque": View("lock against input torque", by_torque),
    "speed": View("build-up with the difference in speed", by_speed),
    "temperature": View("lock against plate temperature", by_temperature),
    "heat": View("plates in a slip event", heat),
    "breakaway": View("preload for --breakaway", breakaway),
    "swap": View("preload that keeps the lock with --against", swap),
    "change": View("from --table, new, to --against, worn, cold and hot", change),
    "levers": View("which change of the setup moves the lock most", which_lever),
}


def drawn_setups(asked: Question) -> dict[str, tuple[LockPack, CoefficientTable]]:
    """Return what a figure shows: each table with the preload as it is, and with the one needed."""
    now = f"{asked.pack.preload.force_n:.0f} N"
    setups = {
        f"{table.material} ({table.state}), {now}": (asked.pack, table)
        for table in (asked.table, *asked.others)
    }
    for other in asked.others:
        found = same_lock(asked.pack, asked.table, other, asked.operation)
        name = f"{other.material} ({other.state}), {set_preload(found):.0f} N"
        setups[name] = (with_preload(asked.pack, found.value_n), other)
    return setups


def _swap_words(asked: Question, other: CoefficientTable, found: NeededPreload) -> str:
    table = asked.table
    return (
        f"{other.material} ({other.state}) locks as {table.material} ({table.state}) does with "
        f"{asked.pack.preload.force_n:.0f} N, at {asked.torque:g} N m and "
        f"{asked.temperature:g} degC: {preload_words(found)}"
    )


def _against_torque(asked: Question, table: CoefficientTable, side: str) -> Lock:
    return lock_torque(
        asked.pack,
        table,
        asked.several_torques,
        asked.temperature,
        speed_difference_rad_s=asked.speed,
        side=side,
    )


def _against_speed(asked: Question, table: CoefficientTable) -> Lock:
    several: Sequence[float] = asked.rpms if asked.rpms and len(asked.rpms) > 1 else _RPMS
    return lock_torque(
        asked.pack,
        table,
        asked.torque,
        asked.temperature,
        speed_difference_rad_s=[_rad_s(rpm) for rpm in several],
        side=asked.side,
    )


def _rad_s(rpm: float) -> float:
    return rpm * math.pi / 30.0


def _untested(*locks: Lock) -> tuple[str, ...]:
    if all(lock.tested.all() for lock in locks):
        return ()
    return ("friction was not tested at some of these points; no number is given there",)
