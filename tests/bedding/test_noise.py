from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from rigdata.bedding.noise import Layout, Noise, Problem, find_noise

RUN = np.repeat([0, 1, 2], [6, 1, 4])
KNOWN = np.linspace(1e-3, 2e-3, RUN.size)
NOISE = Noise(point=3e-3, alike=0.6, run=5e-3, point_dof=20.0, run_dof=4.0)


def covariance(noise, run, known):
    """As the docstring of `Noise` states it, written out."""
    size = np.hypot(noise.point, known)
    same = run[:, None] == run[None, :]
    apart = np.abs(np.arange(run.size)[:, None] - np.arange(run.size))
    return same * (np.outer(size, size) * noise.alike**apart + noise.run**2)


def test_whitening_is_a_root_of_the_inverse_covariance():
    white = NOISE.whitened(np.eye(RUN.size), Layout(RUN, KNOWN))
    assert white.T @ white == pytest.approx(
        np.linalg.inv(covariance(NOISE, RUN, KNOWN)), rel=1e-9, abs=1e-4
    )


def test_the_restricted_likelihood_is_that_of_the_normal_distribution():
    """With every factor given a wide prior it is the density of the values themselves."""
    rng = np.random.default_rng(1)
    value = rng.normal(size=RUN.size) * 5e-3
    level, around = np.ones((RUN.size, 1)), rng.normal(size=(RUN.size, 2)) * 1e-2
    wide = 10.0
    total = covariance(NOISE, RUN, KNOWN) + around @ around.T + wide
    full = stats.multivariate_normal(cov=total).logpdf(value)
    constant = RUN.size * np.log(2.0 * np.pi) + np.log(wide)
    problem = Problem(Layout(RUN, KNOWN), value, level, around)
    assert problem.minus_two_log(NOISE) == pytest.approx(-2.0 * full - constant, abs=1e-3)


def test_the_scatter_of_points_and_runs_is_found():
    rng = np.random.default_rng(7)
    run = np.repeat(np.arange(60), 20)
    known = np.full(run.size, 1e-4)
    root = np.linalg.cholesky(covariance(NOISE, run[:20], known[:20]))
    value = (root @ rng.normal(size=(20, 60))).T.ravel()
    levels = (np.arange(10) == np.repeat(np.arange(10), 120)[:, None]).astype(float)
    problem = Problem(Layout(run, known), value, levels, np.zeros((1200, 0)))
    found = find_noise(problem, Noise(1e-3, 0.2, 1e-3, 1.0, 1.0))
    assert found.point == pytest.approx(NOISE.point, rel=0.1)
    assert found.alike == pytest.approx(NOISE.alike, abs=0.08)
    assert found.run == pytest.approx(NOISE.run, rel=0.25)
    assert found.run_dof == pytest.approx(50.0)


def test_a_condition_of_runs_takes_their_degrees_of_freedom():
    layout = Layout(np.repeat(np.arange(6), 5), np.full(30, 1e-3))
    level, value = np.ones((30, 1)), np.random.default_rng(3).normal(size=30) * 1e-2
    free, tight = (layout.run[:, None] * size for size in (1.0, 1e-9))
    noise = replace(NOISE, run=5e-3)
    assert Problem(layout, value, level, free).run_terms(noise) == pytest.approx(2.0, abs=1e-3)
    assert Problem(layout, value, level, tight).run_terms(noise) == pytest.approx(1.0, abs=1e-3)


def test_offsets_of_runs_are_free_where_nothing_shows_their_scatter():
    layout = Layout(np.repeat([0, 1], 10), np.full(20, 1e-3))
    value = np.random.default_rng(2).normal(size=20) * 3e-3
    fixed = np.stack([np.ones(20), np.exp(-np.arange(20) / 3.0)], axis=1)
    found = find_noise(Problem(layout, value, fixed, np.zeros((20, 0))), NOISE)
    assert found.run_dof == 0.0
    shifted = found.whitened(np.where(layout.run == 1, 1.0, 0.0)[:, None], layout)
    assert np.sum(shifted**2) < 1.0  # an offset of all of mu is within a standard deviation


def test_a_contrast_of_runs_has_the_degrees_of_freedom_of_runs():
    layout = Layout(np.repeat(np.arange(6), 30), np.full(180, 1e-5))
    noise = Noise(point=1e-3, alike=0.0, run=2e-2, point_dof=170.0, run_dof=4.0)

    def dof(column):
        def variance(here):
            x, one = here.whitened(np.stack([column, np.ones(180)], axis=1), layout).T
            return 1.0 / (x @ x - (x @ one) ** 2 / (one @ one))

        return noise.dof(variance)

    assert dof((layout.run == 0).astype(float)) == pytest.approx(4.0, abs=0.2)
    assert dof(np.tile(np.linspace(-1.0, 1.0, 30), 6)) == pytest.approx(170.0, rel=0.02)
