from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from rigdata.comparison.batches import check_batches
from rigdata.friction.pack_levels import PackLevels


def levels(sizes, offsets, rng, *, sd=0.02, gain=0.01, u_random=1e-5, scale=1.0):
    """Packs of batches "1", "2", ...; `gain` is shared by all of them."""
    batch = np.repeat([str(i + 1) for i in range(len(sizes))], sizes)
    n = batch.size
    off = np.repeat(offsets, sizes)
    mu = scale * 0.14 * np.exp(off + sd * rng.normal(size=n)) * (1.0 + gain * rng.normal())
    return PackLevels(
        pack=np.array([f"P{i}" for i in range(n)]), material=np.full(n, "rough"), batch=batch,
        state=np.full(n, "new"), hours=np.zeros(n), mu=mu, u_random=np.full(n, u_random),
        source=("gain",), shared=np.full((n, 1), gain),
    )  # fmt: skip


def test_two_batches_are_students_two_sample_test():
    found = levels([5, 4], [0.0, -0.03], np.random.default_rng(1))
    (check,), _ = check_batches(found)
    logs = np.log(found.mu)
    test = stats.ttest_ind(logs[5:], logs[:5])
    interval = test.confidence_interval(0.95)
    assert check.batch == "2"
    assert check.against == ("1",)
    assert check.p_different == pytest.approx(test.pvalue, rel=1e-3)
    assert np.log([check.low, check.high]) == pytest.approx(list(interval), rel=1e-3)
    assert check.dof == pytest.approx(7.0, rel=1e-3)


def test_a_shared_gain_cancels():
    low, high = (
        check_batches(levels([5, 4], [0.0, -0.03], np.random.default_rng(1), scale=scale))[0][0]
        for scale in (1.0, 1.1)
    )
    assert high.ratio == pytest.approx(low.ratio, rel=1e-9)
    assert high.u == pytest.approx(low.u, rel=1e-6)


def test_errors_of_different_rigs_do_not_cancel():
    found = levels([4, 4], [0.0, 0.0], np.random.default_rng(2), sd=0.002)
    mine = (found.batch == "2")[:, None]
    apart = replace(found, source=("a", "b"), shared=np.hstack([0.01 * ~mine, 0.01 * mine]))
    (same,), _ = check_batches(found)
    (different,), _ = check_batches(apart)
    assert different.u == pytest.approx(np.hypot(same.u, 0.01 * np.sqrt(2.0)), rel=1e-3)


def test_a_clear_difference_is_found_and_a_small_one_is_not():
    rng = np.random.default_rng(3)
    clear, _ = check_batches(levels([6, 6], [0.0, -0.08], rng))
    small, _ = check_batches(levels([6, 6], [0.0, -0.005], rng, sd=0.03))
    assert clear[0].verdict == "lower"
    assert clear[0].more_packs is None
    assert small[0].verdict == "not resolved"
    assert small[0].more_packs > 0
    assert f"test {small[0].more_packs} more packs" in small[0].words


def test_the_packs_asked_for_do_resolve_it():
    # The number of packs is computed from one campaign; campaigns of that size must then give a
    # verdict about four times in five when the difference and spread found were the true ones.
    (first,), _ = check_batches(levels([6, 6], [0.0, -0.02], np.random.default_rng(5)))
    assert first.verdict == "not resolved"
    n, off = 6 + first.more_packs, float(np.log(first.ratio))
    rng = np.random.default_rng(6)
    verdicts = [
        check_batches(levels([n, n], [0.0, off], rng, sd=first.pack_sd))[0][0].verdict
        for _ in range(60)
    ]
    assert np.mean([v != "not resolved" for v in verdicts]) >= 0.65  # 80 % less three errors


def test_packs_outside_the_tolerance_interval_are_named():
    found = levels([8, 4], [0.0, 0.0], np.random.default_rng(7), sd=0.01)
    mu = np.array(found.mu)
    mu[-1] *= 0.8
    (check,), _ = check_batches(replace(found, mu=mu))
    assert check.outside == ("P11",)
    assert "P11" in check.words


def test_three_reference_batches_show_their_own_spread():
    found = levels([4, 4, 4, 4], [0.0, 0.05, -0.05, 0.0], np.random.default_rng(8), sd=0.005)
    (check,), _ = check_batches(found, reference=["1", "2", "3"])
    assert check.batch_sd == pytest.approx(0.05, rel=0.3)
    assert check.u > check.batch_sd / np.sqrt(3.0)
    assert check.more_packs is None  # more packs do not make batches alike


def test_single_packs_cannot_be_judged():
    checks, notices = check_batches(levels([1, 1], [0.0, 0.0], np.random.default_rng(9)))
    assert checks == ()
    assert "two packs" in notices[0].what


def test_one_batch_is_compared_with_nothing():
    assert check_batches(levels([4], [0.0], np.random.default_rng(9))) == ((), ())
