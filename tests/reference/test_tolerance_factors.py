"""Tolerance factors against published tables and an independent implementation's values.

Sources: ISO 16269-6:2014 Annex F as an independent package's tests quote it (ceilings at the
fourth decimal); NIST/SEMATECH e-Handbook 7.2.6.3, whose 2.2173 is Howe's approximation: the exact
factor is 2.2228252.
"""

import numpy as np
import pytest
from scipy import stats

from rigdata.comparison.tolerance import two_sided_factor


@pytest.mark.parametrize(
    ("n", "batches", "k"),
    [(8, 1, 2.7542), (8, 3, 2.2244), (16, 5, 1.9163), (2, 1, 15.5124), (35, 1, 1.9906),
     (35, 10, 1.7643)],
)  # fmt: skip
def test_iso_16269_6_annex_f_pooled(n, batches, k):
    found = two_sided_factor(n, batches * (n - 1), 0.90, 0.90)
    assert np.ceil(found * 1e4 - 1e-6) / 1e4 == pytest.approx(k, abs=1e-9)


@pytest.mark.parametrize(
    ("n", "share", "k"),
    [(5, 0.90, 4.2906), (5, 0.95, 5.0769), (5, 0.99, 6.5980), (10, 0.90, 2.8563),
     (20, 0.95, 2.7603), (43, 0.99, 3.1860), (100, 0.90, 1.8748)],
)  # fmt: skip
def test_two_sided_exact(n, share, k):
    assert two_sided_factor(n, n - 1, share, 0.95) == pytest.approx(k, abs=5e-5)


def test_nist_handbook_example_is_howes_approximation():
    exact = two_sided_factor(43, 42, 0.90, 0.99)
    howe = stats.norm.ppf(0.95) * np.sqrt(42 * (1 + 1 / 43) / stats.chi2.ppf(0.01, 42))
    assert exact == pytest.approx(2.2228252, abs=5e-7)
    assert howe == pytest.approx(2.2173, abs=5e-5)


def test_a_known_spread_needs_only_the_normal_quantile():
    assert two_sided_factor(1e9, 1e9, 0.95, 0.5) == pytest.approx(1.959964, abs=1e-4)
