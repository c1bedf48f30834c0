"""Leverage and influence of single points of a straight line, against other programs.

The line is NIST's Norris (data/norris.csv), with one variance for all points and nothing
shared: there leaving out a set of one point has the textbook closed forms (Cook and
Weisberg 1982).  LEVERAGE and DFFITS are from OLSInfluence of statsmodels 0.15.0
(`hat_matrix_diag` and `dffits_internal`), to the digits given; where statsmodels is
installed, all points are held against it.
"""

from pathlib import Path

import numpy as np
import pytest
from scipy import sparse

from rigdata.friction.case_deletion import without
from rigdata.friction.columns import columns_of
from rigdata.friction.mixed_model import MixedModel, profile

DATA = Path(__file__).parent / "data" / "norris.csv"
PLACES = [0, 5, 20, 35]
LEVERAGE = [0.0691988885, 0.0365377559, 0.106233119, 0.0691395924]
DFFITS = [0.0517124832, 0.310078957, 0.146066557, -0.0123663867]


@pytest.fixture(scope="module")
def line():
    """x, y, and the fit of a line to them with its variance."""
    y, x = np.loadtxt(DATA, delimiter=",", skiprows=1).T
    design = np.stack([np.ones_like(x), x], axis=1)
    beta, rss, *_ = np.linalg.lstsq(design, y)
    each = np.arange(x.size)
    model = MixedModel(
        residual=y,
        design=design,
        diagonal=np.full(x.size, rss[0] / (x.size - 2)),
        columns=columns_of(sparse.csr_array((x.size, 0)), each[:0], np.zeros_like(each), each),
        components=(),
    )
    here = profile(model, np.zeros(0))
    assert here.step == pytest.approx(beta, rel=1e-9)
    return x, y, design, here


def of_points(here, design):
    """Leverage of each point on the line at itself, and how far that moves without it in u."""
    leverage, change = without(here, design, [np.array([i]) for i in range(len(design))])
    u = np.sqrt(np.sum((design @ here.covariance) * design, axis=1))
    return np.diag(leverage), np.diag(change) / u


def test_a_few_points(line):
    *_, design, here = line
    leverage, moved = of_points(here, design)
    assert leverage[PLACES] == pytest.approx(LEVERAGE, rel=1e-6)
    assert moved[PLACES] == pytest.approx(-np.array(DFFITS), rel=1e-6)
    assert leverage.sum() == pytest.approx(2.0, rel=1e-9)  # as many as parameters


def test_all_points_against_another_program(line):
    api = pytest.importorskip("statsmodels.api")
    influence = pytest.importorskip("statsmodels.stats.outliers_influence")
    _, y, design, here = line
    other = influence.OLSInfluence(api.OLS(y, design).fit())
    leverage, moved = of_points(here, design)
    assert leverage == pytest.approx(other.hat_matrix_diag, rel=1e-8)
    assert moved == pytest.approx(-other.dffits_internal[0], rel=1e-6, abs=1e-9)
    _, parameters = without(here, np.eye(2), [np.array([i]) for i in range(len(y))])
    scaled = parameters / np.sqrt(np.diag(here.covariance))
    # DFBETAS with the variance of all points, not of those that are left.
    own = other.dfbetas * np.sqrt(other.sigma2_not_obsi)[:, None] / np.sqrt(other.results.mse_resid)
    assert scaled == pytest.approx(-own, rel=1e-6, abs=1e-9)
