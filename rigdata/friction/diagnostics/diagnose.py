"""The diagnostics of one fitted group, and what the user must be told of them."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from scipy import stats

from rigdata.errors import Notice, Severity
from rigdata.friction.diagnostics import findings
from rigdata.friction.diagnostics.drift import drift, hysteresis
from rigdata.friction.diagnostics.findings import Diagnostics, Finding, SpeedRange
from rigdata.friction.diagnostics.recovery import recovery
from rigdata.friction.diagnostics.trends import residual_trends
from rigdata.friction.diagnostics.words import CLEARLY, between, percent, plain, ranges
from rigdata.friction.joint import JointFit
from rigdata.friction.results import FrictionFit
from rigdata.friction.slopes import (
    Change,
    fade,
    follows,
    pressure_effect,
    slope_over_speed,
    speed_slope,
    surroundings_of_interest,
    tested_reference,
)
from rigdata.reduction.points import FrictionPoints

LARGE_HYSTERESIS = 0.01  # relative: below, it does not matter to a differential
LARGE_PULL = 2.0
_MOST_NAMED = 3


def diagnose(fit: FrictionFit, joint: JointFit, points: FrictionPoints) -> Diagnostics:
    """Return the diagnostics of a fit to the kinetic points of one group.

    Parameters
    ----------
    fit : FrictionFit
        The result.
    joint : JointFit
        What it was made from.
    points : FrictionPoints
        The points fitted, in their order.
    """
    numbers = [
        spread(fit),
        *hysteresis(joint, points),
        *drift(joint, points, fit.reference),
        recovery(fit, joint, points),
        _speed_slope(fit),
        _change(findings.FADE, fade(fit), "per 100 K, from {} to {} degC"),
        _change(
            findings.PRESSURE, pressure_effect(fit), "per doubling of pressure, from {} to {} MPa"
        ),
    ]
    return Diagnostics(
        findings=tuple(number for number in numbers if number is not None),
        speed_ranges=tuple(speed_ranges(fit)),
        trends=tuple(residual_trends(joint, points)),
        pulls=pulls_in_words(fit.pulls),
    )


def diagnostic_notices(diagnostics: Diagnostics, where: str) -> tuple[Notice, ...]:
    """Return warnings about a hysteresis or a drift that is beyond chance and matters.

    Each once: a kind of sweeps rather than all sweeps, and the repeated reference
    condition rather than all conditions.
    """
    clear = {found.name: found for found in diagnostics.findings if found.clear}
    sweeps = {
        name: found
        for name, found in clear.items()
        if name.startswith(findings.HYSTERESIS) and abs(found.value) > LARGE_HYSTERESIS
    }
    if len(sweeps) > 1:
        sweeps.pop(findings.HYSTERESIS, None)
    told = [(found.words, _LOOK_AT_SWEEPS) for found in sweeps.values()]
    if findings.DRIFT_AT_REFERENCE in clear:
        clear.pop(findings.DRIFT_PER_RUN, None)
    drifts = (findings.DRIFT_AT_REFERENCE, findings.DRIFT_PER_RUN, findings.DRIFT_PER_HOUR)
    told += [(clear[name].words, _LOOK_AT_DRIFT) for name in drifts if name in clear]
    if findings.AFTER_HEAT in clear and clear[findings.AFTER_HEAT].value < 0.0:
        told.append((clear[findings.AFTER_HEAT].words, _LOOK_AT_HEAT))
    return tuple(Notice(Severity.WARNING, where, words, do) for words, do in told)


_LOOK_AT_SWEEPS = (
    "The law runs between the two ways. Look for friction in the load path, a lag between "
    "channels, and plates that warm on the way"
)
_LOOK_AT_DRIFT = (
    "Repeat the reference condition first and last; look for bedding-in or wear, "
    "a zero that moves, and the oil"
)

_LOOK_AT_HEAT = (
    "Look at the faces and the oil of these packs; leave the hottest runs for the end of a pack"
)


def spread(fit: FrictionFit) -> Finding | None:
    """Return the reduced chi-square with measurement alone, and what it says.

    It estimates the ratio of the variance that the points have to the one that
    they state; its interval is that of a chi-square.  None without spare points.
    """
    dof = fit.n_points - fit.n_parameters
    value = fit.chi2_measurement
    if dof < 1 or not np.isfinite(value):
        return None
    low, high = (value * dof / stats.chi2.ppf([0.975, 0.025], dof)).tolist()
    tail = 0.5 * (1.0 - CLEARLY)
    sides = stats.chi2.ppf([tail, 1.0 - tail], dof) / dof
    clear = not sides[0] <= value <= sides[1]
    told = f"reduced chi-square {plain(value)}"
    if clear and value > 1.0:
        words = (
            f"measurement alone does not explain how the points scatter ({told}); with the "
            f"scatter of packs, runs and points it is {plain(fit.chi2_reduced)}"
        )
    elif clear:
        words = f"the points agree better than stated: uncertainties look overstated ({told})"
    else:
        words = f"measurement alone explains how the points scatter ({told})"
    u = value * float(np.sqrt(2.0 / dof))
    return Finding(findings.SPREAD, value, u, low, high, "1", clear, words)


def pulls_in_words(pulls: Mapping[str, float]) -> str:
    """Say how many sources are pulled by more than 2 of their standard deviations."""
    large = sorted(
        (item for item in pulls.items() if abs(item[1]) > LARGE_PULL), key=lambda i: -abs(i[1])
    )
    if not large:
        return f"none of {len(pulls)} sources is pulled by more than {LARGE_PULL:g}"
    named = ", ".join(f"{name} ({value:+.1f})" for name, value in large[:_MOST_NAMED])
    others = f" and {len(large) - _MOST_NAMED} more" if len(large) > _MOST_NAMED else ""
    verb = "is" if len(large) == 1 else "are"
    return (
        f"{len(large)} of {len(pulls)} sources {verb} pulled by more than {LARGE_PULL:g} "
        f"standard deviations: {named}{others}"
    )


def speed_ranges(fit: FrictionFit) -> list[SpeedRange]:
    """Return where mu falls and rises with slip speed, at the reference, cold, hot, and so on."""
    result = []
    for temperature, pressure in surroundings_of_interest(fit):
        slope = slope_over_speed(fit, temperature, pressure)
        if slope is None:
            continue
        falls, rises, speed = slope.falling, slope.rising, slope.where.slip_speed_m_s
        parts = [f"falls {ranges(falls, 'm/s')}"] if falls else []
        parts += [f"rises {ranges(rises, 'm/s')}"] if rises else []
        told = "mu " + " and ".join(parts) if parts else "whether mu falls or rises is not resolved"
        words = f"at {plain(temperature)} degC and {plain(pressure)} MPa {told}"
        tested = (float(speed[0]), float(speed[-1]))
        result.append(SpeedRange(temperature, pressure, tested, falls, rises, words))
    return result


def _speed_slope(fit: FrictionFit) -> Finding | None:
    """Return dmu/dv at the reference condition, or the nearest that was tested."""
    if not follows(fit, "slip_speed_m_s"):
        return None
    where = tested_reference(fit)
    slope = speed_slope(fit, where)
    value, u, low, high = (float(getattr(slope, n)[0]) for n in ("value", "u", "low", "high"))
    place = f"at {plain(float(where.slip_speed_m_s[0]))} m/s"
    if low <= 0.0 <= high:
        words = f"whether mu rises or falls with slip speed is not resolved {place}"
    else:
        side = "rises with slip speed, which damps" if low > 0.0 else "falls, which feeds"
        words = f"mu {side} chatter, {place}"
    clear = not low <= 0.0 <= high
    return Finding(findings.SPEED_SLOPE, value, u, low, high, "s/m", clear, words)


def _change(name: str, change: Change | None, words: str) -> Finding | None:
    if change is None:
        return None
    value, u, low, high = change.value, change.u, change.low, change.high
    where = words.format(plain(change.start), plain(change.end))
    if low <= 0.0 <= high:
        told = f"mu does not change beyond doubt {where} ({between(low, high, u)})"
    else:
        side, ends = ("rises", (low, high)) if low > 0.0 else ("falls", (-high, -low))
        told = (
            f"mu {side} by {percent(abs(value), u)} % {where} "
            f"(95 % interval {percent(ends[0], u)} to {percent(ends[1], u)} %)"
        )
    return Finding(name, value, u, low, high, "1", not low <= 0.0 <= high, told)
