"""What ``rigdata lock`` says: tables, answers in workshop numbers, the caution."""

from __future__ import annotations

import math
import string
from collections.abc import Mapping, Sequence

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.cli.terminal import aligned, interval, paragraph, rounded
from rigdata.lockup.description import LockPack
from rigdata.lockup.difference import difference
from rigdata.lockup.event import SlipEvent
from rigdata.lockup.setup import Lever, NeededPreload
from rigdata.lockup.torque import Lock
from rigdata.tables.table import CoefficientTable

CAUTION = (
    "Bench values, no guarantee on the vehicle. Rotating and clamped parts, springs under load "
    "and hot oil can injure. Fitting and approval belong to qualified people, under local and "
    "series rules."
)
_ROWS = 11
Locks = Mapping[tuple[str, str], Lock]


def head_words(pack: LockPack, side: str, table: CoefficientTable | None = None) -> str:
    """Return what a table of lock torques is of."""
    plates = f", {table.material} ({table.state})" if table is not None else ""
    return paragraph(
        f"{pack.name}{plates}, {pack.faces} faces a side, preload "
        f"{pack.preload.force_n:.0f} N, {side} ramps {getattr(pack.ramps, f'{side}_deg'):g} deg:"
    )


def lock_table(lock: Lock, *, by: str) -> str:
    """Return lock torque against input torque, speed (``rpm``) or ``temperature``."""
    first, header = {
        "torque": (lock.input_torque_nm, "input, N m"),
        "rpm": (_rpm(lock), "apart, 1/min"),
        "temperature": (lock.temperature_c, "degC"),
    }[by]
    rows = [
        [f"{value:g}", *_cells(lock, i), f"{lock.pressure_mpa[i]:.2f}"]
        for i, value in enumerate(first.tolist())
    ]
    head = [header, "lock, N m", "mean of packs", "one more pack", "share", "bias", "MPa"]
    return aligned(head, rows)


def side_by_side(locks: Sequence[Lock]) -> str:
    """Return the lock torque of several tables against input torque."""
    letters = string.ascii_uppercase[: len(locks)]
    named = [
        f"{letter}: {lock.table.material} ({lock.table.state})"
        for letter, lock in zip(letters, locks, strict=True)
    ]
    head = ["input, N m"]
    for letter in letters:
        head += [f"{letter}, N m", f"{letter}, 95 %", "share"]
    rows = []
    for i, value in enumerate(locks[0].input_torque_nm.tolist()):
        cells = (_cells(lock, i) for lock in locks)
        rows.append([f"{value:g}", *(c for own in cells for c in (own[0], own[1], own[3]))])
    return paragraph("; ".join(named)) + "\n" + aligned(head, rows)


def lock_rows(lock: Lock) -> list[dict[str, object]]:
    """Return one row an operating point, for JSON."""
    names = (
        "input_torque_nm",
        "speed_difference_rad_s",
        "temperature_c",
        "axial_force_n",
        "pressure_mpa",
        "mu",
        "lock_nm",
        "u_nm",
        "low_nm",
        "high_nm",
        "next_low_nm",
        "next_high_nm",
        "fraction",
        "bias_ratio",
    )
    columns = {name: getattr(lock, name).tolist() for name in (*names, "solid", "tested")}
    rows = [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]
    return [{"side": lock.side, **row} for row in rows]


def slope_words(lock: Lock) -> str:
    """Say how the lock torque moves with the difference in speed."""
    good = np.flatnonzero(lock.tested)
    if good.size < 2:
        return "Too few of these points were tested to say how the lock builds up."
    rpm, torque = _rpm(lock)[good], lock.lock_nm[good]
    first, last = int(np.argmin(rpm)), int(np.argmax(rpm))
    change, times = torque[last] - torque[first], rpm[last] / rpm[first]
    each = change / math.log(times) * math.log(2.0)
    if abs(each) < 0.005 * torque[first]:
        word = "hardly moves"
    else:
        word = "builds up" if each > 0.0 else "falls off"
    return (
        f"{lock.table.material} ({lock.table.state}), {lock.side}: from {rpm[first]:g} to "
        f"{rpm[last]:g} 1/min between the outputs the lock {word}, {change:+.0f} N m, about "
        f"{each:+.1f} N m for each doubling."
    )


def event_rows(event: SlipEvent) -> list[dict[str, object]]:
    """Return every step of a slip event, for JSON."""
    columns = zip(
        event.time_s.tolist(), event.power_w.tolist(), event.work_kj.tolist(), strict=True
    )
    return [
        {"time_s": time, "power_w": power, "work_kj": work, **row}
        for (time, power, work), row in zip(columns, lock_rows(event.lock), strict=True)
    ]


def event_table(event: SlipEvent) -> str:
    """Return some steps of a slip event."""
    lock = event.lock
    steps = np.unique(np.linspace(0, event.time_s.size - 1, _ROWS).round().astype(int))
    rows = [
        [
            f"{event.time_s[i]:.1f}",
            f"{lock.temperature_c[i]:.0f}",
            *_cells(lock, int(i))[:3],
            f"{event.power_w[i]:.0f}",
            f"{event.work_kj[i]:.1f}",
        ]
        for i in steps
    ]
    head = ["time, s", "degC", "lock, N m", "mean of packs", "one more pack", "W", "kJ"]
    return aligned(head, rows)


def preload_words(found: NeededPreload) -> str:
    """Return a preload as a workshop would set it, with its interval."""
    step = workshop_step(found.high_n - found.value_n)
    low, value, high = (to_step(v, step) for v in (found.low_n, found.value_n, found.high_n))
    words = f"set {value:.0f} N (95 % interval {low:.0f} to {high:.0f} N"
    if math.isfinite(found.next_high_n):
        next_low, next_high = (to_step(v, step) for v in (found.next_low_n, found.next_high_n))
        words += f"; for one more pack {next_low:.0f} to {next_high:.0f} N"
    pressure = float(found.lock.pressure_mpa[0])
    words += f"), which locks with {float(found.lock.lock_nm[0]):.0f} N m"
    if not found.tested:
        words += f". Not tested there: the faces would carry {pressure:.2f} MPa"
    return words + "."


def set_preload(found: NeededPreload) -> float:
    """Return the preload in a step that a workshop sets. [N]"""
    return to_step(found.value_n, workshop_step(found.high_n - found.value_n))


def preload_row(found: NeededPreload) -> dict[str, object]:
    """Return the same for JSON."""
    names = ("value_n", "low_n", "high_n", "next_low_n", "next_high_n", "tested")
    return {**{name: getattr(found, name) for name in names}, "lock": lock_rows(found.lock)[0]}


def workshop_step(half_width: float) -> float:
    """Return the step, of 1, 2 or 5 times a power of ten, that a quarter of `half_width` allows.

    Examples
    --------
    >>> workshop_step(217.0), workshop_step(45.0)
    (50.0, 10.0)
    """
    room = max(half_width / 4.0, 1.0)
    decade = 10.0 ** math.floor(math.log10(room))
    return max(m * decade for m in (1.0, 2.0, 5.0) if m * decade <= room)


def to_step(value: float, step: float) -> float:
    """Return `value` on the nearest step."""
    return round(value / step) * step


def change_words(locks: Locks) -> str:
    """Return lock torques of two states, cold and hot, and what changes between them."""
    rows = [
        [f"{state}, {words}", f"{lock.temperature_c[0]:g}", *_cells(lock, 0)[:-1]]
        for (state, words), lock in locks.items()
    ]
    head = ["plates", "degC", "lock, N m", "mean of packs", "one more pack", "share"]
    told = [aligned(head, rows), ""]
    for row in change_rows(locks)[len(locks) :]:
        change, half = row["change_nm"], row["half_nm"]
        assert isinstance(change, float)
        assert isinstance(half, float)
        if math.isfinite(change):
            told.append(
                f"{row['name']}: {change:+.0f} N m "
                f"({change - half:+.0f} to {change + half:+.0f} N m)"
            )
    return "\n".join(told)


def change_rows(locks: Locks) -> list[dict[str, object]]:
    """Return lock torques and their differences, for JSON."""
    rows: list[dict[str, object]] = [
        {"name": f"{state}, {words}", **lock_rows(lock)[0]}
        for (state, words), lock in locks.items()
    ]
    keys = list(locks)
    for a, b in ((2, 0), (3, 1), (1, 0), (3, 2)):
        one, other = locks[keys[a]], locks[keys[b]]
        apart = difference(one, other)
        same = keys[a][1] == keys[b][1]
        frm, to, at = (
            (keys[b][0], keys[a][0], keys[a][1]) if same else (keys[b][1], keys[a][1], keys[a][0])
        )
        rows.append(
            {
                "name": f"from {frm} to {to}, {at}",
                "change_nm": float(apart.value_nm[0]),
                "half_nm": float(apart.half_nm[0]),
                "next_half_nm": float(apart.next_half_nm[0]),
            }
        )
    return rows


def lever_table(before: Lock, found: Sequence[Lever]) -> str:
    """Return what each change does to the lock torque."""
    base = float(before.lock_nm[0])
    rows = []
    for lever in found:
        low, high = lever.change_nm - lever.half_nm, lever.change_nm + lever.half_nm
        u = _shown_u(lever.change_nm, lever.half_nm / 2.0)
        rows.append(
            [
                lever.name + ("" if lever.tested else " *"),
                rounded(lever.change_nm, u),
                interval(low, high, u),
                f"{100.0 * lever.change_nm / base:+.0f}",
            ]
        )
    return aligned(["change", "N m", "95 % interval", "%"], rows)


def _cells(lock: Lock, i: int) -> list[str]:
    """Return lock torque, both intervals, its share of the input and the bias ratio."""
    u = _shown_u(float(lock.lock_nm[i]), float(lock.u_nm[i]))
    share = "solid" if lock.solid[i] else f"{100.0 * lock.fraction[i]:.0f} %"
    bias = "-" if lock.solid[i] else f"{lock.bias_ratio[i]:.3g}"
    if lock.input_torque_nm[i] == 0.0:
        share = "preload"
    if not math.isfinite(lock.lock_nm[i]):
        share = bias = "-"
    return [
        rounded(float(lock.lock_nm[i]), u),
        interval(float(lock.low_nm[i]), float(lock.high_nm[i]), u),
        interval(float(lock.next_low_nm[i]), float(lock.next_high_nm[i]), u),
        share,
        bias,
    ]


def _shown_u(value: float, u: float) -> float:
    """Return the uncertainty that sets the digits: nobody sets tenths of a newton metre."""
    return max(u, 10.0) if abs(value) >= 10.0 else u


def _rpm(lock: Lock) -> FloatArray:
    rpm: FloatArray = np.round(lock.speed_difference_rad_s * 30.0 / math.pi, 6)
    return rpm
