"""Faults of a bench put into the text of one log, by a random generator.

Nothing here knows how the faults are looked for: a log is a few columns of text, and
what a broken cable or a wrong setting would have left in them is written over them.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from tests.faults.log_text import LogText

CELLS = ("torque", "clamp_load")
HELD_AT_NOTHING = 9.9e37  # what instruments write for over range


@dataclass(frozen=True)
class Injection:
    """What was done to a log: `kind` and `channel` are what a finding must name."""

    kind: str
    channel: str
    words: str
    start_s: float
    end_s: float
    also: str = ""  # a kind that leaves the same trace


Injector = Callable[[LogText, np.random.Generator], Injection]


def _busy(log: LogText) -> tuple[int, int]:
    """First and last row in which load or speed is on, and a few rows to spare."""
    load, speed = log["clamp_load"], log["slip_speed"]
    count = max(8, np.count_nonzero(log["time"] < log["time"][0] + 2.0))

    def away(values: np.ndarray) -> np.ndarray:
        rest = np.nanmedian(values[:count])
        return np.abs(values - rest) > 0.1 * np.nanmax(np.abs(values - rest))

    rows = np.flatnonzero(away(load) | away(speed))
    return (int(rows[0]), int(rows[-1])) if rows.size > 20 else (count, load.size - count)


def _cells(log: LogText) -> tuple[str, ...]:
    """The cells that something acts on: a drag run has no load."""
    load = log["clamp_load"]
    rest, noise = _rest(load)
    pressed = float(np.nanpercentile(np.abs(load - rest), 95)) > 10.0 * noise
    return CELLS if pressed else CELLS[:1]


def _slipping(log: LogText) -> np.ndarray:
    """Rows in which the pickup shows slip clear of its noise."""
    speed = np.nan_to_num(np.abs(log["slip_speed"]))
    return speed > max(0.003 * speed.max(), 0.1)


def _from(log: LogText, rng: np.random.Generator, least_s: float) -> tuple[int, int]:
    """Rows from a random place while the bench is busy: to the end, or for a while."""
    time = log["time"]
    first, last = _busy(log)
    start = int(rng.integers(first, first + max(1, int(0.8 * (last - first)))))
    if rng.random() < 0.6:
        return start, time.size
    longest = max(least_s, 0.5 * (time[last] - time[start]))
    stop = int(np.searchsorted(time, time[start] + rng.uniform(least_s, longest)))
    return start, min(stop, time.size)


def _rows(log: LogText, start: int, stop: int) -> np.ndarray:
    chosen = np.zeros(log["time"].size, bool)
    chosen[start:stop] = True
    return chosen


def _rest(values: np.ndarray) -> tuple[float, float]:
    """Level and noise of a column over its first rows."""
    first = values[: max(8, values.size // 60)]
    return float(np.nanmedian(first)), float(np.nanstd(first))


def _done(log: LogText, kind: str, channel: str, words: str, span: tuple[int, int]) -> Injection:
    time = log["time"]
    return Injection(
        kind, channel, words, float(time[span[0]]), float(time[min(span[1], time.size) - 1])
    )


def unplugged(log: LogText, rng: np.random.Generator) -> Injection:
    """A cell whose cable came off: blank, frozen, at a rail, or noise about nothing."""
    channel = str(rng.choice(_cells(log)))
    start, stop = _from(log, rng, 2.0)
    form = str(rng.choice(["blank", "frozen", "rail", "open"]))
    values, chosen = log[channel], _rows(log, start, stop)
    _, noise = _rest(values)
    level = {"blank": np.nan, "frozen": values[start], "rail": 3.2 * rng.choice([-1, 1])}
    if form == "open":
        put = rng.normal(0.0, noise * rng.uniform(0.5, 3.0), values.size)
    else:
        put = np.full(values.size, level[form])
    log.put(channel, put, chosen)
    return _done(log, "unplugged", channel, form, (start, stop))


def saturated(log: LogText, rng: np.random.Generator) -> Injection:
    """An amplifier that reads no more than a part of what acts."""
    channel = str(rng.choice(_cells(log)))
    values = log[channel]
    rest, _ = _rest(values)
    share = rng.uniform(0.4, 0.95)
    level = rest + share * (float(np.nanpercentile(values, 99.5)) - rest)
    over = values > level
    log.put(channel, np.full(values.size, level), over)
    rows = np.flatnonzero(over)
    return _done(log, "saturated", channel, f"at {share:.2f} of its top", (rows[0], rows[-1] + 1))


def swapped(log: LogText, rng: np.random.Generator) -> Injection:
    """The plugs of torque and load in each other's socket."""
    torque, load = log["torque"], log["clamp_load"]
    every = np.ones(torque.size, bool)
    log.put("torque", load, every)
    log.put("clamp_load", torque, every)
    return _done(log, "swapped", "torque", "torque and load", (0, torque.size))


def sign(log: LogText, rng: np.random.Generator) -> Injection:
    """A channel read the wrong way round."""
    channel = str(rng.choice([*_cells(log), "slip_speed"]))
    values = log[channel]
    log.put(channel, -values, np.ones(values.size, bool))
    return _done(log, "sign", channel, "turned round", (0, values.size))


FACTORS = {
    "torque": {"lbf*ft": 0.737562, "N*m as lbf*ft": 1.355818, "kgf*m": 0.1019716},
    "clamp_load": {"lbf": 0.2248089, "lbf as N": 4.448222, "kgf": 0.1019716},
    "slip_speed": {"rad/s": math.pi / 30.0, "rad/s as rpm": 30.0 / math.pi, "1/s": 1.0 / 60.0},
}
WARMTH = ("reference_junction_temperature", "oil_temperature")


def unit(log: LogText, rng: np.random.Generator) -> Injection:
    """A whole log in another unit than the rig file says."""
    known = [name for name in FACTORS if name in (*_cells(log), "slip_speed")]
    channel = str(rng.choice([*known, *WARMTH]))
    values, every = log[channel], np.ones(log["time"].size, bool)
    if channel in WARMTH:
        name = str(rng.choice(["degF", "K"]))
        put = 1.8 * values + 32.0 if name == "degF" else values + 273.15
        log.put(channel, put, every)
    else:
        name = str(rng.choice(list(FACTORS[channel])))
        factor = FACTORS[channel][name]
        log.put(channel, factor * values, every, digits=log.digits(channel) + 2)
    return _done(log, "unit", channel, name, (0, values.size))


def clock(log: LogText, rng: np.random.Generator) -> Injection:
    """A clock that jumps ahead or back, starts again, or stands still for a few rows."""
    form = str(rng.choice(["ahead", "back", "again", "twice"]))
    time = log["time"].copy()
    first, last = _busy(log)
    start = int(rng.integers(first, last))
    step, stop = float(np.median(np.diff(time))), time.size
    if form == "ahead":
        time[start:] += max(rng.uniform(0.5, 60.0), 6.0 * step)
    elif form == "back":
        time[start:] -= rng.uniform(6.0 * step, max(8.0 * step, 0.4 * (time[start] - time[0])))
    elif form == "again":
        time[start:] -= time[start]
    else:
        stop = min(start + int(rng.integers(3, 50)), time.size)
        time[start:stop] = time[start]
    log.put("time", time, _rows(log, start, stop), digits=max(log.digits("time"), 3))
    return Injection("clock", "time", form, float(time[start - 1]), float(time[stop - 1]))


def mains(log: LogText, rng: np.random.Generator) -> Injection:
    """Mains hum on the torque, sampled too slowly to be seen for what it is."""
    values, time = log["torque"], log["time"]
    _, noise = _rest(values)
    hz = float(rng.choice([50.0, 60.0])) + rng.uniform(-0.1, 0.1)
    size = noise * rng.uniform(3.0, 20.0)
    wave = size * np.sin(2.0 * np.pi * hz * time + rng.uniform(0.0, 2.0 * np.pi))
    log.put("torque", values + wave, np.ones(values.size, bool))
    rate = 1.0 / float(np.median(np.diff(time)))
    folded = abs(hz - rate * round(hz / rate))
    found = _done(log, "aliasing", "torque", f"mains {hz:.2f} Hz", (0, values.size))
    # A wave slower than the rests at both ends can only be seen to shift the zero.
    return replace(found, also="zero-drift") if folded < 0.25 else found


def tooth(log: LogText, rng: np.random.Generator) -> Injection:
    """The teeth of a gear in the torque, faster than the log shows while the plates turn."""
    values, time = log["torque"], log["time"]
    rest, _ = _rest(values)
    step = float(np.median(np.diff(time)))
    turns = np.nan_to_num(np.abs(log["slip_speed"])) / 60.0
    top = float(np.percentile(turns, 99))
    least = math.ceil(0.6 / step / max(top, 1e-9))
    teeth = int(rng.integers(least, 4 * least + 4))
    angle = teeth * np.cumsum(turns) * step
    wave = rng.uniform(0.03, 0.15) * np.sin(2.0 * np.pi * angle + rng.uniform(0.0, 6.28))
    log.put("torque", values + wave * (values - rest), _slipping(log))
    rows = np.flatnonzero(_slipping(log))
    return _done(log, "aliasing", "torque", f"{teeth} teeth", (rows[0], rows[-1] + 1))


def zero_drift(log: LogText, rng: np.random.Generator) -> Injection:
    """A zero that wanders or steps by more than it does on other days."""
    channel = str(rng.choice(_cells(log)))
    values = log[channel]
    rest, _ = _rest(values)
    size = rng.uniform(0.02, 0.15) * rng.choice([-1, 1]) * float(np.nanmax(np.abs(values - rest)))
    form = str(rng.choice(["steady", "step"]))
    first, last = _busy(log)
    at = int(rng.integers(first, last))
    course = np.linspace(0.0, 1.0, values.size) if form == "steady" else _rows(log, at, values.size)
    log.put(channel, values + size * course, np.ones(values.size, bool))
    return _done(log, "zero-drift", channel, form, (0, values.size))


def load_lag(log: LogText, rng: np.random.Generator) -> Injection:
    """A load channel with a filter or a buffer that the others do not have."""
    values, time = log["clamp_load"], log["time"]
    late = rng.uniform(0.2, 2.0)
    known = ~np.isnan(values)
    rest, noise = _rest(values)
    shown = np.interp(time - late, time[known], values[known])
    early = time - late < time[0]
    shown[early] = rng.normal(rest, noise, np.count_nonzero(early))
    log.put("clamp_load", shown, np.ones(values.size, bool))
    return _done(log, "load-lag", "clamp_load", f"{late:.2f} s", (0, values.size))


def no_slip(log: LogText, rng: np.random.Generator) -> Injection:
    """A drive that trips: the plates stop in mid-run, under load."""
    time, torque, speed = log["time"], log["torque"], log["slip_speed"]
    slipping = np.flatnonzero(_slipping(log))
    start = int(slipping[int(rng.uniform(0.05, 0.8) * slipping.size)])
    rest, noise = _rest(torque)
    idle_speed, speed_noise = _rest(speed)
    since = time - time[start]
    fade = np.exp(-np.maximum(since, 0.0) / rng.uniform(0.05, 0.3))
    left = rng.uniform(0.0, 0.6)
    chosen = since >= 0.0
    still = rng.normal(idle_speed, speed_noise, time.size)
    load = log["clamp_load"] - _rest(log["clamp_load"])[0]
    pressed = np.clip(load / max(float(load[start]), 1e-9), 0.0, None)
    held = (float(torque[start]) - rest) * (left + (1.0 - left) * fade) * np.minimum(pressed, 1.0)
    log.put("slip_speed", still + (speed[start] - idle_speed) * fade, chosen)
    log.put("torque", rest + held + rng.normal(0.0, noise, time.size), chosen)
    return _done(log, "no-slip", "slip_speed", f"{left:.2f} of the torque left", (start, time.size))


def open_thermocouple(log: LogText, rng: np.random.Generator) -> Injection:
    """A thermocouple that broke: blank, at the rail, over range, or no voltage at all."""
    start, stop = _from(log, rng, 3.0)
    form = str(rng.choice(["blank", "rail", "over range", "no voltage"]))
    count = log["time"].size
    level = {"blank": np.nan, "rail": 60.0, "over range": HELD_AT_NOTHING, "no voltage": 0.0}
    noise = rng.normal(0.0, 0.004, count) if form == "no voltage" else 0.0
    log.put("plate_temperature", np.full(count, level[form]) + noise, _rows(log, start, stop))
    return _done(log, "open-thermocouple", "plate_temperature", form, (start, stop))


def reversed_thermocouple(log: LogText, rng: np.random.Generator) -> Injection:
    """A thermocouple with its wires the wrong way round."""
    values = log["plate_temperature"]
    log.put("plate_temperature", -values, np.ones(values.size, bool))
    channel = "plate_temperature"
    return _done(log, "reversed-thermocouple", channel, "turned round", (0, values.size))


def cut_off(log: LogText, rng: np.random.Generator) -> Injection:
    """A log that ends before the run does, in mid-line."""
    first, last = _busy(log)
    stop = int(rng.integers(first + (last - first) // 10, last))
    line = log.delimiter.join(log.cells[stop])
    end = float(log["time"][stop - 1])
    del log.cells[stop:]
    log.tail = "\n" + line[: int(rng.integers(0, len(line)))]
    return Injection("cut-off", "time", "in mid-line", end, end)


def dropout(log: LogText, rng: np.random.Generator) -> Injection:
    """A speed pickup that loses its signal now and then and shows nothing."""
    speed = log["slip_speed"]
    slipping = np.flatnonzero(_slipping(log))
    chosen = np.zeros(speed.size, bool)
    for start in rng.choice(slipping[: int(0.9 * slipping.size)], int(rng.integers(1, 12))):
        chosen[start : start + int(rng.integers(1, 40))] = True
    chosen &= _slipping(log)
    log.put("slip_speed", np.zeros(speed.size), chosen)
    rows = np.flatnonzero(chosen)
    return _done(
        log, "speed-dropout", "slip_speed", f"{rows.size} samples", (rows[0], rows[-1] + 1)
    )


# What can happen to a log, and the procedures in which it can show.
_ANY = frozenset({"zero", "drag", "bedding", "speed-sweep", "load-sweep", "temperature-sweep",
                  "steady", "breakaway", "stint"})  # fmt: skip
_MOVING = _ANY - {"zero"}
_PRESSED = _MOVING - {"drag"}
_DRIVEN = _PRESSED - {"breakaway"}
INJECTORS: dict[Injector, frozenset[str]] = {
    unplugged: _MOVING,
    saturated: _PRESSED,
    swapped: _MOVING,
    sign: _MOVING,
    unit: _MOVING,
    clock: _ANY,
    mains: _ANY,
    tooth: _DRIVEN,
    zero_drift: _MOVING,
    load_lag: _DRIVEN,
    no_slip: _DRIVEN,
    open_thermocouple: _PRESSED,
    reversed_thermocouple: _PRESSED,
    cut_off: _MOVING,
    dropout: _DRIVEN,
}
