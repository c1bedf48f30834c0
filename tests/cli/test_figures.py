"""`rigdata figures`, and the same figures in Python."""

from __future__ import annotations

import json
from pathlib import Path
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner, Result

import rigdata
from rigdata.cli.main import main


@pytest.fixture(scope="module")
def folder(results: tuple[Path, Result]) -> Path:
    return results[0]


def invoke(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["figures", *map(str, arguments)])


def test_named_figures_in_the_kinds_asked_for(folder: Path, tmp_path: Path) -> None:
    to = tmp_path / "out"
    kinds = ("svg", "png", "pdf", "csv")
    wanted = [part for kind in kinds for part in ("--as", kind)]
    result = invoke(folder, "speed-curve", *wanted, "--to", to)
    assert result.exit_code == 0, result.output
    assert sorted(p.name for p in to.iterdir()) == [f"speed-curve.{k}" for k in sorted(kinds)]
    assert (to / "speed-curve.png").read_bytes().startswith(b"\x89PNG")
    assert (to / "speed-curve.pdf").read_bytes().startswith(b"%PDF")
    assert (to / "speed-curve.csv").read_text(encoding="utf-8").count("\n") > 10
    svg = ElementTree.parse(to / "speed-curve.svg").getroot()
    assert svg.find("{http://www.w3.org/2000/svg}title").text

    refused = invoke(folder, "speed-curve", "--to", to)
    assert refused.exit_code == 1
    assert "is there already" in refused.stderr
    assert invoke(folder, "speed-curve", "--to", to, "--force").exit_code == 0


def test_the_list_and_a_name_that_is_not_on_it(folder: Path) -> None:
    listed = invoke(folder, "--list")
    assert listed.exit_code == 0
    assert max(map(len, listed.stdout.splitlines())) <= 80
    rows = json.loads(invoke(folder, "--list", "--json").stdout)["figures"]
    assert {row["name"] for row in rows} >= {"speed-curve", "budget-bars", "residuals"}
    wrong = invoke(folder, "speed-curv")
    assert wrong.exit_code == 2
    assert "Did you mean 'speed-curve'?" in wrong.stderr


def test_a_notebook_gets_every_figure_of_the_report(folder: Path) -> None:
    pictures = rigdata.figures_of(folder)
    report = (folder / "report.html").read_text(encoding="utf-8")
    assert report.count("<figure") == len(pictures)
    for name, picture in pictures.items():
        assert f'download="{name}.csv"' in report
        assert picture.title in report
        assert picture.figure.axes
    assert pictures["speed-curve"]._repr_svg_().startswith("<?xml")
