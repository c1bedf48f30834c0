"""``rigdata budget --static`` on breakaways drawn from a known truth."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from rigdata.campaign.campaign import Reference
from rigdata.cli.main import main
from rigdata.friction.conditions import Conditions
from rigdata.friction.fit import fit_campaign
from rigdata.friction.fits_file import read_fits, write_fits
from rigdata.friction.static import fit_static
from rigdata.pipeline.stages import write_points
from rigdata.reduction.points import concatenate

sys.path.insert(0, str(Path(__file__).parents[1] / "studies"))
from friction_points import DWELL_THETA, REFERENCE, Truth, drawn


def invoke(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["budget", *(str(a) for a in arguments)])


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    rng, place = np.random.default_rng(8), tmp_path_factory.mktemp("results")
    rests = Truth(kind="static", law="dwell", theta=DWELL_THETA, dwells=(0.5, 60.0), runs=(3, 3))
    slips = Truth(runs=(2, 2), points=(6, 6))
    points = concatenate([drawn(slips, rng), drawn(rests, rng)])
    kinetic = fit_campaign(points, REFERENCE, laws=["log-speed"])
    static, _ = fit_static(points, Reference(0.1, 80.0, 1.0, dwell_s=5.0))
    write_points(points, place)
    write_fits(place / "fits.json", kinetic, static)
    return place


def test_the_static_coefficient_on_one_screen(folder: Path) -> None:
    result = invoke(folder, "--static")
    assert result.exit_code == 0, result.output
    assert result.stdout.startswith(
        "Mu of rough (new), static at 80 degC, 1 MPa, after 5 s at rest\n"
    )
    assert "two more packs" in result.stdout
    assert invoke(folder).stdout.startswith("Mu of rough (new) at 0.1 m/s, 80 degC, 1 MPa\n")


def test_after_another_dwell_it_adds_up_to_what_the_fit_predicts(folder: Path) -> None:
    result = invoke(folder, "--static", "--at", "30,90,1.2", "--json")
    (budget,) = json.loads(result.stdout, parse_constant=pytest.fail)["budgets"]
    assert budget["condition"] == {
        "slip_speed_m_s": 0.0, "temperature_c": 90.0, "pressure_mpa": 1.2, "dwell_s": 30.0,
    }  # fmt: skip
    assert budget["inside_envelope"]
    (fit,) = read_fits(folder / "fits.json")[1].values()
    assert fit.law == "dwell"
    told = fit.predict(Conditions(0.0, 90.0, 1.2, 30.0))
    assert budget["value"] == pytest.approx(told.mu[0], rel=1e-12)
    assert (budget["low"], budget["high"]) == pytest.approx((told.mean_low[0], told.mean_high[0]))
    squares = sum(cause["effect"] ** 2 for cause in budget["causes"])
    assert squares == pytest.approx(told.u_mu[0] ** 2)


@pytest.mark.parametrize("others", [("--ratio",), ("--point", "rough-new-1-1/0")])
def test_static_stands_for_a_coefficient_alone(folder: Path, others: tuple[str, ...]) -> None:
    result = invoke(folder, "--static", *others)
    assert result.exit_code == 2
