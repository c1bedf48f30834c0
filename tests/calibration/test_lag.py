import numpy as np
import pytest

from rigdata.calibration.lag import undo_delay, undo_time_constant

TIME = np.arange(0.0, 60.0, 0.1)
GOOD = np.ones(TIME.size, np.bool_)


def first_order(truth: np.ndarray, tau: float) -> np.ndarray:
    """What a first-order sensor shows of a piecewise linear truth, exactly."""
    shown = np.empty_like(truth)
    shown[0] = truth[0]
    step = TIME[1] - TIME[0]
    decay = np.exp(-step / tau)
    for i in range(1, truth.size):
        rate = (truth[i] - truth[i - 1]) / step
        shown[i] = truth[i] - tau * rate + (shown[i - 1] - truth[i - 1] + tau * rate) * decay
    return shown


@pytest.mark.parametrize("lag", [0.25, -0.25, 0.3])
def test_delay_is_undone(lag: float) -> None:
    shown = np.sin(TIME - lag)
    values, good = undo_delay(TIME, shown, GOOD, lag)
    assert values[good] == pytest.approx(np.sin(TIME[good]), abs=2e-3)
    assert (~good).sum() == pytest.approx(abs(lag) / 0.1, abs=1)
    assert np.isnan(values[~good]).all()


def test_no_delay_changes_nothing() -> None:
    values, good = undo_delay(TIME, np.sin(TIME), GOOD, 0.0)
    assert (values == np.sin(TIME)).all()
    assert good.all()


def test_a_missing_frame_takes_its_neighbours_with_it() -> None:
    shown, known = np.sin(TIME), GOOD.copy()
    shown[100], known[100] = np.nan, False
    values, good = undo_delay(TIME, shown, known, 0.05)
    assert np.flatnonzero(~good).tolist() == [99, 100, TIME.size - 1]
    assert np.isfinite(values[good]).all()


@pytest.mark.parametrize("tau", [0.5, 2.0, 8.0])
def test_time_constant_is_undone(tau: float) -> None:
    truth = np.interp(TIME, [0, 10, 40, 60], [50.0, 50.0, 140.0, 140.0])
    shown = first_order(truth, tau)
    corrected = shown + undo_time_constant(TIME, shown[None], GOOD, tau)[0]
    away = np.min(np.abs(TIME[:, None] - [10.0, 40.0]), axis=1) > tau / 4 + 0.3
    # Well inside the ramp and the holds: left is what the fitted line cuts off.
    assert np.max(np.abs(corrected - truth)[away]) < 0.02 * tau * 3.0 + 1e-6
    assert np.max(np.abs(shown - truth)) > 0.9 * tau * 3.0 * (1 - np.exp(-30 / tau))


def test_noise_is_kept_in_check() -> None:
    tau, noise = 4.0, 0.1
    shown = 80.0 + np.random.default_rng(3).normal(0, noise, TIME.size)
    corrected = shown + undo_time_constant(TIME, shown[None], GOOD, tau)[0]
    difference = shown + tau * np.gradient(shown, TIME)
    assert corrected[30:-30].std() < 4 * noise
    assert difference.std() > 20 * noise


def test_lost_frames_are_bridged_and_wide_gaps_are_not() -> None:
    shown = 3.0 * TIME
    known = GOOD.copy()
    known[50:52] = False
    known[200:300] = False
    wrong = np.where(known, shown, 1e6)
    added = undo_time_constant(TIME, wrong[None], known, 1.0)[0]
    assert added[known] == pytest.approx(3.0, rel=1e-9)
    assert added[50:52] == pytest.approx(3.0, rel=1e-9)
    assert np.isnan(added[210:290]).all()


def test_rows_pass_through_alike() -> None:
    rows = np.stack([TIME**2, np.full(TIME.size, 0.5), 0.01 * TIME**2])
    added = undo_time_constant(TIME, rows, GOOD, 2.0)
    assert added[1] == pytest.approx(0.0, abs=1e-12)
    assert added[2] == pytest.approx(0.01 * added[0], rel=1e-9)
    assert added[0, 50:-50] == pytest.approx(2.0 * 2.0 * TIME[50:-50], rel=1e-9)


def test_uneven_frames_and_long_logs() -> None:
    rng = np.random.default_rng(4)
    time = np.cumsum(rng.uniform(0.05, 0.15, 60_000))
    added = undo_time_constant(time, 7.0 * time[None], np.ones(time.size, np.bool_), 5.0)[0]
    assert added == pytest.approx(35.0, rel=1e-6)


def test_too_few_frames() -> None:
    added = undo_time_constant(TIME[:2], np.ones((1, 2)), GOOD[:2], 1.0)
    assert np.isnan(added).all()
