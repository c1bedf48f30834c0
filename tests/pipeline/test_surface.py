"""A material that no formula follows, from its logs to tables, comparison, budget and report."""

from dataclasses import dataclass, replace

import numpy as np
import pytest

from rigdata.campaign.campaign import read_campaign
from rigdata.errors import Severity
from rigdata.friction.conditions import AXES, Conditions
from rigdata.friction.results import Group
from rigdata.pipeline.budgets import account_by_draws, accounts_of_fits, accounts_of_ratios
from rigdata.pipeline.run import run_campaign
from rigdata.pipeline.stages import fits_from_folder
from rigdata.simulation.campaign import simulate_campaign
from rigdata.simulation.truth import LogCurve
from rigdata.tables.read import read_table
from tests.report.undrawn import draw_nothing
from tests.studies.simulated import plan

ROUGH = Group("rough", "new")
SPEEDS = np.geomspace(0.03, 0.6, 9)
WHERE = Conditions(SPEEDS, 85.0, 1.5)


@dataclass(frozen=True)
class BumpyCurve:
    """A logarithmic curve with a rise of 12 % at 0.1 m/s."""

    plain: LogCurve

    def at(self, speed_m_s):
        place = np.log(np.maximum(np.abs(speed_m_s), 1e-6) / 0.1) / 0.5
        return self.plain.at(speed_m_s) * (1.0 + 0.12 * np.exp(-0.5 * place**2))


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    """The truth, the campaign, its result and its results folder."""
    spec = plan("log-speed", packs=2)
    rough = replace(spec.materials[0], curve=BumpyCurve(LogCurve(0.145, 0.0035, 0.1)))
    folder = tmp_path_factory.mktemp("bumpy")
    truth = simulate_campaign(
        replace(spec, materials=(rough, *spec.materials[1:])), 4, folder / "campaign"
    )
    out = folder / "results"
    with pytest.MonkeyPatch.context() as patch:
        draw_nothing(patch)
        result = run_campaign(folder / "campaign", out=out)
    return truth, folder / "campaign", result, out


def true_mu(truth, material):
    return truth.mu(material, "new", SPEEDS, 85.0, 1.5)


def test_the_surface_is_taken_for_the_bumpy_material_alone(done):
    _, _, result, _ = done
    assert result.fits[ROUGH].law == "surface"
    assert result.fits[Group("plain", "new")].law != "surface"
    told = [n for n in result.fits[ROUGH].notices if n.severity is Severity.WARNING]
    assert any("every formula misses the points" in n.what for n in told)


def test_the_surface_follows_the_bump_and_its_band_holds_it(done):
    truth, _, result, _ = done
    told = result.fits[ROUGH].predict(WHERE)
    true = true_mu(truth, "rough")
    assert np.std(told.mu / true) < 0.005
    assert np.mean((told.mean_low <= true) & (true <= told.mean_high)) > 0.8


def test_the_table_keeps_its_promise(done):
    out = done[3]
    table = read_table(next((out / "tables").glob("rough*/new")))
    fit = fits_from_folder(out).kinetic[ROUGH]
    assert table.law == "surface"
    assert table.error <= table.tolerance
    read = table.mu(SPEEDS, 85.0, 1.5).mu
    assert read == pytest.approx(fit.predict(WHERE).mu, rel=table.tolerance)


def test_the_ratio_holds_its_truth(done):
    truth, _, result, _ = done
    (ratio,) = result.ratios
    v, t, p = (float(getattr(ratio.conditions, axis)[0]) for axis in AXES)
    true = truth.mu("rough", "new", v, t, p) / truth.mu("plain", "new", v, t, p)
    assert ratio.low[0] <= true <= ratio.high[0]


def test_budgets_and_monte_carlo_agree(done):
    _, campaign, _, out = done
    account = accounts_of_fits(out, material="rough")[ROUGH]
    assert account.budget.u > 0.0
    assert accounts_of_ratios(out)
    test = account_by_draws(account, read_campaign(campaign), 4000)
    assert float(test.drawn.u[0]) == pytest.approx(account.budget.u, rel=0.06)


def test_the_report_says_so(done):
    page = (done[3] / "report.html").read_text(encoding="utf-8")
    assert "Every formula misses the points" in page
    assert "The surface law" in page
    assert "v1t1" not in page
