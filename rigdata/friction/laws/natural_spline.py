"""Curves through knots that are straight beyond the first and the last of them.

A natural cubic spline with `k` knots has `k` coefficients.  Two of them are a straight
line, which bends nowhere; here are the other ``k - 2`` functions, ordered from the
broadest bend to the finest, so that the bending energy of any curve is a plain sum
of squares of its coefficients (S. N. Wood, Generalized Additive Models, 2nd ed.,
5.3.1 for the spline, 5.4.2 for the diagonal form).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy import interpolate

from rigdata.arrays import FloatArray


def bends(knots: tuple[float, ...], x: FloatArray) -> FloatArray:
    """Return the bends over `knots` at `x`.

    Parameters
    ----------
    knots : tuple of k float
        Rising, two at least.
    x : (n,) array
        Where; beyond the knots the functions go on as straight lines.

    Returns
    -------
    (n, k - 2) array
        Functions that are orthogonal over the knots to straight lines and to each
        other.  The first has a root mean square of 1 over the knots, and all have the
        same bending energy, so the finer ones are smaller.

    Notes
    -----
    With ``u = (x - x_1) / (x_k - x_1)`` the energy of ``sum b_i r_i`` is
    ``integral (d^2 f / du^2)^2 du = e sum b_i^2``, with `e` from `bending_energy`.
    """
    if len(knots) == 2:
        return np.zeros((x.size, 0))
    spline, _ = _basis(knots)
    inside = np.clip(x, knots[0], knots[-1])
    value: FloatArray = spline(inside)
    beyond = (x - inside) != 0.0
    if np.any(beyond):
        value[beyond] += spline(inside[beyond], 1) * (x - inside)[beyond, None]
    return value


def line_and_bends(knots: tuple[float, ...], x: FloatArray) -> FloatArray:
    """Return a straight line, of unit root mean square over even knots, and the bends, (n, k - 1).

    No columns where there are no knots.
    """
    if not knots:
        return np.zeros((x.size, 0))
    line = np.sqrt(12.0) * ((x - knots[0]) / (knots[-1] - knots[0]) - 0.5)
    return np.concatenate([line[:, None], bends(knots, x)], axis=1)


def bending_energy(knots: tuple[float, ...]) -> float:
    """Return the bending energy of each function of `bends`, over knots scaled to 0 to 1."""
    return _basis(knots)[1]


@lru_cache(maxsize=32)
def _basis(knots: tuple[float, ...]) -> tuple[interpolate.CubicSpline, float]:
    places = np.array(knots)
    scaled = (places - places[0]) / (places[-1] - places[0])
    size = scaled.size
    each = interpolate.CubicSpline(scaled, np.eye(size), bc_type="natural")
    curvature = each(scaled, 2)  # at the knots, a straight line between them
    step = np.diff(scaled)
    mass = np.zeros((size, size))
    inner = np.arange(size - 1)
    mass[inner, inner] += step / 3.0
    mass[inner + 1, inner + 1] += step / 3.0
    mass[inner, inner + 1] = mass[inner + 1, inner] = step / 6.0
    energies, shapes = np.linalg.eigh(curvature.T @ mass @ curvature)
    energies, shapes = energies[2:], shapes[:, 2:]  # straight lines bend nowhere
    shapes = shapes * np.sign(shapes[-1])  # an eigenvector has no sign of its own
    broadest = size * float(energies[0])
    values = shapes * np.sqrt(broadest / energies)
    return interpolate.CubicSpline(places, values, bc_type="natural"), broadest
