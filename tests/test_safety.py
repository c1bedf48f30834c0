"""What comes in is data: never code, never markup, never a command to a terminal.

Each attack is planted, and each check is shown to catch one.
"""

from __future__ import annotations

import ast
import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

import rigdata
from rigdata.cli.main import main
from rigdata.errors import ResultError
from rigdata.simulation.campaign import simulate_campaign
from rigdata.simulation.demo import study_spec
from rigdata.storage.json_files import read_json

PACKAGE = Path(rigdata.__file__).parent
# Names that run what they are given, or reach out of this machine.
CALLS = {
    "eval", "exec", "compile", "__import__", "system", "popen", "run_path", "run_module",
    "read_pickle", "to_pickle", "loads_pickle", "literal_eval",
}  # fmt: skip
MODULES = {
    "pickle", "marshal", "shelve", "dill", "cloudpickle", "joblib", "yaml", "subprocess", "pty",
    "socket", "socketserver", "http", "urllib.request", "ftplib", "smtplib", "xmlrpc", "ssl",
    "webbrowser", "requests", "asteval", "code", "runpy",
}  # fmt: skip
ALLOWED = {
    ("storage/lock.py", "socket"),  # the name of this machine, to say who holds a lock
    ("engines/parcels.py", "pickle"),  # between processes of one user, never of a file
}
HOSTILE = "<script>alert(1)</script>"


def dangers(source: str, name: str) -> Iterator[str]:
    """Yield every use of a dangerous call or module in a piece of source."""
    for node in ast.walk(ast.parse(source)):
        found: list[str] = []
        if isinstance(node, ast.Call):
            function = node.func
            called = function.id if isinstance(function, ast.Name) else ""
            found += ["shell"] if any(k.arg == "shell" for k in node.keywords) else []
            if isinstance(function, ast.Attribute):
                owner = function.value.id if isinstance(function.value, ast.Name) else ""
                called = "" if owner == "re" else function.attr
                if function.attr == "load" and owner in ("np", "numpy"):
                    keys = {k.arg: getattr(k.value, "value", None) for k in node.keywords}
                    found += [] if keys.get("allow_pickle") is False else ["numpy.load"]
            found += [called] if called in CALLS else []
        elif isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module:
            found += [node.module]
        for danger in found:
            known = danger in CALLS | {"numpy.load", "shell"}
            module = any(danger == m or danger.startswith(f"{m}.") for m in MODULES)
            if (known or module) and (name, danger) not in ALLOWED:
                yield f"{name}, line {node.lineno}: {danger}"


def test_nothing_in_the_package_runs_what_it_reads_or_reaches_out() -> None:
    found = [
        danger
        for path in PACKAGE.rglob("*.py")
        for danger in dangers(path.read_text("utf-8"), path.relative_to(PACKAGE).as_posix())
    ]
    assert found == []


@pytest.mark.parametrize(
    "planted",
    [
        "eval(text)",
        "import pickle",
        "from urllib.request import urlopen",
        "numpy.load(path)",
        "np.load(path, allow_pickle=True)",
        "os.system('ls')",
        "run(words, shell=True)",
        "pd.read_pickle(path)",
    ],
)
def test_a_planted_danger_is_found(planted: str) -> None:
    assert len([*dangers(planted, "x.py")]) == 1


@pytest.mark.parametrize(
    "harmless", ["re.compile('a')", "np.load(f, allow_pickle=False)", "x.run()"]
)
def test_what_is_harmless_is_not_found(harmless: str) -> None:
    assert [*dangers(harmless, "x.py")] == []


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("bench") / "study"
    simulate_campaign(study_spec(packs=1, tests=("zero", "drag", "sweep-light")), 5, folder)
    return folder


def invoke(*arguments: object) -> Result:
    return CliRunner().invoke(main, [*map(str, arguments)], color=False)


def with_remark(bench: Path, folder: Path, reason: str) -> Path:
    """Copy the bench with a reason, in TOML's own escapes, for leaving a run out."""
    shutil.copytree(bench, folder)
    file = folder / "campaign.toml"
    text = file.read_text(encoding="utf-8")
    at = text.index('id = "R004"')
    file.write_text(f'{text[:at]}exclude = "{reason}"\n{text[at:]}', encoding="utf-8")
    return folder


def test_a_remark_is_no_markup(bench: Path, tmp_path: Path) -> None:
    folder = with_remark(bench, tmp_path / "c", HOSTILE)
    page = tmp_path / "check.html"
    done = invoke("check", folder, "--page", page, "--no-cache")
    assert "alert(1)" in done.stdout
    assert "<script" not in page.read_text(encoding="utf-8")
    assert "&lt;script&gt;alert(1)" in page.read_text(encoding="utf-8")
    done = invoke("run", folder, "--law", "log-speed", "--no-cache")
    assert done.exit_code == 3, done.output
    report = (folder / "results" / "report.html").read_text(encoding="utf-8")
    assert "&lt;script&gt;alert(1)" in report
    assert HOSTILE not in report


def test_a_remark_is_no_command_to_the_terminal(bench: Path, tmp_path: Path) -> None:
    folder = with_remark(bench, tmp_path / "c", "\\u001b[2J")
    done = invoke("check", folder, "--no-cache")
    assert done.exit_code == 1
    assert "control character" in done.stderr
    assert "\x1b" not in done.output


def test_a_fault_in_a_file_is_no_command_to_the_terminal(bench: Path, tmp_path: Path) -> None:
    folder = shutil.copytree(bench, tmp_path / "c")
    rig = next(folder.rglob("rig.toml"))
    rig.write_text(
        rig.read_text(encoding="utf-8").replace("[log]", '"\\u001b[31mx" = 1\n[log]', 1),
        encoding="utf-8",
    )
    done = invoke("check", folder)
    assert done.exit_code == 1
    assert "\x1b" not in done.output


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
@pytest.mark.parametrize("name", ["logs/R004.csv", "campaign.toml"])
def test_a_pipe_in_place_of_a_file_is_not_waited_for(
    bench: Path, tmp_path: Path, name: str
) -> None:
    folder = shutil.copytree(bench, tmp_path / "c")
    (folder / name).unlink()
    os.mkfifo(folder / name)
    done = invoke("check", folder)
    assert done.exit_code != 0 or "R004" not in done.stdout.partition("Next")[0]
    shown = invoke("logs", folder / name)
    assert shown.exit_code in (1, 2)


def test_a_link_out_of_the_campaign_is_refused(bench: Path, tmp_path: Path) -> None:
    folder = shutil.copytree(bench, tmp_path / "c")
    log = folder / "logs/R004.csv"
    outside = log.rename(tmp_path / "secret.csv")
    log.symlink_to(outside)
    done = invoke("check", folder)
    assert done.exit_code == 1
    assert "R004" in done.stderr


def test_json_nested_without_end_is_one_message(tmp_path: Path) -> None:
    file = tmp_path / "fits.json"
    file.write_text("[" * 100_000 + "]" * 100_000)
    with pytest.raises(ResultError, match="nested too deeply"):
        read_json(file)
