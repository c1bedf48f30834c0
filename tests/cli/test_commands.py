"""Every command on a campaign from the virtual bench."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

import rigdata
from rigdata.cli.main import main
from rigdata.cli.verdicts import ranking_table
from rigdata.friction.fits_file import read_fits
from rigdata.storage.files import sha256

DEAD_RUN = "R003"


def invoke(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments])


def loaded(result: Result) -> dict:
    content = json.loads(result.stdout, parse_constant=pytest.fail)
    assert content["version"] == rigdata.__version__
    assert content["schema"].startswith("rigdata/")
    assert isinstance(content["warnings"], list)
    return content


def test_run_says_the_verdict_and_where_the_report_is(results) -> None:
    folder, result = results
    assert result.exit_code == 3, result.output  # one run was left out
    assert "rough-on-steel (bedded) grips" in result.stdout
    assert "At 0.1 m/s, 90 degC, 1.5 MPa, with 95 % intervals:" in result.stdout
    assert f"Report: {folder / 'report.html'}" in result.stdout.replace("\n", "")
    assert f"run {DEAD_RUN}: left out: torque cell unplugged" in result.stderr
    assert "left out" not in result.stdout
    assert all(len(line) <= 80 for line in result.stdout.splitlines() if "Report" not in line)


def test_run_writes_every_file_of_the_contract(results, campaign: Path) -> None:
    folder, _ = results
    for name in ("points.csv", "budget.csv", "fits.json", "comparison.csv", "report.html"):
        assert (folder / name).stat().st_size > 100
    manifest = json.loads((folder / "manifest.json").read_text())
    listed = {entry["name"]: entry["sha256"] for entry in manifest["outputs"]}
    found = {p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()}
    assert set(listed) == found - {"manifest.json"}
    assert all(sha256(folder / name) == digest for name, digest in listed.items())
    logs = {e["name"]: e["sha256"] for e in manifest["inputs"] if e["role"] == "log"}
    assert len(logs) == len(list((campaign / "logs").iterdir()))
    assert all(sha256(campaign / name) == digest for name, digest in logs.items())
    assert list(manifest["left_out"]) == [DEAD_RUN]
    assert [step["command"] for step in manifest["steps"]] == ["run"]


def test_run_gives_tables_that_read_back_the_fit(results) -> None:
    folder, _ = results
    kinetic, _ = read_fits(folder / "fits.json")
    for group, fit in kinetic.items():
        table = rigdata.read_table(folder / "tables" / group.material / group.state)
        low, high = np.array([[nodes[0], nodes[-1]] for nodes in table.axes]).T
        at = low + (high - low) * np.random.default_rng(4).random((2000, 3))
        exact = fit.predict(rigdata.Conditions(*at.T))
        assert exact.inside.sum() > 50
        read = table.mu(*at[exact.inside].T)
        np.testing.assert_allclose(read.mu, exact.mu[exact.inside], rtol=table.tolerance)


def test_check_tells_run_by_run_and_writes_nothing(campaign: Path) -> None:
    before = sorted(campaign.rglob("*"))
    result = invoke("check", campaign, "--no-cache")
    assert result.exit_code == 3
    rows = {line.split()[0]: line for line in result.stdout.splitlines() if line.startswith("R0")}
    assert len(rows) == 16
    assert "repeat" in rows[DEAD_RUN]
    assert "unplugged" in rows[DEAD_RUN]
    assert "good" in rows["R004"]
    assert sorted(campaign.rglob("*")) == before
    runs = {
        row["run"]: row for row in loaded(invoke("check", campaign, "--no-cache", "--json"))["runs"]
    }
    assert runs[DEAD_RUN]["verdict"] == "repeat"
    assert runs["R004"]["verdict"] == "good"


def test_the_stages_alone_give_what_run_gives(results, campaign: Path, tmp_path: Path) -> None:
    whole, _ = results
    out = tmp_path / "by stages"
    assert invoke("reduce", campaign, "--out", out).exit_code == 3
    assert (out / "points.csv").read_bytes() == (whole / "points.csv").read_bytes()
    assert (out / "budget.csv").read_bytes() == (whole / "budget.csv").read_bytes()
    fitted = invoke("fit", campaign, "--out", out)
    assert fitted.exit_code in (0, 3)
    for group, fit in read_fits(out / "fits.json")[0].items():
        again = read_fits(whole / "fits.json")[0][group]
        assert fit.law == again.law
        assert fit.law in fitted.stdout
        np.testing.assert_allclose(fit.theta, again.theta, rtol=1e-6)
    compared = invoke("compare", campaign, "--out", out)
    assert "grips" in compared.stdout
    assert invoke("wear", campaign, "--out", out).exit_code == 0
    tabled = invoke("tables", campaign, "--out", out)
    assert tabled.exit_code == 0, tabled.output
    assert invoke("report", campaign, "--out", out).exit_code == 3
    names = {p.relative_to(out).as_posix() for p in out.rglob("*") if p.is_file()}
    assert names == {p.relative_to(whole).as_posix() for p in whole.rglob("*") if p.is_file()}
    steps = json.loads((out / "manifest.json").read_text())["steps"]
    assert [s["command"] for s in steps] == ["reduce", "fit", "compare", "wear", "tables", "report"]


def test_json_of_each_stage_on_finished_results(results, campaign: Path, tmp_path: Path) -> None:
    out = tmp_path / "results"
    shutil.copytree(results[0], out)
    (row, *_) = loaded(invoke("tables", campaign, "--out", out, "--json"))["tables"]
    assert row["interpolation_error"] <= 0.005
    (ratio,) = loaded(invoke("compare", campaign, "--out", out, "--json"))["ratios"]
    assert ratio["low"] < ratio["ratio"] < ratio["high"]
    assert ratio["verdict"] == "higher"
    reduced = loaded(invoke("reduce", campaign, "--out", out, "--json"))
    assert reduced["used"] <= reduced["points"]
    assert list(reduced["left_out"]) == [DEAD_RUN]
    options = ("--law", "log-speed", "--pool-scatter", "--json")
    fitted = loaded(invoke("fit", campaign, "--out", out, *options))
    assert {c["law"] for c in fitted["coefficients"]} == {"log-speed"}
    for row in fitted["coefficients"]:
        assert {"next_run_low", "next_run_high", "scatter", "pooling"} <= set(row)
    manifest = json.loads((out / "manifest.json").read_text())
    assert manifest["steps"][-1]["options"]["pool_scatter"] is True
    assert {s["verdict"] for s in fitted["stick_slip"]} == {"none"}
    assert all("no stick-slip at" in s["words"] for s in fitted["stick_slip"])


def test_compare_tells_cold_hot_traits_and_what_calibration_leaves(results, campaign) -> None:
    out = Path(shutil.copytree(results[0], results[0].parent / "traits"))
    text = invoke("compare", campaign, "--out", out).stdout
    assert all(len(line) <= 80 for line in text.splitlines() if not line.startswith("Wrote"))
    pair = "rough-on-steel (bedded) against steel-on-steel (bedded)"
    assert pair in text
    assert "% more" in text.split(pair)[1].splitlines()[1]
    words = " ".join(text.split())
    assert "The rig's calibration makes" in words
    assert "of the variance of the ratio: it cancels" in words
    data = loaded(invoke("compare", campaign, "--out", out, "--json"))
    (ratio,) = data["ratios"]
    assert ratio["calibration"]["share"] < 0.05
    assert {"quoted"} <= {one["name"] for one in ratio["cold_and_hot"]}
    assert data["traits"] == json.loads((out / "traits.json").read_text("utf-8"))["traits"]
    told = {one["trait"]: one for one in data["traits"]}
    slope = told["dmu/dv"]["measured"]
    apart = slope["group"]["value"] - slope["against"]["value"]
    assert slope["difference"]["value"] == pytest.approx(apart)
    assert slope["difference"]["low"] < apart < slope["difference"]["high"]
    row = next(line.split() for line in text.splitlines() if line.startswith("dmu/dv"))
    assert float(row[4]) == pytest.approx(apart, abs=2 * slope["difference"]["u"])
    assert told["static/kinetic"]["verdict"] == "not compared"  # no breakaway in this campaign
    assert "there is no static coefficient of rough-on-steel (bedded)" in words


def test_points_made_by_hand_can_be_fitted(campaign: Path, results, tmp_path: Path) -> None:
    out = tmp_path / "mine"
    out.mkdir()
    rows = (results[0] / "points.csv").read_text().splitlines()
    lean = [i for i, name in enumerate(rows[0].split(",")) if name not in ("u_mu", "reason")]
    text = "\n".join(",".join(row.split(",")[i] for i in lean) for row in rows if '"' not in row)
    (out / "points.csv").write_text(text + "\n")
    shutil.copy(results[0] / "budget.csv", out)
    refused = invoke("fit", campaign, "--out", out)
    assert refused.exit_code == 1
    assert "was not written by rigdata" in refused.stderr
    assert invoke("fit", campaign, "--out", out, "--force").exit_code in (0, 3)
    assert (out / "fits.json").is_file()


def test_fit_without_points_says_what_to_do(campaign: Path, tmp_path: Path) -> None:
    result = invoke("fit", campaign, "--out", tmp_path / "none")
    assert result.exit_code == 1
    assert "rigdata reduce" in result.stderr
    assert not (tmp_path / "none").exists()


def test_a_results_folder_stands_for_its_campaign(results, tmp_path: Path) -> None:
    out = Path(shutil.copytree(results[0], results[0].parent / "again"))
    fitted = invoke("fit", out)
    assert fitted.exit_code in (0, 3), fitted.output
    assert not (out / "comparison.csv").exists()  # of the fits before
    assert "grips" in invoke("compare", out).stdout
    tabled = loaded(invoke("tables", out, "--json"))
    assert Path(tabled["folder"]) == out
    elsewhere = invoke("tables", out, "--out", tmp_path / "other")
    assert elsewhere.exit_code == 1
    assert "other" in elsewhere.stderr  # which holds no fits


def test_results_whose_campaign_moved_say_what_to_give(results, tmp_path: Path) -> None:
    moved = Path(shutil.copytree(results[0], tmp_path / "far" / "away"))
    result = invoke("fit", moved)
    assert result.exit_code == 1
    assert "is not where it was when they were made; expected" in result.stderr
    assert "Give its campaign.toml, and the results with --out" in result.stderr
    assert (moved / "report.html").is_file()


def test_results_that_moved_with_their_campaign_are_found(results, campaign, tmp_path) -> None:
    shutil.copytree(campaign, tmp_path / "study")
    moved = Path(shutil.copytree(results[0], tmp_path / "study" / "mine"))
    assert "grips" in invoke("compare", moved).stdout


def test_fit_tells_why_each_law_was_or_was_not_taken(results, tmp_path: Path) -> None:
    out = Path(shutil.copytree(results[0], results[0].parent / "why"))
    text = invoke("fit", out).stdout
    lines = text.splitlines()
    assert all(len(line) <= 80 for line in lines)
    assert len(lines) <= 40
    fits = read_fits(out / "fits.json")[0]
    for group, fit in fits.items():
        at = lines.index(str(group))
        told = {line.split()[0]: line for line in lines[at + 1 : at + 1 + len(fit.ranking)]}
        for score in fit.ranking:
            assert score.reason
            assert score.reason[:30] in told[score.law]
            assert told[score.law].split()[1] == str(score.n_parameters or "-")
        assert "taken" in told[fit.law]
        assert sum("taken" in line for line in told.values()) == 1
    rows = loaded(invoke("fit", out, "--json"))["coefficients"]
    assert {s["law"]: s["reason"] for s in rows[0]["ranking"]} == {
        s.law: s.reason for s in next(iter(fits.values())).ranking
    }
    found = {one["name"]: one for one in rows[0]["diagnostics"]["findings"]}
    assert found["hysteresis"]["low"] < found["hysteresis"]["value"] < found["hysteresis"]["high"]
    assert "pulled by more than 2" in rows[0]["diagnostics"]["pulls"]
    (told,) = (line for line in lines if " mu moves most: " in line)
    most = max(
        (one for row in rows for one in row["left_out"] if one["change_u"] is not None),
        key=lambda one: abs(one["change_u"]),
    )
    assert f"Without {most['kind']} {most['name']} mu moves" in told
    assert f"{most['change_u']:+.1f} u(mu)" in told


def test_laws_that_predict_worse_stand_together_on_a_full_screen(results) -> None:
    kinetic, static = read_fits(results[0] / "fits.json")
    whole = ranking_table(kinetic, static, most=100)
    short = ranking_table(kinetic, static, most=8)
    assert len(short.splitlines()) < len(whole.splitlines())
    assert max(map(len, short.splitlines())) <= 80
    taken = [line.split()[0] for line in short.splitlines() if "taken" in line]
    assert taken == [fit.law for fit in (*kinetic.values(), *static.values())]
    assert all(f"{score.law} " in short for fit in kinetic.values() for score in fit.ranking)
    assert "constant (1 par, AICc +" in short
    assert ": worse" in short


def test_an_unknown_law_names_the_known_ones(results, campaign: Path) -> None:
    result = invoke("fit", campaign, "--out", results[0], "--law", "stribek")
    assert result.exit_code == 1
    assert "stribeck" in result.stderr


@pytest.mark.parametrize("command", ["run", "check", "reduce", "fit"])
def test_a_campaign_that_is_not_there_is_wrong_usage(command: str, tmp_path: Path) -> None:
    result = invoke(command, tmp_path / "spring")
    assert result.exit_code == 2
    assert "rigdata example" in result.stderr.replace("\n", " ")
    assert "Traceback" not in result.output


def test_a_campaign_with_a_fault_is_code_1_and_one_message(campaign: Path, tmp_path: Path) -> None:
    text = (campaign / "campaign.toml").read_text().replace("baseline", "basline")
    (tmp_path / "campaign.toml").write_text(text)
    result = invoke("run", tmp_path)
    assert result.exit_code == 1
    assert "basline" in result.stderr
    assert result.stderr.count("\n") == 1
    assert not result.stdout


def test_results_replace_nothing_of_the_user(campaign: Path, tmp_path: Path) -> None:
    (tmp_path / "thesis.txt").write_text("years of work")
    result = invoke("run", campaign, "--out", tmp_path)
    assert result.exit_code == 1
    assert "--force" in result.stderr
    assert (tmp_path / "thesis.txt").read_text() == "years of work"


def test_an_option_out_of_range_is_wrong_usage(campaign: Path) -> None:
    assert invoke("run", campaign, "--margin", "2").exit_code == 2
    assert invoke("run", campaign, "--tolerance", "0").exit_code == 2


def test_the_example_is_written_and_never_over_something(tmp_path: Path) -> None:
    first = invoke("example", tmp_path / "demo")
    assert first.exit_code == 0
    assert "Next: rigdata run" in first.stdout
    assert (tmp_path / "demo" / "campaign.toml").is_file()
    second = invoke("example", tmp_path / "demo")
    assert second.exit_code == 1
    assert "not empty" in second.stderr


def test_the_installed_command_end_to_end(campaign: Path, tmp_path: Path) -> None:
    command = [sys.executable, "-c", "from rigdata.cli.main import main; main()"]
    done = subprocess.run(
        [*command, "run", str(campaign), "--out", str(tmp_path / "out"), "--json"],
        capture_output=True,
        text=True,
        cwd=tmp_path,
        check=False,
    )
    assert done.returncode == 3, done.stderr
    content = json.loads(done.stdout)
    assert Path(content["report"]).is_file()
    assert content["ratios"][0]["verdict"] == "higher"
    assert {one["trait"] for one in content["traits"]} >= {"dmu/dv", "static/kinetic"}
    assert {w["severity"] for w in content["warnings"]} <= {"note", "warning", "left out"}
    assert "\x1b" not in done.stdout + done.stderr
