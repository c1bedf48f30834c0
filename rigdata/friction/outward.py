"""From a fitted parameter outward, until its deviance passes a threshold or rises no more."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from rigdata.friction.deviance import FOR_GOOD, Deviance, Place

BOUND, LEVEL = "bound", "level"

_MOST_STEPS = 100
_FARTHEST = float(np.log(4.0))  # that a step may take a scale
_LEAST = 1.0 / 16.0  # step, of that to the limit of a linear parameter
_LONG, _SHORT = float(np.log(FOR_GOOD)), 2.1 * _FARTHEST  # over which a level stands still
_FLAT = 0.02  # its rise, of the threshold
_LONGER, _SHORTER = 2.0, 0.5  # most and least of a step against the last one
_BEYOND = 1.05  # of what should reach the threshold
_NEAR = 0.01  # of the threshold: from there a straight line leads to it
_REFINEMENTS = 24


@dataclass(frozen=True, eq=False)
class Step:
    """A place on one side of the fitted value.

    Attributes
    ----------
    far : float
        How far out, in the coordinate of the parameter held.
    root : float
        Root of the deviance there above its least.
    rise : float
        Derivative of that outward.
    place : Place
    """

    far: float
    root: float
    rise: float
    place: Place


@dataclass(frozen=True, eq=False)
class Side:
    """One side of a profile.

    Attributes
    ----------
    steps : list of Step
        Outward, from the fitted value itself.
    limit : float
        How far out the root deviance is at the threshold; the last step where it never is.
    opened : str
        Why there is no limit, ``bound`` or ``level``; empty where there is one.
    """

    steps: list[Step]
    limit: float
    opened: str


def side_of(deviance: Deviance, best: Place, sign: int, step: float, threshold: float) -> Side:
    """Go outward until the root deviance passes the threshold, or nothing more is to be asked.

    `step` is how far off the limit of a linear parameter would be.
    """
    i, start = best.held, float(best.at[best.held])

    def out(far: float, last: Step) -> Step:
        place = deviance.least(i, last.place.towards(start + sign * far))
        root = float(np.sqrt(max(place.deviance - best.deviance, 0.0)))
        rise = 0.5 * sign * place.slope / root if root > 0.0 else 0.0
        return Step(far, root, rise, place)

    end, bounded = deviance.reach(i, sign, step)
    steps, least = [Step(0.0, 0.0, threshold / step, best)], _LEAST * min(step, end)
    for _ in range(_MOST_STEPS):
        last = steps[-1]
        if last.far >= end:
            return Side(steps, end, BOUND if bounded else LEVEL)
        step = max(min(step, _FARTHEST / deviance.stretch(last.place)), least)
        found = out(min(last.far + step, end), last)
        if found.root >= threshold * (1.0 - _NEAR):
            within, beyond = _refined(out, last, found, threshold)
            steps += within[1:]
            found = beyond[0]
            if not _near(found, threshold):  # a refit may have gone astray: again from near by
                found = out(found.far, within[-1])
            if found.root >= threshold * (1.0 - _NEAR):
                limit = _reached(found, found.far - within[-1].far, threshold)
                return Side([*steps, found, *beyond[1:]], limit, "")
        steps.append(found)
        over = _SHORT if deviance.run_off(found.place) else _LONG
        if deviance.scales[i] and _level(steps, threshold, over):
            return Side(steps, found.far, LEVEL)
        step *= _factor(found, step, threshold)
    return Side(steps, steps[-1].far, LEVEL)


def _level(steps: Sequence[Step], threshold: float, over: float) -> bool:
    """Whether the root deviance of a scale has stood still over the last part of the way."""
    last = steps[-1]
    part = [step.root for step in steps if last.far - step.far <= over]
    whole = last.far >= over
    return whole and len(part) > 2 and max(part) - min(part) <= _FLAT * threshold


def _factor(last: Step, step: float, threshold: float) -> float:
    """Return the next step outward, in terms of the last one."""
    missing = _BEYOND * (threshold - last.root)
    if last.rise * step * _LONGER <= missing:
        return _LONGER
    return max(missing / (last.rise * step), _SHORTER)


def _refined(
    out: Callable[[float, Step], Step], inner: Step, outer: Step, threshold: float
) -> tuple[list[Step], list[Step]]:
    """Return the steps below the threshold, and from one near it outward."""
    within, beyond, halve = [inner], [outer], False
    for _ in range(_REFINEMENTS):
        if _near(beyond[0], threshold):
            break
        width = beyond[0].far - within[-1].far
        far = _crossing(within[-1], beyond[0], threshold)
        found = out(within[-1].far + 0.5 * width if halve else far, within[-1])
        if found.root < threshold * (1.0 - _NEAR):
            within.append(found)
        else:
            beyond.insert(0, found)
        halve = beyond[0].far - within[-1].far > 0.5 * width
    return within, beyond


def _near(step: Step, threshold: float) -> bool:
    return abs(step.root - threshold) <= _NEAR * threshold


def _reached(near: Step, step: float, threshold: float) -> float:
    """Return where the root deviance is at the threshold, by a straight line of a step at most."""
    missing = threshold - near.root
    if near.rise * step <= abs(missing):
        return near.far
    return near.far + missing / near.rise


def _crossing(inner: Step, outer: Step, threshold: float) -> float:
    """Return where the root deviance is at the threshold, by a cubic through both steps.

    Where that does not rise all the way, by a straight line.
    """
    width, height = outer.far - inner.far, outer.root - inner.root
    if not np.isfinite(height):
        return inner.far + 0.5 * width
    t = (threshold - inner.root) / height
    if inner.rise > 0.0 and outer.rise > 0.0:
        first, last = height / inner.rise, height / outer.rise
        cubic = t * t * (3.0 - 2.0 * t) * width
        cubic += t * (1.0 - t) * ((1.0 - t) * first - t * last)
        if 0.0 < cubic < width:
            return inner.far + cubic
    return inner.far + t * width
