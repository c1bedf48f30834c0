"""Is every sign and factor of the formulas held by a test?

    python -m tests.studies.mutations [--jobs 2] [MODULE ...]

One sign, operator, factor or comparison after the other is changed in the modules with
formulas, and the tests of that module run in a forked process until the first fails.
What no test fails on is listed; `KNOWN` says of which it is known that nothing is wrong.
"""

from __future__ import annotations

import argparse
import ast
import copy
import importlib.abc
import importlib.util
import math
import os
import signal
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import hypothesis  # noqa: F401 (loaded once, not by each child)
import lmfit  # noqa: F401
import matplotlib.figure  # noqa: F401
import pandas as pd  # noqa: F401
import pytest
import scipy.optimize
import scipy.signal
import scipy.sparse
import scipy.stats  # noqa: F401

import rigdata.cli.run
import rigdata.simulation.demo  # noqa: F401

HERE = Path(__file__).resolve().parents[2]
SECONDS = 240  # a mutant that runs longer hangs, and so is noticed
LEAST = 1e-6  # smaller constants only keep a division from zero
SWAPS: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
}
NEGATED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.GtE,
    ast.GtE: ast.Lt,
    ast.Gt: ast.LtE,
    ast.LtE: ast.Gt,
}
SIGNS = {ast.Add: "+", ast.Sub: "-", ast.Mult: "*", ast.Div: "/"}

# The tests of each module, the quickest that know most of it first.
TESTS = {
    "reduction.low_pass": "reduction/low_pass reduction/corrections",
    "reduction.geometry": "reduction/geometry reference/effective_radius "
    "reduction/condition_shifts reference/friction_point_budget reduction/ratio",
    "reduction.ratio": "reduction/ratio reference/friction_point_budget reduction/slip "
    "reduction/condition_shifts reduction/monte_carlo",
    "reduction.corrections": "reduction/corrections reduction/alignment "
    "reference/friction_point_budget properties/known_causes",
    "reduction.inertia": "reduction/inertia properties/known_causes",
    "reduction.drag": "reduction/drag reduction/inertia properties/known_causes",
    "reduction.drag_forms": "reduction/drag_forms reduction/drag",
    "reduction.drag_cells": "reduction/drag_cells",
    "reduction.load_line": "reduction/load_slope reduction/monte_carlo",
    "reduction.load_path": "reference/spline_loss reduction/load_path",
    "reduction.load_slope": "reduction/load_slope reduction/monte_carlo",
    "reduction.breakaway": "reduction/breakaway reduction/condition_shifts",
    "reduction.zero": "reduction/zero reduction/oscillation properties/known_causes",
    "reduction.conduction": "reduction/conduction",
    "reduction.sliding": "reduction/sliding",
    "reduction.slip": "reduction/slip",
    "reduction.alignment": "reduction/alignment",
    "uncertainty.autocorrelation": "uncertainty/autocorrelation reference/autocorrelation "
    "uncertainty/effective_size uncertainty/taken_out",
    "uncertainty.effective_size": "uncertainty/effective_size reference/autocorrelation "
    "reduction/ratio reduction/low_pass",
    "uncertainty.taken_out": "uncertainty/taken_out uncertainty/effective_size",
    "calibration.straight_line": "calibration/straight_line reference/load_cell",
    "calibration.thermocouple": "calibration/thermocouple reference/thermocouple",
    "calibration.its90": "reference/thermocouple calibration/thermocouple",
    "calibration.resistance": "calibration/resistance reference/pt100",
    "calibration.polynomial": "calibration/polynomial calibration/channels reference/load_cell",
    "calibration.channels": "calibration/channels calibration/states",
    "lockup.torque": "lockup/torque reference/lock_torque lockup/setup",
    "lockup.event": "lockup/event",
    "wear.archard": "wear/archard wear/rates",
}

# Module, changed line and change, with the reason why it changes no result.
_ROUNDS = "rounds that follow when nothing moves any more change nothing"
_START = "where a search starts; it ends at the same place"
KNOWN: dict[tuple[str, str, str], str] = {
    ("uncertainty.taken_out", "_STEPS = 24", "24 to 25"): "a table finer than its use",
    (
        "uncertainty.autocorrelation",
        "length = fft.next_fast_len(2 * n, real=True)",
        "2 to 3",
    ): "more zeros behind the samples",
    **{
        ("uncertainty.taken_out", line, change): "on both sides of the limit the same is found"
        for line, change in (
            (
                "_UNTOUCHED = 100.0  # independent samples, above which next to nothing is taken",
                "100.0 to 110",
            ),
            ("_ENOUGH = 256  # samples that stand for any more", "256 to 257"),
        )
    },
    (
        "uncertainty.taken_out",
        "length = fft.next_fast_len(2 * n, real=True)",
        "2 to 3",
    ): "more zeros behind the samples",
    ("calibration.thermocouple", "_ROUNDS = 20", "20 to 21"): _ROUNDS,
    ("calibration.resistance", "_ROUNDS = 10", "10 to 11"): _ROUNDS,
    (
        "calibration.thermocouple",
        "table_c = np.linspace(low, high, math.ceil((high - low) / _TABLE_STEP_C) + 1)",
        "/ to * in (high - low) / _TABLE_STEP_C",
    ): _START,
    **{
        ("calibration.straight_line", line, change): _START
        for line, change in (
            (
                "residual = applied - line.intercept - line.slope * indicated",
                "- to + in applied - line.intercept - line.slope * indicated",
            ),
            (
                "residual = applied - line.intercept - line.slope * indicated",
                "- to + in applied - line.intercept",
            ),
            (
                "most = float(np.max(np.abs(residual))) / abs(line.slope)",
                "/ to * in float(np.max(np.abs(residual))) / abs(line.slope)",
            ),
            ("most *= 2.0", "* to / in most *= 2.0"),
            ("most *= 2.0", "2.0 to 2.2"),
        )
    },
    (
        "calibration.straight_line",
        "return float(optimize.brentq(excess, 0.0, most, xtol=1e-9 * most))",
        "* to / in 1e-09 * most",
    ): "how exactly a root is found, far beyond what it is needed for",
    (
        "lockup.torque",
        "_TURNS, _STILL = 30, 1e-12",
        "30 to 31",
    ): _ROUNDS,
    (
        "lockup.torque",
        "if np.all(np.abs(factor - before) <= _STILL):",
        "- to + in factor - before",
    ): _ROUNDS,
    ("lockup.event", "_RTOL = 1e-6", "1e-06 to 1.1e-06"): "how exactly a course is followed",
    (
        "lockup.event",
        "return 0.5 if at(state[:1]).tested[0] else -0.5",
        "0.5 to 0.55",
    ): "only the sign is looked at",
    (
        "reduction.sliding",
        "_NODES = 4000  # of a course that is kept",
        "4000 to 4001",
    ): "how finely a course is kept",
    (
        "reduction.alignment",
        "lags = np.arange(-reach, reach + 1)",
        "1 to 2",
    ): "one more lag than is looked at",
    (
        "reduction.alignment",
        "if low >= high or tilt(low) * tilt(high) > 0:",
        "* to / in tilt(low) * tilt(high)",
    ): "only the sign is looked at",
    ("reduction.load_slope", "_CELLS = 60", "60 to 61"): "how many cells a sweep is cut into",
    ("reduction.load_line", "_STEPS = 12", "12 to 13"): _ROUNDS,
    ("reduction.load_line", "_MOST_ROUNDS = 30", "30 to 31"): _ROUNDS,
    (
        "reduction.load_line",
        "_STILL_REFIT = 1e-6  # in m and q; far below what any draw is known to",
        "1e-06 to 1.1e-06",
    ): "how exactly a line is fitted, far beyond what it is needed for",
}


@dataclass(frozen=True)
class Mutant:
    """One change of one module.

    Attributes
    ----------
    module, line : str
        Its name, and the text of the changed line.
    number : int
        Of the line.
    change : str
        In words.
    tree : ast.Module
        The module with the change in it.
    """

    module: str
    line: str
    number: int
    change: str
    tree: ast.Module

    @property
    def known(self) -> str:
        """Why the change is known to be without effect; empty where it is not."""
        return KNOWN.get((self.module, self.line, self.change), "")


def mutants(module: str) -> list[Mutant]:
    """Return every mutant of a module."""
    source = _path(module).read_text(encoding="utf-8")
    tree, lines = ast.parse(source), source.splitlines()
    found = []
    for place, node in enumerate(ast.walk(tree)):
        node.place = place  # type: ignore[attr-defined]
    for node in _formulas(tree):
        for number in range(len(list(_changes(node)))):
            changed = copy.deepcopy(tree)
            twin = next(n for n in ast.walk(changed) if n.place == node.place)  # type: ignore[attr-defined]
            words = ""
            for i, (said, change) in enumerate(_changes(twin)):
                if i == number:
                    words = said
                    change()
                    break
            line = lines[node.lineno - 1].strip()
            found.append(
                Mutant(module, line, node.lineno, words, ast.fix_missing_locations(changed))
            )
    return found


def _path(module: str) -> Path:
    return HERE / "rigdata" / (module.replace(".", "/") + ".py")


def _formulas(node: ast.AST, *, factor: bool = False) -> Iterator[ast.AST]:
    """Yield what may be changed: no words, types, indices, or conditions of a refusal."""
    if isinstance(node, ast.Raise | ast.JoinedStr | ast.Assert | ast.Import | ast.ImportFrom):
        return
    if isinstance(node, ast.Call) and ast.unparse(node.func).split(".")[-1].endswith(
        ("Error", "Notice", "fault")
    ):
        return
    if isinstance(node, ast.BinOp | ast.AugAssign | ast.Compare):
        yield node
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        yield node
    if isinstance(node, ast.Constant) and factor and type(node.value) in (int, float):
        yield node
    for name, value in ast.iter_fields(node):
        if name in ("annotation", "returns", "decorator_list", "slice", "type_params"):
            continue
        if isinstance(node, ast.If) and name == "test" and isinstance(node.body[0], ast.Raise):
            continue
        table = isinstance(node, ast.Tuple | ast.List | ast.Dict) and factor
        inside = (
            isinstance(node, ast.BinOp | ast.AugAssign)
            or (isinstance(node, ast.UnaryOp) and factor)
            or table
            or (isinstance(node, ast.Assign | ast.AnnAssign) and node.col_offset == 0)
        )
        for part in value if isinstance(value, list) else [value]:
            if isinstance(part, ast.AST):
                yield from _formulas(part, factor=inside)


def _changes(node: ast.AST) -> Iterator[tuple[str, object]]:
    if isinstance(node, ast.BinOp | ast.AugAssign) and type(node.op) in SWAPS:
        other = SWAPS[type(node.op)]
        words = f"{SIGNS[type(node.op)]} to {SIGNS[other]} in {ast.unparse(node)}"
        yield words, lambda: setattr(node, "op", other())
    elif isinstance(node, ast.UnaryOp):
        yield f"no - in {ast.unparse(node)}", lambda: setattr(node, "op", ast.UAdd())
    elif isinstance(node, ast.Compare):
        for i, op in enumerate(node.ops):
            if type(op) in NEGATED:
                words = f"the opposite of {ast.unparse(node)}"
                yield words, lambda i=i, op=op: node.ops.__setitem__(i, NEGATED[type(op)]())
    elif isinstance(node, ast.Constant) and (node.value == 0 or abs(node.value) >= LEAST):
        old = node.value
        new = old + 1 if isinstance(old, int) else old * 1.1 if old else 0.1
        if math.isfinite(new):
            yield f"{old} to {new:.6g}", lambda: setattr(node, "value", new)


class Planted(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Gives one module as it was mutated."""

    def __init__(self, mutant: Mutant) -> None:
        self._mutant = mutant
        self._file = str(_path(mutant.module))

    def find_spec(self, name: str, path: object = None, target: object = None) -> object:
        """Return how to load the module, None for any other."""
        if name != f"rigdata.{self._mutant.module}":
            return None
        return importlib.util.spec_from_loader(name, self, origin=self._file)

    def exec_module(self, module: object) -> None:
        """Run the mutated module."""
        module.__file__ = self._file  # type: ignore[attr-defined]
        exec(compile(self._mutant.tree, self._file, "exec"), module.__dict__)


def started(mutant: Mutant | None, tests: Sequence[str]) -> int:
    """Return the id of a child process that runs the tests with a mutant planted."""
    child = os.fork()
    if child:
        return child
    code = 99
    try:
        signal.alarm(SECONDS)
        null = os.open(os.devnull, os.O_RDWR)
        for stream in (0, 1, 2):
            os.dup2(null, stream)
        if mutant is not None:
            sys.meta_path.insert(0, Planted(mutant))
        options = ["-x", "-q", "-p", "no:cacheprovider", "--no-header", "--assert=plain"]
        for part in tests:  # one by one: what comes later need not be loaded
            code = int(pytest.main([*options, part]))
            if code:
                break
    finally:
        os._exit(code)


def forget(module: str) -> None:
    """Let a module, and all that import it in the end, be loaded anew by each child."""
    stale = {module}
    held = {name: m for name, m in sys.modules.items() if name.startswith("rigdata")}
    uses = {name: _imported(Path(m.__file__)) for name, m in held.items() if m.__file__}
    while more := {name for name, used in uses.items() if used & stale} - stale:
        stale |= more
    for name in stale:
        sys.modules.pop(name, None)
        parent, _, own = name.rpartition(".")
        if own and hasattr(sys.modules.get(parent), own):
            delattr(sys.modules[parent], own)


def _imported(path: Path) -> set[str]:
    """Return the modules that a file imports, as far as their names stand in it."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
    return found


def survivors(tried: Sequence[Mutant | None], tests: Sequence[str], jobs: int) -> list[int]:
    """Return which of the mutants no test fails on, by their number."""
    running: dict[int, int] = {}
    alive, waiting = [], list(range(len(tried)))
    while waiting or running:
        while waiting and len(running) < jobs:
            number = waiting.pop(0)
            running[started(tried[number], tests)] = number
        child, status = os.wait()
        number = running.pop(child)
        if os.waitstatus_to_exitcode(status) == 0:
            alive.append(number)
    return sorted(alive)


def tests_of(module: str) -> list[str]:
    """Return the files with the tests of a module."""
    names = (name.rpartition("/") for name in TESTS[module].split())
    return [f"tests/{folder}{slash}test_{name}.py" for folder, slash, name in names]


def main() -> None:
    """Try the mutants of all modules, or of those named."""
    parser = argparse.ArgumentParser()
    parser.add_argument("modules", nargs="*", default=list(TESTS))
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--all", action="store_true", help="try those in KNOWN too")
    asked = parser.parse_args()
    os.chdir(HERE)
    os.environ["HYPOTHESIS_STORAGE_DIRECTORY"] = tempfile.mkdtemp()
    total = caught = known = 0
    for module in asked.modules:
        tests = tests_of(module)
        began = time.monotonic()
        forget(f"rigdata.{module}")
        if not survivors([None], tests, 1):
            sys.exit(f"{module}: its tests fail without any change")
        print(f"{module} ({time.monotonic() - began:.0f} s)", flush=True)
        tried = mutants(module)
        wanted = [m for m in tried if asked.all or not m.known]
        left = [wanted[i] for i in survivors(wanted, tests, asked.jobs)]
        mine = len(tried) - len(wanted) + sum(bool(m.known) for m in left)
        for mutant in left:
            said = f"known: {mutant.known}" if mutant.known else "NOT CAUGHT"
            print(f"  line {mutant.number}: {mutant.change}: {said}", flush=True)
        total += len(tried)
        known += mine
        caught += len(tried) - mine - sum(not m.known for m in left)
        print(f"  {len(tried)} mutants, {len(left) - mine if asked.all else len(left)} not caught",
              flush=True)  # fmt: skip
    print(f"{total} mutants, {caught} caught, {known} without effect, "
          f"{total - caught - known} not caught")  # fmt: skip


if __name__ == "__main__":
    main()
