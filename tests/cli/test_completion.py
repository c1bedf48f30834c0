"""Shell completion: quick for the names of commands, right for their options."""

from __future__ import annotations

import subprocess
import sys

import pytest
from click.testing import CliRunner

from rigdata.cli.completion import SHELLS
from rigdata.cli.main import COMMANDS, main


def completions(line: str, *, watch: str = "") -> list[str]:
    """Return what a shell would be offered at the end of `line`."""
    code = (
        "import os, sys; sys.argv = ['rigdata']\n"
        "from rigdata.cli.main import main\n"
        "try:\n    main(prog_name='rigdata')\n"
        "finally:\n    sys.stderr.write(str('numpy' in sys.modules))"
    )
    environment = {
        "_RIGDATA_COMPLETE": "bash_complete",
        "COMP_WORDS": line,
        "COMP_CWORD": str(len(line.split()) - (not line.endswith(" "))),
        "PATH": "",
        "PYTHONPATH": ":".join(sys.path),
    }
    done = subprocess.run(
        [sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=False
    )
    assert done.stderr in ("True", "False"), done.stderr
    if watch:
        assert done.stderr == watch
    return [row.partition(",")[2] for row in done.stdout.splitlines()]


def test_commands_are_completed_without_loading_them() -> None:
    assert completions("rigdata ", watch="False") == list(COMMANDS)
    assert completions("rigdata re", watch="False") == ["reduce", "report"]


def test_options_of_a_command_are_completed() -> None:
    assert "--watch" in completions("rigdata check --w")


@pytest.mark.parametrize("shell", SHELLS)
def test_every_shell_gets_its_lines(shell: str) -> None:
    result = CliRunner().invoke(main, ["completion", shell])
    assert result.exit_code == 0
    assert "_RIGDATA_COMPLETE" in result.stdout
