"""`rigdata check` beside the rig: its page, and staying to watch."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from rigdata.cli import check
from rigdata.cli.main import main
from tests.cli.conftest import DEAD_RUN


def test_the_page_shows_each_run_with_what_asks_for_something_first(
    campaign: Path, tmp_path: Path
) -> None:
    page = tmp_path / "check.html"
    result = CliRunner().invoke(main, ["check", str(campaign), "--page", str(page)])
    assert result.exit_code == 3
    text = page.read_text(encoding="utf-8")
    assert text.index(f'id="run-{DEAD_RUN}"') < text.index('id="run-R001"')
    assert text.count("<polyline") == 3 * 16
    assert 'http-equiv="refresh"' not in text
    assert "<script" not in text
    again = CliRunner().invoke(main, ["check", str(campaign), "--page", str(page)])
    assert again.exit_code == 1
    assert "is there already" in again.stderr


def test_json_counts_the_verdicts_and_says_what_to_do(campaign: Path) -> None:
    content = json.loads(CliRunner().invoke(main, ["check", str(campaign), "--json"]).stdout)
    assert content["counts"]["repeat"] == 1
    dead = next(run for run in content["runs"] if run["run"] == DEAD_RUN)
    assert dead["do"]


def test_watching_tells_what_is_new_and_renews_the_page(
    campaign: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = shutil.copytree(campaign, tmp_path / "c")
    coming = folder / "logs/R016.csv"
    held = coming.rename(tmp_path / "R016.csv")
    page = tmp_path / "check.html"
    text = (folder / "campaign.toml").read_text(encoding="utf-8")
    happenings = iter(
        [
            lambda: (folder / "campaign.toml").write_text("format = ", encoding="utf-8"),
            lambda: (folder / "campaign.toml").write_text(text, encoding="utf-8"),
            lambda: shutil.copy(held, coming),
        ]
    )

    def wait(_seen: object) -> None:
        happening = next(happenings, None)
        if happening is None:
            raise KeyboardInterrupt
        happening()

    monkeypatch.setattr(check, "wait_for_change", wait)
    result = CliRunner().invoke(main, ["check", str(folder), "--watch", "--page", str(page)])
    assert result.exit_code == 130
    first, _, later = result.stdout.partition("1 to come")
    assert "R015" in first
    assert "R016" not in first.partition("Next")[0]
    assert "R016" in later
    assert "R015" not in later
    assert "campaign.toml" in result.stderr  # the fault of the half-saved file, and on it went
    assert 'http-equiv="refresh"' in page.read_text(encoding="utf-8")


def test_watching_and_json_do_not_go_together(campaign: Path) -> None:
    result = CliRunner().invoke(main, ["check", str(campaign), "--watch", "--json"])
    assert result.exit_code == 2
