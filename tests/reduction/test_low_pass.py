"""The low-pass filter against what it says of itself, and what it leaves of uncertainty."""

import math
from types import SimpleNamespace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from rigdata.calibration.signals import Signal
from rigdata.reduction.low_pass import corner_of, low_passed
from rigdata.uncertainty.effective_size import pooled_noise, u_of_mean
from rigdata.uncertainty.sources import Effect, Scope, Source

GAIN = Source("gain", Scope.RIG, Effect.PROPORTIONAL, "gain")
TIME = np.arange(0.0, 20.0, 0.005)


def signal(values, time=TIME):
    values = np.asarray(values, float)
    return Signal("torque", values, np.ones(time.size, bool), (GAIN,), 0.01 * values[None, :])


@pytest.mark.parametrize("corner", [2.0, 10.0, 30.0])
@pytest.mark.parametrize("times", [0.1, 1.0, 2.0])
def test_a_swing_is_let_through_as_stated(corner, times):
    wave = np.exp(2j * np.pi * times * corner * TIME)
    found = low_passed(signal(wave.real), TIME, corner).values
    inner = slice(400, -400)
    basis = np.stack([wave.real, wave.imag], axis=1)[inner]
    passed, late = np.linalg.lstsq(basis, found[inner])[0]
    # Weights taken at the frames alone let what folds from above through besides.
    assert_allclose(passed, 2.0 ** (-0.5 * times**2), atol=1e-3)
    assert_allclose(late, 0.0, atol=1e-4)


def test_it_is_the_gaussian_filter_of_surface_texture_over_time():
    """ISO 16610-21: ``s(x) = exp(-pi (x / (alpha L))^2) / (alpha L)``; alpha from memory."""
    corner = 6.0
    length = 1.0 / (math.sqrt(2.0) * corner)
    alpha = math.sqrt(math.log(2.0) / math.pi)
    impulse = np.zeros(TIME.size)
    impulse[2000] = 1.0
    found = low_passed(signal(impulse), TIME, corner).values
    x = TIME - TIME[2000]
    weights = np.exp(-math.pi * (x / (alpha * length)) ** 2) / (alpha * length)
    assert_allclose(found, 0.005 * weights, atol=2e-5)
    assert_allclose(found.sum(), 1.0, rtol=1e-12)


def test_a_straight_line_stays_one_to_its_ends():
    line = 3.0 - 0.7 * TIME
    assert_allclose(low_passed(signal(line), TIME, 1.0).values, line, atol=1e-12)


def test_nothing_reaches_across_a_hole():
    time = np.concatenate([TIME, TIME + 60.0])
    level = np.where(time < 40.0, 1.0, 9.0)
    assert_allclose(low_passed(signal(level, time), time, 1.0).values, level, atol=1e-12)


@pytest.mark.parametrize(("steps", "hole"), [(1.4, False), (1.6, True)])
def test_a_hole_is_more_than_one_and_a_half_steps(steps, hole):
    time = np.where(TIME < 9.9975, TIME, TIME + (steps - 1.0) * 0.005)
    level = np.where(TIME < 9.9975, 1.0, 9.0)
    found = low_passed(signal(level, time), time, 1.0).values
    assert np.allclose(found, level) == hole


def test_a_cause_of_uncertainty_goes_through_the_same_filter():
    noise = np.random.default_rng(3).normal(10.0, 1.0, TIME.size)
    found = low_passed(signal(noise), TIME, 5.0)
    assert_allclose(found.sensitivity[0], 0.01 * found.values)
    bare = Signal("torque", noise, np.ones(TIME.size, bool), (), np.empty((0, TIME.size)))
    assert low_passed(bare, TIME, 5.0).sensitivity.shape == (0, TIME.size)


@pytest.mark.parametrize("count", [1, 2, 5])
def test_a_few_frames_are_no_error(count):
    found = low_passed(signal(np.arange(float(count)), TIME[:count]), TIME[:count], 1.0)
    assert_allclose(found.values, np.arange(float(count)), atol=1e-12)


def test_a_corner_beyond_the_log_changes_nothing():
    noise = np.random.default_rng(5).normal(size=TIME.size)
    assert_allclose(low_passed(signal(noise), TIME, 1e4).values, noise)


@pytest.mark.parametrize("corner", [5.0, 10.0, 20.0])
def test_what_a_mean_is_known_by_is_that_of_its_scatter(corner):
    """Filtered noise hangs together; its means must not be called better than they are.

    Windows of 200 frames are worth 10 to 40 samples here.
    """
    rng = np.random.default_rng(11)
    means, stated = [], []
    for _ in range(300):
        found = low_passed(signal(rng.normal(0.0, 1.0, TIME.size)), TIME, corner).values
        windows = found[400:-400].reshape(-1, 200)
        left = windows - windows.mean(axis=1, keepdims=True)
        sizes = pooled_noise(list(left)).sizes
        means += windows.mean(axis=1).tolist()
        stated += [u_of_mean(r, s.n_effective) for r, s in zip(left, sizes, strict=True)]
    # The scatter of 4,800 means is known to 1 %.
    ratio = math.sqrt(np.mean(np.square(stated))) / np.std(means)
    assert 0.97 < ratio < 1.05


def test_the_load_of_a_piston_has_the_filter_of_its_pressure():
    pressure = SimpleNamespace(low_pass_hz=15.0)
    rig = SimpleNamespace(channels={"cylinder_pressure": pressure})
    assert corner_of("clamp_load", rig) == 15.0
    assert corner_of("torque", rig) == 0.0
    rig.channels["clamp_load"] = SimpleNamespace(low_pass_hz=0.0)
    assert corner_of("clamp_load", rig) == 0.0
