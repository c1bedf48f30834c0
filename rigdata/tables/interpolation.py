"""Linear interpolation on a grid of slip speed, temperature, pressure, and dwell where it has one.

This is what a setup calculator does with the table: linear in these quantities
themselves, one axis after the other (trilinear, with a dwell quadrilinear).
"""

from __future__ import annotations

import itertools

import numpy as np

from rigdata.arrays import FloatArray, IntArray

Axes = tuple[FloatArray, ...]
_BLOCK = 8192  # readings worked on together, so that they stay in fast memory


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
    fields = np.ascontiguousarray(np.moveaxis(values, 0, -1)).reshape(-1, values.shape[0])
    gaps = bool(np.isnan(fields).any())
    strides = np.cumprod([1, *(nodes.size for nodes in axes[:0:-1])])[::-1]
    count = conditions[0].size
    result = np.empty((count, values.shape[0]))
    for start in range(0, count, _BLOCK):
        block = slice(start, start + _BLOCK)
        places = [_place(nodes, at[block]) for nodes, at in zip(axes, conditions, strict=True)]
        total = np.zeros((len(result[block]), values.shape[0]))
        for corner in itertools.product((0, 1), repeat=len(axes)):
            node = np.zeros(len(total), dtype=np.int64)
            weight = np.ones(len(total))
            for upper, stride, (low, high, share) in zip(corner, strides, places, strict=True):
                node += int(stride) * (high if upper else low)
                weight *= share if upper else 1.0 - share
            part = fields[node] * weight[:, None]
            # A corner of weight zero must not spread its NaN.
            total += np.where(weight[:, None] > 0.0, part, 0.0) if gaps else part
        result[block] = total
    return np.ascontiguousarray(result.T)


def _place(nodes: FloatArray, at: FloatArray) -> tuple[IntArray, IntArray, FloatArray]:
    """Return the nodes below and above each value and how far it is to the upper one."""
    if nodes.size == 1:
        zero = np.zeros(at.size, dtype=np.int64)
        return zero, zero, np.zeros(at.size)
    low = np.clip(np.searchsorted(nodes, at, side="right") - 1, 0, nodes.size - 2)
    share = (at - nodes[low]) / (nodes[low + 1] - nodes[low])
    return low, low + 1, np.clip(share, 0.0, 1.0)
