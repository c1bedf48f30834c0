"""Nested and uneven layouts against published components and another program.

Sources: Pastes, 10 deliveries of 3 casks analysed twice (O. L. Davies and P. L. Goldsmith,
Statistical Methods in Research and Production, 4th ed. (1972), 6.5; values and components
from memory, the components confirmed by their closed form); MixedLM of statsmodels.
"""

import warnings

import numpy as np
import pandas as pd
import pytest
from scipy import sparse, stats

from rigdata.friction.columns import columns_of
from rigdata.friction.estimate import Estimate
from rigdata.friction.mixed_model import Component, MixedModel, sensitivity
from rigdata.friction.variance_components import mean_squares, restricted_variances

NAMES = ("pack", "run", "misfit")
PASTES = np.array(
    [
        [[62.8, 62.6], [60.1, 62.3], [62.7, 63.1]],
        [[60.0, 61.4], [57.5, 56.9], [61.1, 58.9]],
        [[58.7, 57.5], [63.9, 63.1], [65.4, 63.7]],
        [[57.1, 56.4], [56.9, 58.6], [64.7, 64.5]],
        [[55.1, 55.1], [54.7, 54.2], [58.8, 57.5]],
        [[63.4, 64.9], [59.3, 58.1], [60.5, 60.0]],
        [[62.5, 62.6], [61.0, 58.7], [56.9, 57.7]],
        [[59.2, 59.4], [65.2, 66.0], [64.8, 64.1]],
        [[54.8, 54.8], [64.0, 64.0], [57.7, 56.8]],
        [[58.3, 59.3], [59.2, 59.2], [58.9, 56.6]],
    ]
)


def members(names):
    return (names[:, None] == np.unique(names)[None, :]).astype(float)


def nested(y, pack, run, design=None):
    """Points in runs in packs, every run with a name of its own."""
    n = y.size
    return MixedModel(
        residual=y,
        design=np.ones((n, 1)) if design is None else design,
        diagonal=np.zeros(n),
        columns=columns_of(
            sparse.csr_array(np.concatenate([members(pack), members(run)], axis=1)),
            [0] * np.unique(pack).size + [1] * np.unique(run).size,
            pack,
            run,
        ),
        components=(
            Component("pack"),
            Component("run"),
            Component("misfit", weights=np.ones(n)),
        ),
    )


def solved(model):
    spread = np.var(model.residual)
    variances, at, converged = restricted_variances(model, np.full(3, spread / 3))
    assert converged
    return variances, at


@pytest.fixture(scope="module")
def pastes():
    batch = np.repeat(np.arange(10), 6)
    return nested(PASTES.ravel(), batch, np.repeat(np.arange(30), 2))


def test_pastes_components_and_mean(pastes):
    variances, at = solved(pastes)
    assert np.sqrt(variances) == pytest.approx([1.2873650, 2.9040776, 0.8234076], rel=1e-6)
    assert at.step == pytest.approx([60.0533333], rel=1e-9)
    assert np.sqrt(at.covariance[0, 0]) == pytest.approx(0.6768701, rel=1e-6)


def test_pastes_components_are_those_of_the_mean_squares(pastes):
    variances, _ = solved(pastes)
    cask, batch = PASTES.mean(axis=2), PASTES.mean(axis=(1, 2))
    within = np.sum((PASTES - cask[:, :, None]) ** 2) / 30
    casks = 2 * np.sum((cask - batch[:, None]) ** 2) / 20
    batches = 6 * np.sum((batch - PASTES.mean()) ** 2) / 9
    expected = [(batches - casks) / 6, (casks - within) / 2, within]
    assert variances == pytest.approx(expected, rel=1e-9)


def test_the_mean_of_pastes_has_the_degrees_of_freedom_of_its_batches(pastes):
    """9, as Kenward and Roger, and Satterthwaite, have it where all is balanced."""
    variances, at = solved(pastes)
    slope = sensitivity(pastes, at)
    squares = mean_squares(at, variances, NAMES)
    estimate = Estimate(at.step, at.covariance, NAMES, variances, slope, *squares)
    assert estimate.dof == pytest.approx([9.0, 20.0, 30.0], rel=1e-8)
    half = estimate.half_width(np.ones((1, 1)))
    assert half / 0.6768701 == pytest.approx([stats.t.ppf(0.975, 9)], rel=1e-6)


def uneven(seed):
    """Points of 6 packs with 1 to 5 runs of 2 to 9 points, with a slope."""
    rng = np.random.default_rng(seed)
    rows = []
    for i in range(6):
        pack_error = rng.normal(0.0, 2.0)
        for j in range(1 + (5 * i) // 6):
            run_error = rng.normal(0.0, 1.0)
            for _ in range(rng.integers(2, 10)):
                x = rng.uniform(-1.0, 1.0)
                y = 10.0 + 0.8 * x + pack_error + run_error + rng.normal(0.0, 0.7)
                rows.append((i, f"{i}-{j}", x, y))
    return pd.DataFrame(rows, columns=["pack", "run", "x", "y"])


@pytest.mark.parametrize("seed", [1, 2, 5])
def test_uneven_layouts_against_another_program(seed):
    """MixedLM stops some way off its maximum, so the likelihoods are held together too."""
    api = pytest.importorskip("statsmodels.formula.api")
    table = uneven(seed)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns whenever a step was not downhill
        other = api.mixedlm(
            "y ~ x", table, groups="pack", re_formula="1", vc_formula={"run": "0 + C(run)"}
        ).fit(reml=True, method=["powell", "nm"], xtol=1e-10, ftol=1e-14, maxiter=5000)
    design = np.stack([np.ones(len(table)), table.x.to_numpy()], axis=1)
    model = nested(table.y.to_numpy(), table["pack"].to_numpy(), table["run"].to_numpy(), design)
    variances, at = solved(model)
    theirs = [float(other.cov_re.iloc[0, 0]), float(other.vcomp[0]), float(other.scale)]
    assert variances == pytest.approx(theirs, rel=2e-4)
    assert at.step == pytest.approx(other.fe_params.to_numpy(), rel=1e-5)
    # Its own standard errors are of the observed information, so V is made up by hand.
    pack, run = members(table["pack"].to_numpy()), members(table["run"].to_numpy())
    v = theirs[0] * pack @ pack.T + theirs[1] * run @ run.T + theirs[2] * np.eye(len(table))
    covariance = np.linalg.inv(design.T @ np.linalg.solve(v, design))
    assert at.covariance == pytest.approx(covariance, rel=1e-3)
    assert at.restricted >= other.llf - 1e-9
    assert at.restricted == pytest.approx(other.llf, abs=1e-6)
