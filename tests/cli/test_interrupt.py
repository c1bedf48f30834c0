"""Ctrl-C, or a request to end, in the middle of the work: one line, nothing half written."""

from __future__ import annotations

import signal
import subprocess
import sys
from pathlib import Path

import pytest

CODE = """
import signal
from rigdata.cli.main import main
import rigdata.pipeline.run as work

def interrupted(*_args, **_options):
    signal.raise_signal(NUMBER)

work.render_report = interrupted  # the last step: everything else is already in the new folder
signal.signal(signal.SIGINT, signal.default_int_handler)
main()
"""


@pytest.mark.parametrize(
    ("number", "word"), [(signal.SIGINT, "stopped"), (signal.SIGTERM, "ended")]
)
def test_nothing_is_left_half_written(
    campaign: Path, tmp_path: Path, number: signal.Signals, word: str
) -> None:
    out = tmp_path / "results"
    done = subprocess.run(
        [
            sys.executable,
            "-c",
            CODE.replace("NUMBER", str(int(number))),
            "run",
            str(campaign),
            "--out",
            str(out),
        ],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 128 + number
    assert done.stderr == f"rigdata: {word}; nothing was left half written.\n"
    assert done.stdout == ""
    assert list(tmp_path.iterdir()) == []
