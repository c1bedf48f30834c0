"""The results folder: what a stage keeps, drops and writes down."""

from __future__ import annotations

import json
from pathlib import Path
from types import SimpleNamespace

import pytest

from rigdata.errors import ResultError
from rigdata.pipeline.folder import read_manifest, results_folder, results_stage
from rigdata.storage.files import sha256


@pytest.fixture
def campaign(tmp_path: Path) -> SimpleNamespace:
    files = {}
    for name in ("campaign.toml", "R1.csv", "R2.csv"):
        files[name] = tmp_path / name
        files[name].write_text(name)
    rig = SimpleNamespace(
        histories={"torque": (SimpleNamespace(id="TC-1", content_sha256="0" * 64),)}
    )
    inputs = [
        SimpleNamespace(
            role="campaign", path=files["campaign.toml"], sha256=sha256(files["campaign.toml"])
        )
    ]
    runs = [SimpleNamespace(id=name, log=tmp_path / f"{name}.csv") for name in ("R1", "R2", "R3")]
    return SimpleNamespace(
        name="spring", folder=tmp_path, path=inputs[0].path, inputs=inputs, runs=runs, rig=rig
    )


@pytest.fixture
def reduction() -> SimpleNamespace:
    return SimpleNamespace(
        summaries={"R1": SimpleNamespace(log_sha256="1" * 64)},
        left_out={"R2": "no torque"},
        faults=(),
    )


def stage(campaign, command: str, names: list[str], **more) -> dict:
    folder = results_folder(campaign)
    with results_stage(campaign, folder, command, {"margin": 0.05}, **more) as part:
        for name in names:
            (part / name).parent.mkdir(exist_ok=True)
            (part / name).write_text(f"{command}: {name}")
    return read_manifest(folder)


def present(campaign) -> set[str]:
    folder = results_folder(campaign)
    return {p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()}


def test_stages_keep_what_stands_before_and_drop_what_came_after(campaign, reduction) -> None:
    stage(campaign, "reduce", ["points.csv"], reduction=reduction)
    stage(campaign, "fit", ["fits.json"])
    stage(campaign, "tables", ["tables/a.csv"])
    stage(campaign, "compare", ["comparison.csv"])
    stage(campaign, "report", ["report.html"])
    everything = {"points.csv", "fits.json", "tables/a.csv", "comparison.csv", "report.html"}
    assert present(campaign) == everything | {"manifest.json"}
    stage(campaign, "tables", ["tables/b.csv"])
    assert present(campaign) == {
        "points.csv", "fits.json", "tables/b.csv", "comparison.csv", "manifest.json"
    }  # fmt: skip
    stage(campaign, "fit", ["fits.json"])
    assert present(campaign) == {"points.csv", "fits.json", "manifest.json"}
    stage(campaign, "reduce", ["points.csv"], reduction=reduction)
    assert present(campaign) == {"points.csv", "manifest.json"}


def test_files_of_the_user_survive_a_stage_but_only_with_force(campaign) -> None:
    folder = results_folder(campaign)
    folder.mkdir()
    (folder / "points.csv").write_text("made by hand")
    (folder / "notes.txt").write_text("mine")
    with pytest.raises(ResultError, match="was not written by rigdata"):
        stage(campaign, "fit", ["fits.json"])
    stage(campaign, "fit", ["fits.json"], force=True)
    assert (folder / "notes.txt").read_text() == "mine"
    assert (folder / "points.csv").read_text() == "made by hand"


def test_the_manifest_names_inputs_and_outputs_by_hash(campaign, reduction) -> None:
    manifest = stage(campaign, "reduce", ["points.csv"], reduction=reduction)
    by_name = {entry["name"]: entry for entry in manifest["inputs"]}
    assert by_name["campaign.toml"]["sha256"] == sha256(campaign.path)
    assert by_name["R1.csv"] == {"role": "log", "name": "R1.csv", "sha256": "1" * 64}
    # A log that could not be used counts too; one that does not exist cannot.
    assert by_name["R2.csv"]["sha256"] == sha256(campaign.folder / "R2.csv")
    assert "R3.csv" not in by_name
    (output,) = manifest["outputs"]
    assert output["sha256"] == sha256(results_folder(campaign) / "points.csv")
    assert [entry["id"] for entry in manifest["records"]] == ["TC-1"]
    assert manifest["left_out"] == {"R2": "no torque"}
    assert str(campaign.folder) not in json.dumps(manifest)


def test_a_later_stage_keeps_the_account_of_the_logs(campaign, reduction) -> None:
    first = stage(campaign, "reduce", ["points.csv"], reduction=reduction)
    second = stage(campaign, "fit", ["fits.json"])
    assert second["inputs"] == first["inputs"]
    assert second["left_out"] == first["left_out"]
    assert [step["command"] for step in second["steps"]] == ["reduce", "fit"]
    assert second["steps"][1]["options"] == {"margin": 0.05}
    assert {"python", "numpy", "lmfit"} <= set(second["steps"][1]["software"])


def test_a_stage_that_fails_changes_nothing(campaign, reduction) -> None:
    stage(campaign, "reduce", ["points.csv"], reduction=reduction)
    with pytest.raises(RuntimeError, match="half-way"):
        _break_off(campaign)
    assert present(campaign) == {"points.csv", "manifest.json"}
    assert [p.name for p in campaign.folder.iterdir() if p.name.startswith(".")] == []


def test_results_never_replace_the_campaign(campaign) -> None:
    with pytest.raises(ResultError, match="holds"):
        _into(campaign, campaign.folder)


def _break_off(campaign) -> None:
    with results_stage(campaign, results_folder(campaign), "fit", {}) as part:
        (part / "fits.json").write_text("half")
        raise RuntimeError("half-way")


def _into(campaign, folder: Path) -> None:
    with results_stage(campaign, folder, "run", {}, force=True):
        pass
