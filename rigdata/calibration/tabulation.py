"""From the points of a calibration record to its series side by side."""

from __future__ import annotations

import math

import numpy as np

from rigdata.arrays import BoolArray, FloatArray, IntArray
from rigdata.calibration.series import SeriesTable
from rigdata.campaign.records import CalibrationRecord

# Loads this near to each other, as a share of the largest, count as equal (common practice, no
# source); what they differ by is taken out with the mean slope.
SAME_LOAD = 0.005


def tabulate(record: CalibrationRecord) -> SeriesTable:
    """Lay the series of a record side by side.

    Notes
    -----
    A series without a reading at no load has the mean zero of the others taken
    off, and nothing where no series has one (then the indicated value is the
    deflection, as with records that come without zeros).  Readings of one
    series at one load in one direction are averaged.
    """
    applied, indicated = record.applied, record.indicated
    names, first, series = np.unique(record.series, return_index=True, return_inverse=True)
    series = np.argsort(np.argsort(first))[series]  # numbered as they come in the file
    scale = float(np.max(np.abs(applied), initial=0.0)) or 1.0
    centred = applied - applied.mean()
    rise = float(centred @ indicated)
    slope = float(centred @ centred) / rise if rise != 0.0 else 0.0
    place, loads = _equal_loads(applied, SAME_LOAD * scale)
    # A load a little off its neighbours would have shown as much more or less.
    shown = indicated - ((applied - loads[place]) / slope if slope else 0.0)
    unloaded = np.abs(loads) <= SAME_LOAD * scale
    before, after = _zeros(names.size, series, unloaded[place], indicated)
    known = np.isfinite(before)
    zero = np.where(known, before, before[known].mean() if known.any() else 0.0)
    deflection = shown - zero[series]
    falling = record.direction == "down"
    up, down = (
        _cells(names.size, loads.size, series[way], place[way], deflection[way])[:, ~unloaded]
        for way in (~falling, falling)
    )
    mounting = np.zeros(names.size, np.int64)
    if record.mounting is not None:
        _, numbers = np.unique(record.mounting, return_inverse=True)
        mounting[series[::-1]] = numbers[::-1]
    return SeriesTable(
        loads=loads[~unloaded],
        up=up,
        down=down,
        zero_before=before,
        zero_after=after,
        mounting=mounting,
        mountings_told=record.mounting is not None,
        slope=slope,
    )


def _equal_loads(applied: FloatArray, near: float) -> tuple[IntArray, FloatArray]:
    """Return the group (n,) of each point and the mean load of each group, rising."""
    order = np.argsort(applied, kind="stable")
    group = np.zeros(applied.size, np.int64)
    start, number = -math.inf, -1
    for point in order:
        if applied[point] - start > near:
            start, number = float(applied[point]), number + 1
        group[point] = number
    loads = np.bincount(group, weights=applied) / np.bincount(group)
    return group, loads


def _zeros(
    count: int, series: IntArray, unloaded: BoolArray, indicated: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the first and the last reading without load of each series."""
    before, after = np.full(count, np.nan), np.full(count, np.nan)
    at = np.flatnonzero(unloaded)
    before[series[at[::-1]]] = indicated[at[::-1]]
    after[series[at]] = indicated[at]
    single = np.bincount(series[at], minlength=count) < 2
    return before, np.where(single, np.nan, after)


def _cells(
    rows: int, columns: int, row: IntArray, column: IntArray, values: FloatArray
) -> FloatArray:
    """Return the mean value of each cell, NaN where there is none."""
    total, count = np.zeros((rows, columns)), np.zeros((rows, columns))
    np.add.at(total, (row, column), values)
    np.add.at(count, (row, column), 1.0)
    return np.where(count > 0.0, total / np.maximum(count, 1.0), np.nan)
