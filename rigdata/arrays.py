"""Array types and the read-only habit of every result in this package."""

from __future__ import annotations

import copyreg
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
TextArray = NDArray[np.str_]


def frozen(values: ArrayLike, dtype: Any = np.float64) -> NDArray[Any]:
    """Return a read-only copy of `values`.

    A frozen dataclass does not freeze the arrays inside it, so results pass
    their arrays through here on construction.
    """
    array = np.array(values, dtype=dtype)
    array.setflags(write=False)
    return array


def _read_only(content: dict[Any, Any]) -> MappingProxyType[Any, Any]:
    return MappingProxyType(content)


def _reduced(mapping: MappingProxyType[Any, Any]) -> tuple[Any, ...]:
    return _read_only, (dict(mapping),)


# The read-only mappings of results travel between processes; Python alone does not pickle them.
copyreg.pickle(MappingProxyType, _reduced)
