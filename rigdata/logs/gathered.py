"""Numbers that come piece by piece, put together as they come."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import DTypeLike, NDArray


class Gathered:
    """One array for all pieces, asked for once if its size is guessed well.

    Pieces kept by themselves would lie between what each block of a log needs for a
    while, so that its memory could never be used again as a whole.

    Parameters
    ----------
    dtype : dtype
        Of the numbers.
    expected : int
        How many there may be; there may be more.
    """

    def __init__(self, dtype: DTypeLike, expected: int) -> None:
        self._held: NDArray[Any] = np.empty(max(expected, 1), dtype)
        self._count = 0

    def add(self, values: NDArray[Any]) -> None:
        """Take the next numbers."""
        start, stop = self._count, self._count + values.size
        if stop > self._held.size:
            larger = np.empty(2 * stop, self._held.dtype)
            larger[:start] = self._held[:start]
            self._held = larger
        self._held[start:stop] = values
        self._count = stop

    def all(self) -> NDArray[Any]:
        """Return all of them."""
        return self._held[: self._count]
