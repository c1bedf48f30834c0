"""Linear interpolation on a grid of slip speed, temperature, pressure, and dwell where it has one.

This is what a setup calculator does with the table: linear in these quantities
themselves, one axis after the other (trilinear, with a dwell quadrilinear).
"""

from __future__ import annotations

from typing import Any

import numpy as np

from rigdata.arrays import FloatArray, IntArray

Axes = tuple[FloatArray, ...]


def interpolate(axes: Axes, values: FloatArray, conditions: Axes) -> FloatArray:
    """Interpolate linearly between the nodes of a grid.

    Parameters
    ----------
    axes : arrays (n_v,), (n_t,), (n_p,), ...
        Nodes of each axis, strictly increasing; one node where an axis was
        held at one value.
    values : (k, n_v, n_t, n_p, ...) array
        Fields on the nodes.  A NaN node makes the cells around it NaN.
    conditions : as many (m,) arrays
        Where to read, within the axes (outside, the edge value holds).

    Returns
    -------
    (k, m) array
    """
    places = [_place(nodes, at) for nodes, at in zip(axes, conditions, strict=True)]
    result = np.zeros((values.shape[0], conditions[0].size))
    for corner in np.ndindex((2,) * len(axes)):
        index: list[Any] = [slice(None)]
        weight = np.ones(conditions[0].size)
        for upper, (low, high, share) in zip(corner, places, strict=True):
            index.append(high if upper else low)
            weight = weight * (share if upper else 1.0 - share)
        # A corner of weight zero must not spread its NaN.
        corner_values = values[tuple(index)]
        result += np.where(weight > 0.0, corner_values * weight, 0.0)
    return result


def _place(nodes: FloatArray, at: FloatArray) -> tuple[IntArray, IntArray, FloatArray]:
    """Return the nodes below and above each value and how far it is to the upper one."""
    if nodes.size == 1:
        zero = np.zeros(at.size, dtype=np.int64)
        return zero, zero, np.zeros(at.size)
    low = np.clip(np.searchsorted(nodes, at, side="right") - 1, 0, nodes.size - 2)
    share = (at - nodes[low]) / (nodes[low + 1] - nodes[low])
    return low, low + 1, np.clip(share, 0.0, 1.0)
