"""Ctrl-C in the middle of the work: code 130, one line, nothing half written."""

from __future__ import annotations

import signal
import subprocess
import sys
from pathlib import Path

CODE = """
import signal
from rigdata.cli.main import main
import rigdata.pipeline.run as work

def interrupted(*_args, **_options):
    signal.raise_signal(signal.SIGINT)

work.render_report = interrupted  # the last step: everything else is already in the new folder
signal.signal(signal.SIGINT, signal.default_int_handler)
main()
"""


def test_ctrl_c_leaves_nothing_half_written(campaign: Path, tmp_path: Path) -> None:
    out = tmp_path / "results"
    done = subprocess.run(
        [sys.executable, "-c", CODE, "run", str(campaign), "--out", str(out)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 130 == 128 + signal.SIGINT
    assert done.stderr == "rigdata: stopped; nothing was left half written.\n"
    assert done.stdout == ""
    assert list(tmp_path.iterdir()) == []
