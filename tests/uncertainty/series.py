"""Noise whose correlation is known, for the tests beside this file."""

from __future__ import annotations

import numpy as np
from scipy.signal import lfilter


def ar1(r: float, shape: tuple[int, ...], seed: int) -> np.ndarray:
    """Stationary AR(1) series of unit variance."""
    noise = np.random.default_rng(seed).normal(size=(*shape[:-1], shape[-1] + 600))
    return lfilter([np.sqrt(1 - r**2)], [1.0, -r], noise, axis=-1)[..., 600:]
