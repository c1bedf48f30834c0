"""Residuals of a design brought to unit covariance, with that covariance kept fixed."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.friction.design import Design
from rigdata.friction.inverse import inverse_of
from rigdata.friction.mixed_model import MixedModel

_FEW_POINTS = 300


class Whitened:
    """Residuals of a design and their derivatives under the covariance at `theta`."""

    def __init__(self, design: Design, theta: FloatArray, variances: FloatArray) -> None:
        model = design.linearised(theta, design.free)
        self._design, self._whole = design, theta
        self._whiten = _whitener(model, variances)

    def placed(self, values: FloatArray) -> FloatArray:
        """Return all parameters with the free ones at `values`."""
        theta = self._whole.copy()
        theta[self._design.free] = values
        return theta

    def residual(self, values: FloatArray) -> FloatArray:
        """Return the whitened residuals."""
        return self._whiten(-self._design.residual(self.placed(values)))

    def jacobian(self, values: FloatArray) -> FloatArray:
        """Return their derivatives."""
        slopes = self._design.tangent(self.placed(values))
        return self._whiten(slopes[:, self._design.free])


def _whitener(model: MixedModel, variances: FloatArray) -> Callable[[FloatArray], FloatArray]:
    """Return a function that gives columns unit covariance: ``A^T A = V^-1``."""
    variance, scale = model.variance(variances), model.scale(variances)
    n = variance.size
    if n <= _FEW_POINTS:  # a dense root is then quicker than products level by level
        columns = model.columns.dense(scale)
        root = np.linalg.inv(np.linalg.cholesky(np.diag(variance) + columns @ columns.T))
        return lambda right: root @ right
    none = np.zeros((n, 0))
    inverse = inverse_of(model.columns, scale, variance, none, none)
    if inverse is None:
        raise ValueError("the covariance is not positive")
    return inverse.whiten
