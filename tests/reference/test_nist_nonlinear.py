"""The least-squares engine against certified values.

Source: NIST Statistical Reference Datasets, nonlinear regression (the .dat
files in data/nist_nonlinear, with certified parameters, standard deviations and
residual sums of squares).
"""

import numpy as np
import pytest
from nist_nonlinear import MODELS, read

DEMANDED = ("Misra1a", "Hahn1", "Thurber", "Kirby2", "Rat43", "MGH09", "BoxBOD")
# RSS of 1.4e-25 on data of 11 digits: certified for the exact decimal data, below double precision.
NO_RESIDUAL = ("Lanczos1",)


def digits(value, certified):
    error = np.abs(np.asarray(value) / certified - 1.0)
    return float(np.min(-np.log10(np.maximum(error, 1e-16))))


def agreement(case, fit):
    return (
        digits(fit.theta, case.certified),
        digits(case.sd_of(fit), case.sd),
        digits(fit.rss, case.rss),
    )


@pytest.mark.parametrize("name", [n for n in MODELS if n not in NO_RESIDUAL])
def test_second_start_reaches_the_certified_values(name):
    case = read(name)
    fit = case.fit(2)
    assert fit.converged, fit.message
    parameters, sd, rss = agreement(case, fit)
    assert parameters >= 6
    assert sd >= 4
    assert rss >= 8


@pytest.mark.parametrize("name", NO_RESIDUAL)
def test_a_set_without_residuals_still_gives_its_parameters(name):
    case = read(name)
    fit = case.fit(2)
    assert fit.converged, fit.message
    assert digits(fit.theta, case.certified) >= 6


@pytest.mark.parametrize("name", MODELS)
def test_first_start_arrives_or_says_that_it_did_not(name):
    case = read(name)
    fit = case.fit(1)
    if fit.converged:
        assert digits(fit.theta, case.certified) >= 6
    else:
        assert fit.message


@pytest.mark.parametrize("name", DEMANDED)
def test_both_starts_together_keep_the_one_that_arrived(name):
    case = read(name)
    alone = case.fit(2)
    model = MODELS[name]
    assert alone.n_agree == 1
    assert model(case.x, alone.theta) - case.y == pytest.approx(
        model(case.x, case.certified) - case.y, abs=1e-7 * np.abs(case.y).max()
    )
