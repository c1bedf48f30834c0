import numpy as np
import pytest

from rigdata.uncertainty.degrees import coverage_factor, welch_satterthwaite


def test_one_cause_keeps_its_degrees_of_freedom() -> None:
    assert welch_satterthwaite([0.3], [7.0]) == pytest.approx(7.0)


def test_equal_causes_add_their_degrees_of_freedom() -> None:
    assert welch_satterthwaite([1.0, -1.0, 1.0], [5.0, 5.0, 5.0]) == pytest.approx(15.0)


def test_known_causes_have_infinite_degrees_of_freedom() -> None:
    assert welch_satterthwaite([1.0, 2.0], [np.inf, np.inf]) == np.inf
    assert welch_satterthwaite([0.0, 2.0], [4.0, np.inf]) == np.inf
    assert welch_satterthwaite([1.0, 1.0], [4.0, np.inf]) == pytest.approx(16.0)


def test_many_results_at_once() -> None:
    parts = np.array([[1.0, 0.0], [0.0, 1.0], [1.0, 1.0]])
    assert welch_satterthwaite(parts, [3.0, 9.0]) == pytest.approx([3.0, 9.0, 9.0])


def test_normal_factor_is_the_limit() -> None:
    assert coverage_factor(np.inf) == pytest.approx(1.959963985, rel=1e-9)
    assert coverage_factor(1e7) == pytest.approx(1.959963985, rel=1e-6)


def test_between_integers_the_factor_lies_between() -> None:
    below, at, above = coverage_factor([4.0, 4.5, 5.0])
    assert above < at < below
    assert coverage_factor(4.5, truncate=True) == below
    assert coverage_factor(0.7, truncate=True) == coverage_factor(0.7)


@pytest.mark.parametrize("dof", [0.0, -1.0, np.nan])
def test_degrees_of_freedom_must_be_positive(dof: float) -> None:
    with pytest.raises(ValueError, match="degrees of freedom"):
        coverage_factor(dof)
    with pytest.raises(ValueError, match="degrees of freedom"):
        welch_satterthwaite([1.0], [dof])


def test_level_is_a_probability() -> None:
    with pytest.raises(ValueError, match="level"):
        coverage_factor(5.0, 95.0)
