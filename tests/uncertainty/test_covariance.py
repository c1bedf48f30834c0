import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rigdata.uncertainty.covariance import LowRankCovariance


def example(n: int, s: int, seed: int, size: float = 1.0) -> LowRankCovariance:
    rng = np.random.default_rng(seed)
    return LowRankCovariance(rng.uniform(0.5, 2.0, n), size * rng.normal(size=(n, s)))


def dense(covariance: LowRankCovariance) -> np.ndarray:
    return np.diag(covariance.diagonal) + covariance.factors @ covariance.factors.T


@settings(max_examples=100, deadline=None)
@given(
    n=st.integers(1, 12),
    s=st.integers(0, 15),
    seed=st.integers(0, 2**31),
    size=st.sampled_from([0.0, 1e-6, 1.0, 1e3]),
)
def test_it_is_the_dense_matrix(n: int, s: int, seed: int, size: float) -> None:
    covariance = example(n, s, seed, size)
    matrix = dense(covariance)
    right = np.random.default_rng(seed + 1).normal(size=(n, 3))
    whitener = covariance.whiten(np.eye(n))
    # Lengths that differ by `size` cost that many digits, here at most 1e6 of 1e16.
    assert whitener @ matrix @ whitener.T == pytest.approx(np.eye(n), abs=1e-8)
    assert covariance.whiten(right) == pytest.approx(whitener @ right, rel=1e-7, abs=1e-9)
    assert covariance.dot(right) == pytest.approx(matrix @ right, rel=1e-10, abs=1e-9 * size)
    assert matrix @ covariance.solve(right) == pytest.approx(right, abs=1e-6)
    assert covariance.logdet == pytest.approx(np.linalg.slogdet(matrix)[1], rel=1e-9, abs=1e-9)
    assert covariance.variance == pytest.approx(np.diag(matrix), rel=1e-12)


def test_whitening_and_solving_agree() -> None:
    covariance = example(30, 4, 1)
    right = np.random.default_rng(2).normal(size=30)
    white = covariance.whiten(right)
    assert white @ white == pytest.approx(right @ covariance.solve(right), rel=1e-12)


def test_one_percent_stays_one_percent() -> None:
    # A 1 % calibration error shared by 400 points does not average out.
    mu, points = 0.12, 400
    covariance = LowRankCovariance(np.full(points, 1e-10), np.full((points, 1), 0.01 * mu))
    weight = covariance.solve(np.ones(points))
    u_mean = np.sqrt(1.0 / weight.sum())
    assert u_mean / mu == pytest.approx(0.01, rel=1e-4)


def test_sources_that_repeat_each_other_do_no_harm() -> None:
    base = example(6, 2, 3)
    twice = LowRankCovariance(base.diagonal, np.hstack([base.factors, base.factors]) / np.sqrt(2))
    right = np.arange(6.0)
    assert twice.solve(right) == pytest.approx(base.solve(right), rel=1e-12)
    assert twice.whiten(right) == pytest.approx(base.whiten(right), rel=1e-12)
    assert twice.logdet == pytest.approx(base.logdet, rel=1e-12)


def test_more_sources_than_points_leave_no_rounding_behind() -> None:
    covariance = example(1, 10, 113, 1e3)
    assert covariance.logdet == pytest.approx(np.log(dense(covariance)[0, 0]), rel=1e-14)


def test_without_sources_points_are_only_scaled() -> None:
    covariance = LowRankCovariance(np.array([4.0, 9.0]), np.zeros((2, 0)))
    assert covariance.whiten(np.array([2.0, 3.0])) == pytest.approx([1.0, 1.0])
    assert covariance.logdet == pytest.approx(np.log(36.0))


def test_many_points_without_a_large_matrix() -> None:
    # 50 000 points: the matrix itself would need 20 GB.
    covariance = example(50_000, 5, 4)
    right = np.random.default_rng(5).normal(size=50_000)
    assert covariance.dot(covariance.solve(right)) == pytest.approx(right, abs=1e-9)


@pytest.mark.parametrize(
    ("diagonal", "factors"),
    [
        ([1.0, 0.0], [[1.0], [1.0]]),
        ([1.0, np.nan], [[1.0], [1.0]]),
        ([1.0, 1.0], [[1.0], [np.inf]]),
        ([1.0, 1.0], [[1.0]]),
        ([1.0, 1.0], [1.0, 1.0]),
    ],
)
def test_what_is_no_covariance_is_refused(diagonal: list[float], factors: list[float]) -> None:
    with pytest.raises(ValueError, match=r"match|finite|above 0"):
        LowRankCovariance(np.array(diagonal), np.array(factors))


def test_it_cannot_be_changed() -> None:
    covariance = example(3, 1, 6)
    with pytest.raises(ValueError, match="read-only"):
        covariance.factors[0, 0] = 1.0
