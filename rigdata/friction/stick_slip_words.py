"""Stick and slip in a few plain sentences."""

from __future__ import annotations

import math

from rigdata.friction.onset import ALPHA, Onset
from rigdata.friction.ripple import LEAST_RIPPLE
from rigdata.friction.stick_slip import EVERYWHERE, NONE, ONSET, SlopeLink, StickSlip

_LOOK = "look at the mains, the drive and the run-out of the plates"


def stick_slip_words(found: StickSlip) -> str:
    """Return what is to be said of one group, verdict first, without a full stop at the end."""
    parts = {NONE: _none, ONSET: _onset, EVERYWHERE: _everywhere}.get(found.verdict, _not_by_speed)(
        found
    )
    if found.verdict != NONE and found.sticking:
        parts.append(
            f"In {found.sticking} of {found.windows} windows the plates stand still for a part of "
            "the time: these are no kinetic coefficients and stay out of the fits"
        )
    if found.verdict != NONE and found.link is not None:
        parts.append(_link(found.link))
    return f"{found.group}: " + ". ".join(parts)


def _none(found: StickSlip) -> list[str]:
    words = f"no stick-slip at {_speeds(found)}"
    if math.isfinite(found.baseline):
        words += f"; torque ripples by {_percent(found.baseline)} of its mean"
    if math.isfinite(found.limit):
        words += f"; noise alone stays below {_percent(found.limit)}"
    if found.baseline >= LEAST_RIPPLE:
        at = f", at {found.quiet_hz:.3g} Hz" if math.isfinite(found.quiet_hz) else ""
        words += f". That does not depend on slip speed{at}: {_LOOK}"
    return [words]


def _onset(found: StickSlip) -> list[str]:
    onset = found.onset
    assert onset is not None
    words = f"sticks and slips below {onset.speed_m_s:.2g} m/s "
    words += f"(95 % interval {onset.low:.2g} to {onset.high:.2g} m/s)"
    words += _moves(onset)
    if onset.basis != "packs":
        packs = "1 pack" if found.packs == 1 else f"{found.packs} packs"
        words += f"; the interval is that of {packs}, not of the next"
    if onset.sweeps < onset.sweeps_tested:
        words += f"; {onset.sweeps} of {onset.sweeps_tested} sweeps passed an onset"
    if onset.up_over_down != 1.0:
        words += (
            f"; it dies out on the way up at {onset.up_over_down:.2g} times the speed at which it "
            "starts on the way down"
        )
    return [words, _size(found)]


def _moves(onset: Onset) -> str:
    if not onset.moves_with:
        return ""
    if len(onset.moves_with) == 2 and 0.0 in (onset.pressure_power, onset.per_kelvin):
        way = "higher" if onset.pressure_power + onset.per_kelvin > 0.0 else "lower"
        with_what = "pressure" if onset.pressure_power else "temperature"
        return f", {way} with {with_what} (pressure and temperature were varied together)"
    signs = {"pressure": onset.pressure_power, "temperature": onset.per_kelvin}
    ways = [f"{'higher' if signs[n] > 0.0 else 'lower'} with {n}" for n in onset.moves_with]
    return ", " + " and ".join(ways)


def _everywhere(found: StickSlip) -> list[str]:
    return [
        f"torque oscillates at {_speeds(found)} alike while other windows on this rig run "
        f"quietly; if it is stick-slip its onset is above {found.fastest:.2g} m/s",
        _size(found),
    ]


def _not_by_speed(found: StickSlip) -> list[str]:
    return [
        f"torque oscillates in {found.oscillating} of {found.windows} windows, but not for being "
        f"slow: no onset of stick-slip is shown; {_LOOK}",
        _size(found),
    ]


def _size(found: StickSlip) -> str:
    worst = found.worst
    assert worst is not None
    words = f"Torque then ripples by {_range(*(100.0 * r for r in found.ripple))} % of its mean"
    if math.isfinite(found.above_hz):
        words += f" at more than {found.above_hz:.3g} Hz"
    elif math.isfinite(found.hz[0]):
        words += f" at {_range(*found.hz)} Hz"
    words += f", most by {_percent(worst.ripple)}"
    if math.isfinite(worst.hz):
        words += f" and {worst.hz:.3g} Hz"
    return (
        f"{words} at {worst.slip_speed_m_s:.2g} m/s, {worst.temperature_c:.0f} degC and "
        f"{worst.pressure_mpa:.2g} MPa"
    )


def _link(link: SlopeLink) -> str:
    (a, falls), (b, rises) = link.falling, link.rising
    if not falls or not rises:
        way = "falls" if falls else "rises"
        return f"The fitted law {way} with slip speed at all of them, so its slope tells none apart"
    words = (
        f"Where the fitted law falls with slip speed {a} of {falls} windows oscillate, where it "
        f"rises {b} of {rises} (Fisher's exact test, p {_chance(link.p)})"
    )
    return words if link.p < ALPHA else words + ": the two are not shown to go together"


def _speeds(found: StickSlip) -> str:
    if found.fastest < 1.05 * found.slowest:
        return f"{found.slowest:.2g} m/s"
    return f"{found.slowest:.2g} to {found.fastest:.2g} m/s"


def _range(low: float, high: float) -> str:
    first, second = f"{low:.2g}", f"{high:.2g}"
    return first if first == second else f"{first} to {second}"


def _percent(share: float) -> str:
    return f"{100.0 * share:.2g} %"


def _chance(p: float) -> str:
    return "below 0.001" if p < 0.001 else f"= {p:.2g}"
