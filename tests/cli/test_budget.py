"""``rigdata budget`` on a campaign from the virtual bench."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner, Result

from rigdata.cli.main import main
from rigdata.friction.conditions import Conditions
from rigdata.friction.fits_file import read_fits
from rigdata.reduction.points_file import read_points

ROUGH = ("--material", "rough-on-steel", "--state", "bedded")


def invoke(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["budget", *(str(a) for a in arguments)])


@pytest.fixture
def folder(results) -> Path:
    return results[0]


@pytest.fixture(scope="module")
def beside(results, campaign: Path) -> Path:
    """The results in a folder of the campaign, as they lie by default."""
    return Path(shutil.copytree(results[0], campaign / "copied"))


def fits_on_a_screen(text: str) -> bool:
    lines = text.splitlines()
    return len(lines) <= 45 and all(len(line) <= 80 for line in lines)


def test_without_a_choice_each_number_has_its_row(folder: Path) -> None:
    result = invoke(folder)
    assert result.exit_code == 0, result.output
    assert fits_on_a_screen(result.stdout)
    kinetic, _ = read_fits(folder / "fits.json")
    table = result.stdout.split("\n\n")[0]
    assert all(group.material in table for group in kinetic)
    assert "two more packs: 0.0" in table
    assert "Choose one with --material and --state" in result.stdout


def test_one_coefficient_on_one_screen(folder: Path) -> None:
    result = invoke(folder, *ROUGH)
    assert result.exit_code == 0, result.output
    assert fits_on_a_screen(result.stdout)
    assert result.stdout.startswith("Mu of rough-on-steel (bedded) at 0.1 m/s, 90 degC, 1.5 MPa\n")
    rows = [line for line in result.stdout.splitlines() if "#" in line]
    bars = [line.count("#") for line in rows]
    assert bars == sorted(bars, reverse=True)
    for part in ("By reach: rig ", "one sd moves it", "two more packs", "limits this number ("):
        assert part in result.stdout


def test_json_adds_up_and_says_the_same(folder: Path) -> None:
    result = invoke(folder, *ROUGH, "--at", "0.05,80,1.2", "--json")
    content = json.loads(result.stdout, parse_constant=pytest.fail)
    assert content["schema"] == "rigdata/budget/1"
    (budget,) = content["budgets"]
    kinetic, _ = read_fits(folder / "fits.json")
    (fit,) = (fit for group, fit in kinetic.items() if group.material == "rough-on-steel")
    assert budget["condition"] == {
        "slip_speed_m_s": 0.05, "temperature_c": 80.0, "pressure_mpa": 1.2,
    }  # fmt: skip
    told = fit.predict(Conditions(0.05, 80.0, 1.2))
    assert budget["value"] == pytest.approx(told.mu[0], rel=1e-12)
    assert (budget["low"], budget["high"]) == pytest.approx((told.mean_low[0], told.mean_high[0]))
    assert sum(cause["effect"] ** 2 for cause in budget["causes"]) == pytest.approx(
        budget["u"] ** 2
    )
    assert sum(kind["share"] for kind in budget["kinds"]) == pytest.approx(1.0)
    assert sum(budget["scopes"].values()) == pytest.approx(1.0)
    assert {option["change"] for option in budget["what_if"]} >= {"two more packs"}
    gain = next(c for c in budget["causes"] if c["cause"].endswith(":reference"))
    assert gain["signed"]
    assert gain["dof"] is None  # stated, not estimated
    assert budget["monte_carlo"] is None


def test_one_point(folder: Path) -> None:
    points = read_points(folder / "points.csv", folder / "budget.csv")
    name = str(points.point[points.method == "load-slope"][0])
    result = invoke(folder, "--point", name)
    assert result.exit_code == 0, result.output
    assert fits_on_a_screen(result.stdout)
    assert f"point {name}\n" in result.stdout
    assert "load intercept" in result.stdout
    assert "two more packs" not in result.stdout


def test_a_ratio(folder: Path) -> None:
    result = invoke(folder, "--ratio", *ROUGH)
    assert result.exit_code == 0, result.output
    assert "over that of steel-on-steel (bedded)" in result.stdout.replace("\n", " ")
    assert "two more packs of each" in result.stdout


@pytest.mark.parametrize(
    ("arguments", "code", "says"),
    [
        (("--material", "felt"), 1, "no felt in these results; expected rough-on-steel (bedded)"),
        (("--point", "R999/1"), 1, "there is no point R999/1"),
        (("--point", "R004/1", "--ratio"), 2, "--point stands alone"),
        (("--at", "0.1,90"), 2, "'0.1,90' is no condition"),
        (("--at", "0,90,1"), 2, "'0,90,1' is no condition"),
        (("--monte-carlo", "500"), 2, "10000<=x"),
        (("--monte-carlo", "20000"), 2, "are for one number"),
        (("--figure", "shares.png"), 2, "does not end in .svg"),
    ],
)
def test_what_cannot_be_told_is_said(folder: Path, arguments, code, says) -> None:
    result = invoke(folder, *arguments)
    assert result.exit_code == code
    assert says in " ".join(result.output.split())
    assert "Traceback" not in result.output


def test_a_folder_without_results_is_told(tmp_path: Path) -> None:
    result = invoke(tmp_path)
    assert result.exit_code == 1
    assert "points.csv" in result.stderr


def test_a_condition_that_was_not_tested_is_a_warning(folder: Path) -> None:
    result = invoke(folder, *ROUGH, "--at", "40,90,1.5")
    assert result.exit_code == 3
    assert "not tested at this condition" in " ".join(result.stderr.split())
    assert "Mu of rough-on-steel (bedded) at 40 m/s" in result.stdout


def test_monte_carlo_finds_the_campaign_beside_the_results(beside: Path) -> None:
    result = invoke(beside, *ROUGH, "--monte-carlo", "20000")
    assert result.exit_code in (0, 3), result.output
    assert "Monte Carlo, 20000 draws: mean 0.1" in result.stdout
    assert "Both take every spread as known" in " ".join(result.stdout.split())


def test_a_point_whose_linear_budget_fails_gets_the_drawn_interval(
    campaign: Path, tmp_path: Path
) -> None:
    """On wide faces the radius law outweighs the rest; its rectangle is narrower than a bell."""
    wide = Path(shutil.copytree(campaign, tmp_path / "wide"))
    text = (wide / "campaign.toml").read_text()
    text = re.sub(r"inner_radius_mm = \S+", "inner_radius_mm = 28.0", text)
    (wide / "campaign.toml").write_text(text)
    folder = wide / "wide-results"
    CliRunner().invoke(main, ["reduce", str(wide), "--out", str(folder)])
    points = read_points(folder / "points.csv", folder / "budget.csv")
    name = str(points.point[points.method == "ratio"][0])
    result = invoke(folder, "--point", name, "--monte-carlo", "50000", "--json")
    assert result.exit_code == 3, result.output
    content = json.loads(result.stdout)
    drawn = content["budgets"][0]["monte_carlo"]
    assert drawn["settled"]
    assert not drawn["passed"]
    assert drawn["linear_low"] < drawn["low"] < drawn["high"] < drawn["linear_high"]
    assert "use the Monte Carlo interval" in content["warnings"][0]["what"]
    text = " ".join(invoke(folder, "--point", name, "--monte-carlo", "50000").stdout.split())
    assert "does not pass its test (JCGM 101, 8.1)" in text
    assert "% too wide" in text


def test_monte_carlo_without_its_campaign_asks_for_it(
    folder: Path, campaign: Path, tmp_path: Path
) -> None:
    moved = Path(shutil.copytree(folder, tmp_path / "moved" / "far"))
    result = invoke(moved, *ROUGH, "--monte-carlo", "20000")
    assert result.exit_code == 1
    assert "Name it with --campaign" in result.stderr
    named = invoke(moved, *ROUGH, "--monte-carlo", "20000", "--campaign", campaign)
    assert "Monte Carlo, 20000 draws" in named.stdout


def test_a_campaign_that_has_changed_is_not_taken(beside: Path, tmp_path: Path) -> None:
    place = tmp_path / "another" / "day"
    shutil.copytree(beside, place / "results")
    shutil.copy(beside.parent / "campaign.toml", place)
    with (place / "campaign.toml").open("a") as file:
        file.write("\n# another day\n")
    result = invoke(place / "results", *ROUGH, "--monte-carlo", "20000")
    assert result.exit_code == 1
    assert "campaign.toml has changed since these results were made" in result.stderr


def test_points_of_other_results_are_not_drawn(folder: Path, campaign: Path, tmp_path) -> None:
    other = Path(shutil.copytree(folder, tmp_path / "results"))
    rows = (other / "points.csv").read_text().splitlines()
    header = rows[0].split(",")
    cells = rows[1].split(",")
    cells[header.index("mu")] = "0.5"
    (other / "points.csv").write_text("\n".join([rows[0], ",".join(cells), *rows[2:]]) + "\n")
    result = invoke(other, "--point", cells[0], "--monte-carlo", "20000", "--campaign", campaign)
    assert result.exit_code == 1
    assert "gives other points than these results hold" in result.stderr


def test_the_figure_is_a_file_of_its_own(folder: Path, tmp_path: Path) -> None:
    file = tmp_path / "shares.svg"
    result = invoke(folder, *ROUGH, "--figure", file)
    assert result.exit_code == 0, result.output
    root = ElementTree.fromstring(file.read_text(encoding="utf-8"))
    texts = [node.text for node in root.iter("{http://www.w3.org/2000/svg}text")]
    assert "mu of rough-on-steel (bedded)" in texts
    assert "Share of variance [%]" in texts
    described = root.find("{http://www.w3.org/2000/svg}desc")
    assert described is not None
    assert "limits this number" in str(described.text)
