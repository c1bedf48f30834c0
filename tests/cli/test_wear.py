"""``rigdata wear`` on a campaign whose plates were inspected, and batches of two campaigns."""

import json
import shutil

import pytest
from click.testing import CliRunner

from rigdata.cli.main import main
from rigdata.storage.files import sha256

DUTY = """
[duties.stages]
sliding_power_w = 400
clamp_load_n = 6000
hours_per_year = 20
"""
HEAD = "pack,service_hours,plate,member,thickness_mm,mass_g,roughness_ra_um\n"


@pytest.fixture(scope="module")
def worn(campaign, results, tmp_path_factory):
    """The campaign again, with inspections of two packs and its results beside it."""
    folder = tmp_path_factory.mktemp("worn") / "study"
    shutil.copytree(campaign, folder)
    text = (folder / "campaign.toml").read_text("utf-8")
    for pack in ("A1", "A2"):
        text = text.replace(f"[packs.{pack}]\n", f'[packs.{pack}]\nduty = "stages"\n')
    (folder / "campaign.toml").write_text(text + DUTY, "utf-8")
    rows = "".join(
        f"{pack},{hours},M{n},mating,{2.0 - rate * hours:.4f},,\n"
        for pack, n, rate in (("A1", 1, 4e-4), ("A1", 2, 4.2e-4), ("A2", 1, 4.4e-4))
        for hours in (0, 40, 80)
    )
    (folder / "inspections.csv").write_text(HEAD + rows, "utf-8")
    shutil.copytree(results[0], folder / "results")
    return folder


def invoke(*args):
    return CliRunner().invoke(main, [str(arg) for arg in args])


def test_the_member_and_the_hours_are_named(worn):
    result = invoke("wear", worn)
    assert result.exit_code in (0, 3), result.output
    assert "mating plates have lost 0.05 mm after" in result.stdout.replace("\n", " ")
    assert "years at 20 h a year" in result.stdout.replace("\n", " ")
    written = json.loads((worn / "results" / "wear.json").read_text("utf-8"))
    (life,) = written["lives"]
    assert life["limits"][0]["hours"] == pytest.approx(50.0 / 0.42, rel=0.1)


def test_the_readings_of_the_plates_are_among_the_files_read(worn):
    invoke("wear", worn)
    manifest = json.loads((worn / "results" / "manifest.json").read_text("utf-8"))
    (entry,) = [e for e in manifest["inputs"] if e["role"] == "inspections"]
    assert entry["name"] == "inspections.csv"
    assert entry["sha256"] == sha256(worn / "inspections.csv")


def test_json_is_the_file(worn):
    shown = json.loads(invoke("wear", worn, "--json").stdout)
    written = json.loads((worn / "results" / "wear.json").read_text("utf-8"))
    assert shown["lives"] == written["lives"]
    assert shown["members"] == written["members"]


def test_a_fault_in_the_readings_is_one_message(worn, tmp_path):
    spoilt = tmp_path / "study"
    shutil.copytree(worn, spoilt)
    text = (spoilt / "inspections.csv").read_text("utf-8")
    (spoilt / "inspections.csv").write_text(text.replace("A2,40", "A9,40"), "utf-8")
    result = invoke("wear", spoilt)
    assert result.exit_code == 1
    assert "inspections.csv, line 9: there is no pack 'A9'" in result.stderr.replace("\n", "")


def test_packs_of_an_earlier_campaign_are_taken_in(worn, results):
    alone = json.loads(invoke("compare", worn, "--json").stdout)
    both = json.loads(invoke("compare", worn, "--with", results[0], "--json").stdout)
    assert alone["batches"] == []  # one batch of each material
    assert both["batches"] == []  # and the earlier campaign tested the same ones
    assert invoke("compare", worn, "--with", worn / "logs").exit_code == 1
