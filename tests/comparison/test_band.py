import numpy as np
import pytest
from scipy import stats

from rigdata.comparison.band import simultaneous_level


def test_one_place_needs_no_more():
    assert simultaneous_level(np.ones((1, 1)), np.ones((1, 1))) == pytest.approx(0.95, abs=0.003)


def test_places_that_move_together_need_no_more():
    assert simultaneous_level(np.ones((9, 1)), np.ones((1, 1))) == pytest.approx(0.95, abs=0.003)


def test_independent_places_need_sidaks_level():
    # Z. Sidak, J. Am. Stat. Assoc. 62 (1967) 626: 0.95^(1/k) for k independent statements.
    found = simultaneous_level(np.eye(5), np.diag([1.0, 4.0, 9.0, 0.1, 2.0]))
    assert found == pytest.approx(0.95**0.2, abs=0.002)


def test_a_straight_line_is_held_by_the_studentised_maximum():
    # For a line over a fine grid the critical value lies between the pointwise one and Scheffe's
    # with two parameters (H. Scheffe, The Analysis of Variance, 1959).
    x = np.linspace(-1.0, 1.0, 21)
    gradient = np.column_stack([np.ones_like(x), x])
    level = simultaneous_level(gradient, np.diag([1.0, 3.0]))
    critical = stats.norm.ppf(0.5 + level / 2.0)
    assert 1.96 < critical < np.sqrt(stats.chi2.ppf(0.95, 2))


def test_what_does_not_vary_is_left_aside():
    gradient = np.array([[0.0, 0.0], [1.0, 0.0]])
    assert simultaneous_level(gradient, np.eye(2)) == pytest.approx(0.95, abs=0.003)
    assert simultaneous_level(gradient[:1], np.eye(2)) == 0.95
