"""The command group: help, exit codes, messages, colour."""

from __future__ import annotations

import importlib
import subprocess
import sys
from types import SimpleNamespace

import click
import pytest
from click.testing import CliRunner

from rigdata import __version__
from rigdata.cli.main import COMMANDS, EXAMPLES, main
from rigdata.errors import CampaignError


@pytest.fixture
def planted(monkeypatch: pytest.MonkeyPatch):
    """Put a function in the place of the command ``fit``."""

    def plant(function) -> None:
        module = SimpleNamespace(command=click.command("fit")(function))
        real = importlib.import_module
        monkeypatch.setattr(
            importlib,
            "import_module",
            lambda name, *rest: module if name == COMMANDS["fit"][0] else real(name, *rest),
        )

    return plant


def test_help_lists_every_command() -> None:
    result = CliRunner().invoke(main, ["--help"])
    assert result.exit_code == 0
    for name, (_, words) in COMMANDS.items():
        assert name in result.stdout
        assert words in result.stdout


def test_help_and_version_load_nothing_heavy() -> None:
    code = (
        "import sys\nfrom rigdata.cli.main import main\n"
        "try: main(['--help'])\nexcept SystemExit: pass\n"
        "heavy = {'numpy', 'scipy', 'pandas', 'lmfit', 'matplotlib'} & set(sys.modules)\n"
        "sys.exit(f'loaded {heavy}' if heavy else 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_the_package_runs_as_the_command():
    done = subprocess.run(
        [sys.executable, "-m", "rigdata", "fitt"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 2
    assert "Usage: rigdata " in done.stderr


def test_version() -> None:
    assert __version__ in CliRunner().invoke(main, ["--version"]).stdout


@pytest.mark.parametrize("name", list(COMMANDS))
def test_each_command_has_its_help(name: str) -> None:
    result = CliRunner().invoke(main, [name, "-h"])
    assert result.exit_code == 0, result.output
    assert result.stdout.startswith("Usage: ")
    assert max(map(len, result.stdout.splitlines())) <= 80


@pytest.mark.parametrize("name", list(COMMANDS))
def test_each_command_shows_an_example_of_options_that_it_has(name: str) -> None:
    told = CliRunner().invoke(main, [name, "-h"]).stdout
    example = EXAMPLES[name]
    assert f"  {example}\n" in told
    _, command, *words = example.split()
    assert command == name
    options = told.partition("Options:")[2]
    assert all(word in options for word in words if word.startswith("--"))


def test_a_mistyped_command_names_the_nearest() -> None:
    result = CliRunner().invoke(main, ["tabels"])
    assert result.exit_code == 2
    assert "Did you mean 'tables'?" in result.stderr
    assert not result.stdout


def test_no_command_is_wrong_usage() -> None:
    assert CliRunner().invoke(main, []).exit_code == 2


def test_a_fault_in_the_data_is_one_message_and_code_1(planted) -> None:
    def fault() -> None:
        raise CampaignError("no such pack 'B9'", where="campaign.toml", do="Correct the name.")

    planted(fault)
    result = CliRunner().invoke(main, ["fit"])
    assert result.exit_code == 1
    assert result.stderr == "rigdata: campaign.toml: no such pack 'B9'. Correct the name.\n"
    assert not result.stdout


def test_ctrl_c_is_130_without_a_traceback(planted) -> None:
    def stop() -> None:
        raise KeyboardInterrupt

    planted(stop)
    result = CliRunner().invoke(main, ["fit"])
    assert result.exit_code == 130
    assert "Traceback" not in result.output


def test_a_closed_pipe_is_quiet() -> None:
    code = (
        "import types, importlib, click\n"
        "from rigdata.cli.main import main\n"
        "def many():\n    [click.echo('line') for _ in range(100000)]\n"
        "importlib.import_module = lambda name: types.SimpleNamespace("
        "command=click.command('fit')(many))\n"
        "main(['fit'])\n"
    )
    process = subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    assert process.stderr is not None
    assert process.stdout.readline() == "line\n"
    process.stdout.close()
    assert process.stderr.read() == ""
    process.stderr.close()
    assert process.wait() == 141


@pytest.mark.parametrize(
    ("flags", "env", "coloured"),
    [
        (["--color"], {"NO_COLOR": "1"}, True),
        (["--no-color"], {}, False),
        ([], {"NO_COLOR": "1"}, False),
        ([], {"NO_COLOR": ""}, True),
        ([], {}, True),
    ],
)
def test_colour(planted, monkeypatch: pytest.MonkeyPatch, flags, env, coloured) -> None:
    monkeypatch.delenv("NO_COLOR", raising=False)

    def show() -> None:
        click.echo(click.style("red", fg="red"))

    planted(show)
    # color=True makes the runner pass escape codes on, as a terminal does.
    result = CliRunner(env=env).invoke(main, [*flags, "fit"], color=True)
    assert ("\x1b[" in result.stdout) is coloured
