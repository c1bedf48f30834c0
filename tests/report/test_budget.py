"""The budget of the fitted coefficient: causes add up, and are the right ones."""

import numpy as np
import pytest

from rigdata.friction.budget import budget_at_reference
from rigdata.friction.causes import PACKS, RANDOM, kind_words
from rigdata.friction.conditions import at


@pytest.fixture(scope="module")
def budgets(full):
    return {g: budget_at_reference(full.points, fit) for g, fit in full.fits.items()}


def test_causes_add_up_to_the_variance_of_the_fit(full, budgets):
    for group, shares in budgets.items():
        fit = full.fits[group]
        u = float(fit.predict(at(fit.reference)).u_mu[0])
        assert np.sqrt(sum(share.u**2 for share in shares)) == pytest.approx(u, rel=1e-6)
        assert sum(share.share for share in shares) == pytest.approx(1.0)


def test_causes_are_ranked_and_named_once(budgets):
    for shares in budgets.values():
        values = [share.share for share in shares]
        assert values == sorted(values, reverse=True)
        assert len({share.cause for share in shares}) == len(shares)


def test_a_gain_comes_through_whole_however_many_points_there_are(full, budgets):
    # 0.4 % of torque and 0.6 % of clamp load, on every point alike.
    for group, shares in budgets.items():
        mu = full.fits[group].parameters["mu0"]
        u_of = {share.cause: share.u for share in shares}
        assert u_of["torque"] == pytest.approx(0.004 * mu, rel=1e-3)
        assert u_of["clamp load"] == pytest.approx(0.006 * mu, rel=1e-3)


def test_noise_averages_out(full, budgets):
    for group, shares in budgets.items():
        noise = next(share.u for share in shares if share.cause == RANDOM)
        assert noise < 0.3 * np.median(full.points.u_random)
        assert full.fits[group].n_points > 50


def test_one_pack_has_no_scatter_between_packs(full, budgets):
    worn = next(group for group in full.fits if group.state == "worn")
    assert PACKS not in {share.cause for share in budgets[worn]}


def test_kinds_in_words():
    assert kind_words("clamp_load") == "clamp load"
    assert kind_words("outer-radius") == "outer radius"
