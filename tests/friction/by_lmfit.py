"""A fit made again by lmfit, for comparison with refits of our own."""

import lmfit
import numpy as np


def minimised(solution, root, **how):
    """The parameters of least squares of what `root` makes of the residuals."""
    (block,), reference = solution.design.blocks, solution.design.reference
    theta, free = solution.estimate.theta, np.flatnonzero(solution.free)
    parameters = lmfit.Parameters()
    for i in free:
        parameters.add(f"p{i}", value=1.0)  # relative to the fit; none comes near a bound

    def trial(values):
        there = theta.copy()
        there[free] *= [values[f"p{i}"].value for i in free]
        return there

    def residual(values):
        mu = block.law.mu(block.conditions, trial(values), reference)
        return root(solution.design.mu - mu)

    return trial(lmfit.minimize(residual, parameters, **how).params)
