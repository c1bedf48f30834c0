"""Numbers, tables, notices and JSON on a terminal."""

from __future__ import annotations

import json
import sys

import click
import pytest
from click.testing import CliRunner

from rigdata import __version__
from rigdata.cli.terminal import (
    WIDTH,
    Meter,
    aligned,
    finish,
    interval,
    paragraph,
    progress,
    rounded,
    show_json,
    show_notices,
)
from rigdata.errors import Notice, Severity
from rigdata.steps import Step

NOTE = Notice(Severity.NOTE, "run R1", "a default was taken")
WARNING = Notice(Severity.WARNING, "run R2", "zero moved by 0.8 N*m", "Look at the cable.")
LEFT_OUT = Notice(Severity.LEFT_OUT, "run R3", "no torque")


@pytest.mark.parametrize(
    ("value", "u", "text"),
    [
        (0.112345, 0.0021, "0.1123"),
        (0.112345, 0.021, "0.112"),
        (0.112345, 0.0996, "0.11"),
        (1234.6, 34.0, "1235"),
        (float("nan"), 0.1, "-"),
    ],
)
def test_two_digits_of_the_uncertainty(value: float, u: float, text: str) -> None:
    assert rounded(value, u) == text


def test_an_interval_without_ends_is_a_dash() -> None:
    assert interval(float("nan"), float("nan"), 0.1) == "-"
    assert interval(0.10812, 0.11654, 0.0021) == "0.1081 to 0.1165"


def test_a_row_of_one_string_is_a_heading_of_a_table() -> None:
    lines = aligned(["law", "n"], ["rough (new)", ["constant", "1"], "plain", ["log", "4"]])
    assert lines.splitlines()[2:] == ["rough (new)", "constant  1", "plain", "log       4"]


def test_tables_keep_to_80_columns_and_align() -> None:
    rows = [["R1", "0.11", "good " * 40], ["R222", "-", "short"]]
    text = aligned(["run", "mu", "reason"], rows)
    lines = text.splitlines()
    assert max(map(len, lines)) <= WIDTH
    assert lines[0].index("reason") == lines[2].index("good")
    assert lines[2].index("0.11") + 3 == lines[-1].index("- ")
    assert aligned(["a", "b"], []).splitlines()[0] == "a  b"


def test_paragraphs_keep_to_80_columns() -> None:
    lines = paragraph("word " * 60, indent="  ").splitlines()
    assert max(map(len, lines)) <= WIDTH
    assert lines[1].startswith("  word")


def run(function) -> object:
    return CliRunner().invoke(click.command()(function), [])


def test_notices_go_to_standard_error_and_notes_are_not_shown() -> None:
    result = run(lambda: show_notices([NOTE, WARNING, LEFT_OUT]))
    assert result.stdout == ""
    assert "default" not in result.stderr
    assert "run R2: warning: zero moved by 0.8 N*m. Look at the cable." in result.stderr
    assert "run R3: left out: no torque." in result.stderr


@pytest.mark.parametrize(
    ("notices", "code"), [([], 0), ([NOTE], 0), ([NOTE, WARNING], 3), ([LEFT_OUT], 3)]
)
def test_code_3_when_something_is_amiss(notices, code: int) -> None:
    assert run(lambda: finish(notices)).exit_code == code


def test_json_has_its_head_and_no_nan() -> None:
    rows = [{"mu": 0.1, "next": float("nan")}]
    result = run(lambda: show_json("fit", [WARNING], rows=rows))
    content = json.loads(result.stdout, parse_constant=pytest.fail)
    assert content["schema"] == "rigdata/fit/1"
    assert content["version"] == __version__
    assert content["warnings"][0]["severity"] == "warning"
    assert content["rows"] == [{"mu": 0.1, "next": None}]


def test_progress_is_shown_on_a_terminal_only(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    with progress() as show:
        assert show is None
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    with progress(quiet=True) as show:
        assert show is None
    with progress() as show:
        assert show is not None
        show(Step("reading run R001"))
    captured = capsys.readouterr()
    assert captured.out == ""
    assert "reading run R001" in captured.err
    assert "\x1b" not in captured.err
    assert captured.err.endswith(" \r")


def test_time_left_follows_the_pace_of_like_steps() -> None:
    now = 100.0
    meter = Meter(lambda: now)
    assert meter.line(Step("comparing")) == "comparing"
    assert meter.line(Step("reading run R1", 0, 12)) == "reading run R1 (1 of 12)"
    now += 0.5
    assert meter.line(Step("reading run R2", 1, 12)) == "reading run R2 (2 of 12)"
    now += 5.5
    assert meter.line(Step("reading run R4", 3, 12)) == "reading run R4 (4 of 12, 18 s left)"
    now += 50.0
    assert meter.line(Step("drawing curve", 0, 3)) == "drawing curve (1 of 3)"
    now += 4.0
    assert meter.line(Step("drawing bars", 1, 3)) == "drawing bars (2 of 3, 8 s left)"


def test_a_long_step_stays_on_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    Meter(lambda: 0.0)(Step("x" * 200))
    assert len(capsys.readouterr().err) == 80
