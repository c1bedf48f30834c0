"""What the package never does: run what it reads, talk to a network, or trust a name."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "rigdata"

# Calls that run text or bytes as code, or give them to a shell.
RUNS = {"eval", "exec", "compile", "__import__", "execfile"}
RUNS_OF = {
    "os": {"system", "popen", "startfile", "spawnl", "spawnv", "execv", "execl", "posix_spawn"},
    "lmfit": {"load_model", "load_modelresult"},
    "pd": {"eval", "read_pickle", "read_html", "read_sql", "read_clipboard"},
    "np": {"fromregex"},
}
# Method names that take code in text, whatever they are called on.
METHODS = {"query", "set_eval", "read_pickle", "to_pickle"}
MODULES = {
    "pickle", "cPickle", "dill", "cloudpickle", "shelve", "marshal", "joblib", "yaml", "asteval",
    "subprocess", "pty", "code", "codeop", "runpy", "socket", "ssl", "http", "urllib", "ftplib",
    "smtplib", "telnetlib", "xmlrpc", "requests", "httpx", "aiohttp", "webbrowser", "xml.sax",
    "xml.dom", "lxml", "tarfile", "imp", "multiprocessing.connection",
}  # fmt: skip
# What is allowed all the same, and why.
ALLOWED = {
    ("storage/lock.py", "socket"): "the name of this computer, for whoever finds the lock",
    ("engines/parcels.py", "pickle"): "between our own processes, never out of a file",
    ("engines/local.py", "multiprocessing.connection"): "the type of a pipe to our own processes",
    ("extras.py", "import_module"): "packages named in our own code",
    ("__init__.py", "import_module"): "our own modules, loaded on first use",
    ("cli/main.py", "import_module"): "our own commands, loaded when called",
    ("cli/lock.py", "import_module"): "our own figures, loaded when asked for",
    ("cli/logs.py", "import_module"): "our own figures, loaded when asked for",
    ("report/blocks.py", "urllib"): "urllib.parse, which quotes text and opens nothing",
    ("storage/swap.py", "CDLL"): "renameat2 of the C library, which Python does not offer",
}


def found(path: Path, name: str) -> list[str]:
    """Return what a file does that it must not, as ``file:line: what``."""
    faults: list[tuple[int, str]] = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            faults += [(node.lineno, alias.name) for alias in node.names if _banned(alias.name)]
        elif isinstance(node, ast.ImportFrom) and node.module:
            named = [node.module, *(f"{node.module}.{alias.name}" for alias in node.names)]
            faults += [(node.lineno, n) for n in dict.fromkeys(map(_root, named)) if _banned(n)]
        elif isinstance(node, ast.Call):
            faults += [(node.lineno, what) for what in _called(node)]
    return [f"{name}:{line}: {what}" for line, what in faults if (name, what) not in ALLOWED]


def _root(module: str) -> str:
    return next((m for m in MODULES if module == m or module.startswith(f"{m}.")), module)


def _banned(module: str) -> bool:
    return _root(module) in MODULES


def _called(node: ast.Call) -> list[str]:
    faults = []
    options = {option.arg: option.value for option in node.keywords}
    if isinstance(node.func, ast.Name):
        name, owner = node.func.id, ""
    elif isinstance(node.func, ast.Attribute):
        name = node.func.attr
        owner = node.func.value.id if isinstance(node.func.value, ast.Name) else "?"
    else:
        return []
    if (not owner and name in RUNS) or name in RUNS_OF.get(owner, set()) or name in METHODS:
        faults.append(name)
    if owner == "np" and name in ("load", "save", "savez", "savez_compressed"):
        allowed = options.get("allow_pickle")
        if not (isinstance(allowed, ast.Constant) and allowed.value is False):
            faults.append(f"np.{name} with pickles")
    if name in ("import_module", "CDLL", "cdll"):
        faults.append(name)
    if "shell" in options or "expr" in options:
        faults.append("shell" if "shell" in options else "expr")
    if name in ("XMLParser", "parse", "fromstring", "iterparse", "XML") and owner == "ET":
        target = options.get("target")
        if not (name == "XMLParser" and target is not None):
            faults.append(f"ET.{name} without a guard")
    return faults


def test_the_package_does_none_of_it():
    files = sorted(PACKAGE.rglob("*.py"))
    assert len(files) > 200
    assert [f for path in files for f in found(path, path.relative_to(PACKAGE).as_posix())] == []


def test_every_allowance_is_needed():
    for name, what in list(ALLOWED):
        kept = ALLOWED.pop((name, what))
        try:
            assert any(what in fault for fault in found(PACKAGE / name, name)), (name, what)
        finally:
            ALLOWED[name, what] = kept


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("eval('1')", "eval"),
        ("exec(text)", "exec"),
        ("compile(text, '', 'exec')", "compile"),
        ("__import__('os')", "__import__"),
        ("import pickle", "pickle"),
        ("from pickle import loads", "pickle"),
        ("from xml import sax", "xml.sax"),
        ("import xml.dom.minidom", "xml.dom"),
        ("import yaml", "yaml"),
        ("import urllib.request", "urllib"),
        ("from http.client import HTTPConnection", "http"),
        ("import socket", "socket"),
        ("import subprocess", "subprocess"),
        ("import os\nos.system('ls')", "system"),
        ("run('ls', shell=True)", "shell"),
        ("parameters.add('a', expr=text)", "expr"),
        ("frame.query(text)", "query"),
        ("pd.eval(text)", "eval"),
        ("pd.read_pickle(path)", "read_pickle"),
        ("np.load(path)", "np.load with pickles"),
        ("np.load(path, allow_pickle=True)", "np.load with pickles"),
        ("np.savez(path, a=1)", "np.savez with pickles"),
        ("importlib.import_module(name)", "import_module"),
        ("ET.fromstring(text)", "ET.fromstring without a guard"),
        ("ET.XMLParser()", "ET.XMLParser without a guard"),
    ],
)
def test_each_is_seen_where_it_is_planted(tmp_path, text, words):
    path = tmp_path / "planted.py"
    path.write_text(text)
    faults = found(path, "planted.py")
    assert len(faults) == 1, faults
    assert faults[0].endswith(words) or words in faults[0]


def test_what_is_harmless_is_not_taken_for_it(tmp_path):
    path = tmp_path / "sound.py"
    path.write_text(
        "import json\nimport xml.etree.ElementTree as ET\nfrom click import echo\n"
        "ET.XMLParser(target=guard)\nnp.load(file, allow_pickle=False)\nre.compile(text)\n"
        "def open(self):\n    return self\n"
    )
    assert found(path, "sound.py") == []


def test_only_two_modules_of_the_command_line_write_to_the_terminal():
    """All others print by `say`, which lets no terminal code through."""
    writing = {
        path.name
        for path in (PACKAGE / "cli").glob("*.py")
        if any(words in path.read_text(encoding="utf-8") for words in ("click.echo", "print("))
    }
    assert writing == {"main.py", "terminal.py"}
