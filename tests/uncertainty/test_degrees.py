import numpy as np
import pytest
from scipy import stats

from rigdata.uncertainty.degrees import coverage_factor, interval_dof, welch_satterthwaite


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


def interval_coverage(rule, sizes, sds, seed=3, draws=40_000):
    """Share of t intervals of a difference of two means that hold 0, by `rule` for the dof."""
    rng = np.random.default_rng(seed)
    groups = [rng.normal(0, sd, (draws, n)) for n, sd in zip(sizes, sds, strict=True)]
    squares = np.stack([g.var(axis=1, ddof=1) / g.shape[1] for g in groups], axis=1)
    dof = rule(np.sqrt(squares), np.array(sizes) - 1.0)
    half = stats.t.ppf(0.975, dof) * np.sqrt(squares.sum(axis=1))
    return np.mean(np.abs(groups[0].mean(axis=1) - groups[1].mean(axis=1)) < half)


@pytest.mark.parametrize("sds", [(1.0, 1.0), (1.0, 2.0), (1.0, 4.0)])
@pytest.mark.parametrize("sizes", [(3, 3), (4, 4), (3, 5)])
def test_intervals_of_small_groups_hold_what_they_say(sizes, sds):
    # 40,000 draws know a share of 95 % to 0.1 %.
    assert 0.928 < interval_coverage(interval_dof, sizes, sds) < 0.962


def test_the_plain_formula_is_wider_for_equal_groups():
    plain = interval_coverage(welch_satterthwaite, (3, 3), (1.0, 1.0))
    assert plain > interval_coverage(interval_dof, (3, 3), (1.0, 1.0)) + 0.004


def test_interval_dof_of_one_cause_and_of_known_causes():
    assert interval_dof([0.2], [7.0]) == pytest.approx(7.0)
    assert interval_dof([0.2, 0.0], [7.0, 2.0]) == pytest.approx(7.0)
    assert interval_dof([0.2, 0.3], [np.inf, np.inf]) == np.inf
    assert interval_dof([1.0, 1.0], [4.0, 4.0]) == pytest.approx(8.0)  # not above the sum
    both = ([1.0, 0.5], [1.0, 6.0])
    assert interval_dof(*both) == pytest.approx(welch_satterthwaite(*both))


def test_a_part_that_is_rounding_lends_no_degrees_of_freedom():
    """Two equal groups of five packs have eight at most, whatever rounding leaves beside them."""
    alone = interval_dof([1.0, 1.0], [4.0, 4.0])
    assert alone == pytest.approx(8.0)
    assert interval_dof([1.0, 1.0, 1e-9], [4.0, 4.0, 30.0]) == pytest.approx(alone)
    assert interval_dof([1.0, 1e-9], [4.0, 1.0]) == pytest.approx(4.0)


@pytest.mark.parametrize("size", [1e-90, 1e90])
def test_the_unit_of_the_contributions_does_not_matter(size: float) -> None:
    """A law that the tests do not determine states uncertainties beyond all measure."""
    parts, dof = np.array([[3.0, 4.0, 0.5], [0.0, 0.0, 0.0]]), [2.0, 5.0, 9.0]
    for degrees in (welch_satterthwaite, interval_dof):
        assert degrees(size * parts, dof) == pytest.approx(degrees(parts, dof), rel=1e-12)
