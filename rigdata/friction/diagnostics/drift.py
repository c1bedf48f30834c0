"""Hysteresis between rising and falling sweeps, and drift over the order in time.

A run is dated by its day at best, so its number among the runs of its pack stands
for time between runs; within a run the log's own clock does.
"""

from __future__ import annotations

import numpy as np

from rigdata.arrays import BoolArray, FloatArray, IntArray, TextArray
from rigdata.campaign.campaign import Reference
from rigdata.friction.diagnostics import findings
from rigdata.friction.diagnostics.findings import Finding
from rigdata.friction.diagnostics.offered import offered
from rigdata.friction.diagnostics.words import found, plain
from rigdata.friction.estimate import Estimate
from rigdata.friction.joint import JointFit
from rigdata.friction.nesting import numbered
from rigdata.reduction.points import FrictionPoints

_LEAST_POINTS = 4  # each way
_NEAR_SPEED, _NEAR_KELVIN, _NEAR_PRESSURE = 1.5, 10.0, 1.25  # how near the reference counts
_SECONDS = 3600.0


def hysteresis(fit: JointFit, points: FrictionPoints) -> list[Finding]:
    """Return how much more mu is on rising than on falling sweeps, of all and of each kind.

    Only runs that go both ways count.  The way up comes first in time: plates that
    warm, or a drift within the run, look the same as far as the law does not follow
    them.
    """
    sides = _sides(points)
    kinds = list(dict.fromkeys(points.procedure[sides != 0.0].tolist()))
    result = []
    for kind in [None, *(kinds if len(kinds) > 1 else [])]:
        mine = np.where((points.procedure == kind) | (kind is None), sides, 0.0)
        if min(np.sum(mine > 0.0), np.sum(mine < 0.0)) < _LEAST_POINTS:
            continue
        estimate = _relative(fit, mine, sides - mine)
        if estimate is not None:
            what = "sweeps" if kind is None else f"{kind}s"
            result.append(
                found(
                    findings.HYSTERESIS + ("" if kind is None else f", {kind}"),
                    estimate,
                    "1",
                    more=f"mu is {{}} higher on rising than on falling {what}",
                    less=f"mu is {{}} lower on rising than on falling {what}",
                    none=f"rising and falling {what} agree",
                )
            )
    return result


def drift(fit: JointFit, points: FrictionPoints, reference: Reference) -> list[Finding]:
    """Return the trend of mu from run to run of a pack, at the reference, and within runs."""
    number, everywhere = run_numbers(points), np.ones(len(points), dtype=bool)
    between = centred(number, points.pack, everywhere)
    middle = 0.5 * (points.start_s + points.end_s) / _SECONDS
    timed = np.isfinite(middle)
    within = centred(np.where(timed, middle, 0.0), points.run, timed)
    # What sweeps differ by on their two ways is no drift: it stands beside.
    lengths = _lengths(points)
    minutes = float(np.median(lengths)) / _SECONDS * 60.0 if lengths.size else 0.0
    hourly = f"per hour within the runs of about {plain(minutes)} min"
    wanted: list[tuple[str, str, str, tuple[FloatArray, ...]]] = [
        (findings.DRIFT_PER_RUN, "1/run", "from run to run of a pack", (between,)),
        (findings.DRIFT_PER_HOUR, "1/h", hourly, (within, _sides(points))),
    ]
    near = _near(points, reference)
    where = "from run to run of a pack at the repeated reference condition"
    if len(set(points.run[near].tolist())) - len(set(points.pack[near].tolist())) >= 2:
        columns = (centred(number, points.pack, near), centred(number, points.pack, ~near))
        wanted.append((findings.DRIFT_AT_REFERENCE, "1/run", where, columns))
    result = []
    for name, unit, words, columns_of in wanted:
        estimate = _relative(fit, *columns_of)
        if estimate is not None:
            more, less = f"mu rises by {{}} {words}", f"mu falls by {{}} {words}"
            none = f"mu does not drift {words}"
            result.append(found(name, estimate, unit, more=more, less=less, none=none))
    return result


def _relative(fit: JointFit, first: FloatArray, *others: FloatArray) -> Estimate | None:
    """Return coefficients of columns relative to mu, None where the first is empty or held."""
    if not np.any(first):
        return None
    columns = [first, *(column for column in others if np.any(column))]
    return offered(fit, fit.curve[:, None] * np.stack(columns, axis=1))


def run_numbers(points: FrictionPoints) -> FloatArray:
    """Return the number of each point's run among the runs of its pack, from 1, (n,)."""
    (run, n_runs), (pack, n_packs) = numbered(points.run), numbered(points.pack)
    of_both, first, which = np.unique(pack * n_runs + run, return_index=True, return_inverse=True)
    in_order = np.lexsort((first, of_both // n_runs))  # pack by pack, as their runs appear
    packs = np.bincount(of_both // n_runs, minlength=n_packs)
    place = np.empty(of_both.size)
    place[in_order] = np.arange(of_both.size) - np.repeat(np.cumsum(packs) - packs, packs) + 1.0
    return place[which]


def run_spans(
    run: TextArray, start: FloatArray, end: FloatArray
) -> tuple[IntArray, FloatArray, FloatArray]:
    """Return the number (n,) of each point's run, and the first start and last end of each run.

    A time that is not known is NaN, and so are those of a run that has none.
    """
    number, count = numbered(run)
    first, last = np.full(count, np.nan), np.full(count, np.nan)
    np.fmin.at(first, number, start)
    np.fmax.at(last, number, end)
    return number, first, last


def _lengths(points: FrictionPoints) -> FloatArray:
    """Return how long the points of each run last, of those runs that tell. [s]"""
    _, first, last = run_spans(points.run, points.start_s, points.end_s)
    lengths = last - first
    return lengths[np.isfinite(lengths)]


def _sides(points: FrictionPoints) -> FloatArray:
    """Return one half on the way up and minus one half down, in runs with both ways, (n,)."""
    up, down = points.direction == "up", points.direction == "down"
    both = set(points.run[up].tolist()) & set(points.run[down].tolist())
    sides: FloatArray = 0.5 * up - 0.5 * down
    return np.where(np.isin(points.run, sorted(both)), sides, 0.0)


def centred(values: FloatArray, names: TextArray, chosen: BoolArray) -> FloatArray:
    """Return `values` less their mean over the chosen points of each name, 0 elsewhere."""
    number, count = numbered(names)
    total = np.bincount(number[chosen], values[chosen], minlength=count)
    mean = total / np.maximum(np.bincount(number[chosen], minlength=count), 1)
    return np.where(chosen, values - mean[number], 0.0)


def _near(points: FrictionPoints, reference: Reference) -> BoolArray:
    """Return which points lie so near the reference condition that a law hardly matters."""
    speed = np.abs(np.log(points.slip_speed_m_s / reference.slip_speed_m_s))
    pressure = np.abs(np.log(points.pressure_mpa / reference.pressure_mpa))
    near: BoolArray = (
        (speed <= np.log(_NEAR_SPEED))
        & (pressure <= np.log(_NEAR_PRESSURE))
        & (np.abs(points.temperature_c - reference.temperature_c) <= _NEAR_KELVIN)
    )
    return near
