"""The difference of two lock torques, in which what both have in common cancels."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.lockup.torque import Lock, Z


@dataclass(frozen=True, eq=False)
class Difference:
    """One lock torque less another at m operating points.

    Attributes
    ----------
    value_nm : (m,) float
        [N m]
    half_nm : (m,) float
        Half the 95 % interval, for the means of such packs. [N m]
    next_half_nm : (m,) float
        The same for one more pack, of each material where there are two; NaN where only
        one pack was tested. [N m]
    cancelled : (m,) float
        Share of the two variances that they have in common.
    """

    value_nm: FloatArray
    half_nm: FloatArray
    next_half_nm: FloatArray
    cancelled: FloatArray


def difference(one: Lock, other: Lock) -> Difference:
    """Return one lock torque less another at as many operating points.

    Notes
    -----
    A cause that both name, which moves them by ``c_1`` and ``c_2``, moves their
    difference by ``c_1 - c_2``.  Within one table all components are shared, and a pack
    that grips more does so at all conditions.  The rest of each variance adds up.
    """
    same = one.table is other.table
    pairs = list(_pairs(one, other, same=same))
    apart = np.sqrt(np.sum([(a - b) ** 2 for a, b in pairs], axis=0, initial=0.0))
    left = []
    for i, lock in enumerate((one, other)):
        taken = np.sum([pair[i] ** 2 for pair in pairs], axis=0, initial=0.0)
        left.append(np.sqrt(np.maximum(lock.u_nm**2 - taken, 0.0)))
    wide = [_widening(lock) for lock in (one, other)]
    # Scatter that was found with few degrees of freedom is among what one table shares.
    shared = (np.maximum(*wide) if same else Z) * apart
    half = np.sqrt(shared**2 + (wide[0] * left[0]) ** 2 + (wide[1] * left[1]) ** 2)
    packs = [_of_pack(lock) for lock in (one, other)]
    pack = np.abs(packs[0] - packs[1]) if same else np.hypot(*packs)
    total = apart**2 + left[0] ** 2 + left[1] ** 2
    apart_u2 = one.u_nm**2 + other.u_nm**2
    return Difference(
        one.lock_nm - other.lock_nm, half, np.hypot(half, pack), 1.0 - total / apart_u2
    )


def _pairs(one: Lock, other: Lock, *, same: bool) -> Iterator[tuple[FloatArray, FloatArray]]:
    """Yield what each common cause moves one and the other by, (m,) each."""
    places: dict[str, int] = {}
    for j, cause in enumerate(other.causes):
        places[_key(cause, j, same=same)] = j
    for i, cause in enumerate(one.causes):
        key = _key(cause, i, same=same)
        if key in places and key:
            yield one.moved_nm[i], other.moved_nm[places[key]]


def _key(cause: str, place: int, *, same: bool) -> str:
    """Return what two causes have in common only when they are one."""
    return cause or (f"{place}" if same else "")


def _widening(lock: Lock) -> FloatArray:
    """Return how many standard uncertainties make half the interval of the mean, (m,)."""
    factor: FloatArray = (lock.high_nm - lock.lock_nm) / lock.u_nm
    return factor


def _of_pack(lock: Lock) -> FloatArray:
    """Return what one more pack adds to half the interval, (m,)."""
    half, more = lock.high_nm - lock.lock_nm, lock.next_high_nm - lock.lock_nm
    added: FloatArray = np.sqrt(np.maximum(more**2 - half**2, 0.0))
    return added
