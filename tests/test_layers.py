"""The shape of the package: who may import whom, and how big a module may grow.

Each check is a function from a source tree to a list of faults, so that it can
be shown to fail on a small tree with a planted fault.
"""

import ast
import graphlib
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

import rigdata

PACKAGE = Path(rigdata.__file__).parent
ROOT = "rigdata"

# Bottom to top. A part imports only itself and what stands before it.
ORDER = (
    "errors",
    "extras",
    "arrays",
    "quantities",
    "storage",
    "steps",
    "engines",
    "uncertainty",
    "campaign",
    "logs",
    "calibration",
    "reduction",
    "friction",
    "bedding",
    "comparison",
    "wear",
    "tables",
    "lockup",
    "planning",
    "figures",
    "report",
    "simulation",
    "pipeline",
    "",  # the root, which re-exports the public names
    "cli",
    "__main__",
)
# The simulated rig must not lean on the code it checks.
ONLY = {"simulation": {"errors", "arrays", "quantities", "storage", "steps"}}
HOMES = {
    "click": "rigdata.cli",
    "matplotlib": "rigdata.figures",
    "lmfit": "rigdata.friction.fitting",
}
FORBIDDEN_NAMES = {"utils", "util", "common", "helpers", "helper"}
MOST_LINES = 400


@dataclass(frozen=True)
class Import:
    """One import statement, with the modules it may bring in."""

    targets: tuple[str, ...]
    line: int
    in_function: bool


@dataclass(frozen=True)
class Module:
    name: str
    path: Path
    is_package: bool
    tree: ast.Module

    @property
    def part(self) -> str:
        """The first name below the root: the layer this module belongs to."""
        return part_of(self.name)


def part_of(name: str) -> str:
    return name.removeprefix(ROOT).lstrip(".").split(".")[0]


def modules(package: Path) -> dict[str, Module]:
    found = {}
    for path in sorted(package.rglob("*.py")):
        parts = list(path.relative_to(package).with_suffix("").parts)
        is_package = parts[-1] == "__init__"
        name = ".".join([ROOT, *(parts[:-1] if is_package else parts)])
        tree = parsed(path.read_text(encoding="utf-8"))
        found[name] = Module(name, path, is_package, tree)
    return found


@cache  # every check goes through the same modules
def parsed(text: str) -> ast.Module:
    return ast.parse(text)


def imports(module: Module, known: dict[str, Module]) -> tuple[Import, ...]:
    """Every import in the module, wherever it stands: in a function, under TYPE_CHECKING."""
    return _imports(module, frozenset(known))


@cache
def _imports(module: Module, known: frozenset[str]) -> tuple[Import, ...]:
    found = []
    inner = {
        id(node)
        for function in ast.walk(module.tree)
        if isinstance(function, ast.FunctionDef | ast.AsyncFunctionDef)
        for node in ast.walk(function)
    }
    for node in ast.walk(module.tree):
        if isinstance(node, ast.Import):
            names = tuple(alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = absolute(node, module)
            deeper = [f"{base}.{alias.name}" for alias in node.names]
            plain = [base] if any(name not in known for name in deeper) else []
            names = (*plain, *(name for name in deeper if name in known))
        else:
            continue
        found.append(Import(names, node.lineno, id(node) in inner))
    return tuple(found)


def absolute(node: ast.ImportFrom, module: Module) -> str:
    if not node.level:
        return node.module or ""
    above = module.name.split(".")
    above = above[: len(above) - node.level + module.is_package]
    return ".".join([*above, *([node.module] if node.module else [])])


def ours(name: str) -> bool:
    return name == ROOT or name.startswith(ROOT + ".")


def at(module: Module, line: int) -> str:
    return f"{module.name}:{line}"


# --- the checks


def upward_imports(package: Path) -> list[str]:
    known, faults = modules(package), []
    for module in known.values():
        if module.part not in ORDER:
            faults.append(f"{module.name} has no place in ORDER")
            continue
        allowed = set(ORDER[: ORDER.index(module.part) + 1])
        allowed = ONLY.get(module.part, allowed) | {module.part}
        faults += [
            f"{at(module, found.line)} imports {name}"
            for found in imports(module, known)
            for name in found.targets
            if ours(name) and part_of(name) not in allowed
        ]
    return faults


def import_rings(package: Path) -> list[str]:
    known = modules(package)
    graph = {
        module.name: {
            name
            for found in imports(module, known)
            for name in found.targets
            if name in known and name != module.name
        }
        for module in known.values()
    }
    try:
        graphlib.TopologicalSorter(graph).prepare()
    except graphlib.CycleError as error:
        return [" <- ".join(error.args[1])]
    return []


def imports_in_functions(package: Path) -> list[str]:
    known = modules(package)
    return [
        f"{at(module, found.line)} imports {', '.join(found.targets)} inside a function"
        for module in known.values()
        for found in imports(module, known)
        if found.in_function
    ]


def imports_by_name(package: Path) -> list[str]:
    """A call of importlib, which would hide from the other checks.

    The commands, and the packages that only one format needs, have reason to.
    """
    return [
        f"{at(module, node.lineno)} calls {ast.unparse(node.func)}"
        for module in modules(package).values()
        if module.part not in ("cli", "extras", "")
        for node in ast.walk(module.tree)
        if isinstance(node, ast.Call)
        and ast.unparse(node.func).split(".")[-1] in ("import_module", "__import__")
    ]


def filled_packages(package: Path) -> list[str]:
    faults = []
    for module in modules(package).values():
        body = module.tree.body[1:] if ast.get_docstring(module.tree) else module.tree.body
        if module.is_package and module.name != ROOT and body:
            faults.append(f"{at(module, body[0].lineno)} holds more than a docstring")
    return faults


def strangers(package: Path) -> list[str]:
    """click, matplotlib and lmfit outside their homes."""
    known = modules(package)
    return [
        f"{at(module, found.line)} imports {name}"
        for module in known.values()
        for found in imports(module, known)
        for name in found.targets
        if (home := HOMES.get(name.split(".")[0]))
        and not (module.name == home or module.name.startswith(home + "."))
    ]


def dumping_grounds(package: Path) -> list[str]:
    return [name for name in modules(package) if FORBIDDEN_NAMES & set(name.split("."))]


def long_modules(package: Path) -> list[str]:
    counts = {
        module.name: len(module.path.read_text(encoding="utf-8").splitlines())
        for module in modules(package).values()
    }
    return [f"{name} has {n} lines" for name, n in counts.items() if n > MOST_LINES]


CHECKS: tuple[Callable[[Path], list[str]], ...] = (
    upward_imports,
    import_rings,
    imports_in_functions,
    imports_by_name,
    filled_packages,
    strangers,
    dumping_grounds,
    long_modules,
)


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
def test_the_package_keeps_its_shape(check):
    assert check(PACKAGE) == []


# --- proof that each check can fail


def plant(folder: Path, files: dict[str, str]) -> Path:
    package = folder / ROOT
    sound = {
        "__init__.py": '"""Root."""\n\nfrom rigdata.pipeline import run\n',
        "errors.py": "import enum\n",
        "quantities.py": "from rigdata.errors import RigdataError\n",
        "campaign/__init__.py": '"""Words."""\n',
        "campaign/rig.py": "from rigdata.quantities import UNITS\n",
        "friction/__init__.py": '"""Words."""\n',
        "friction/fitting.py": "import lmfit\nfrom rigdata.campaign import rig\n",
        "figures/__init__.py": '"""Words."""\n',
        "figures/curves.py": "from matplotlib.figure import Figure\nfrom rigdata import friction\n",
        "simulation/__init__.py": '"""Words."""\n',
        "simulation/bench.py": "from rigdata.quantities import UNITS\n",
        "pipeline.py": "import rigdata.friction.fitting\n",
        "cli/__init__.py": '"""Words."""\n',
        "cli/main.py": (
            "import importlib\nimport click\nfrom rigdata import __version__\n"
            "def load():\n    return importlib.import_module('rigdata.cli.fit')\n"
        ),
    }
    for name, text in (sound | files).items():
        path = package / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
    return package


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
def test_a_sound_tree_has_no_faults(tmp_path, check):
    assert check(plant(tmp_path, {})) == []


RIG, ERRORS, QUANTITIES = "campaign/rig.py", "errors.py", "quantities.py"
CAMPAIGN = "campaign/__init__.py"
FAULTS = [
    (upward_imports, {QUANTITIES: "from rigdata.campaign.rig import Rig\n"}, "campaign.rig"),
    (upward_imports, {QUANTITIES: "import rigdata.friction.fitting\n"}, "friction.fitting"),
    (upward_imports, {QUANTITIES: "from rigdata import friction\n"}, "rigdata.friction"),
    (upward_imports, {RIG: "from ..friction.fitting import fit\n"}, "friction.fitting"),
    (upward_imports, {RIG: "from .. import friction\n"}, "rigdata.friction"),
    (upward_imports, {RIG: "from rigdata import __version__\n"}, "imports rigdata"),
    (
        upward_imports,
        {RIG: "import typing\nif typing.TYPE_CHECKING:\n    import rigdata.friction.fitting\n"},
        "rig:3",
    ),
    (upward_imports, {RIG: "def f():\n    from rigdata.friction import fitting\n"}, "rig:2"),
    (upward_imports, {"pipeline.py": "from rigdata.cli.main import main\n"}, "cli.main"),
    (upward_imports, {"friction/law.py": "from rigdata.simulation import bench\n"}, "bench"),
    (upward_imports, {"simulation/bench.py": "from rigdata.campaign.rig import Rig\n"}, "rig"),
    (upward_imports, {"novelty.py": ""}, "rigdata.novelty has no place"),
    (upward_imports, {"novelty/thing.py": ""}, "rigdata.novelty.thing has no place"),
    (import_rings, {ERRORS: "import rigdata.quantities\n"}, "rigdata.quantities"),
    (
        import_rings,
        {"campaign/a.py": "from .b import x\n", "campaign/b.py": "from .a import y\n"},
        "campaign.a",
    ),
    (
        import_rings,
        {
            "campaign/a.py": "import rigdata.campaign.b\n",
            "campaign/b.py": "from rigdata.campaign import c\n",
            "campaign/c.py": (
                "from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    from .a import x\n"
            ),
        },
        "campaign.c",
    ),
    (
        import_rings,
        {CAMPAIGN: "from .rig import Rig\n", RIG: "import rigdata.campaign\n"},
        "campaign.rig",
    ),
    (import_rings, {"pipeline.py": "from rigdata import __version__\n"}, "rigdata.pipeline"),
    (imports_in_functions, {ERRORS: "def f():\n    import json\n"}, "json inside"),
    (imports_in_functions, {ERRORS: "async def f():\n    from a import b\n"}, "inside"),
    (
        imports_in_functions,
        {ERRORS: "class A:\n    def f(self):\n        if self:\n            import json\n"},
        "errors:4",
    ),
    (imports_in_functions, {"cli/main.py": "def f():\n    import json\n"}, "cli.main:2"),
    (imports_by_name, {ERRORS: "import importlib\nimportlib.import_module('x')\n"}, "errors:2"),
    (imports_by_name, {ERRORS: "x = __import__('x')\n"}, "__import__"),
    (filled_packages, {CAMPAIGN: "from rigdata.errors import A\n"}, "campaign:1"),
    (filled_packages, {CAMPAIGN: '"""Words."""\n\n__all__ = []\n'}, "campaign:3"),
    (strangers, {ERRORS: "import click\n"}, "imports click"),
    (strangers, {ERRORS: "from click.testing import CliRunner\n"}, "click.testing"),
    (strangers, {"pipeline.py": "import matplotlib.pyplot as plt\n"}, "matplotlib.pyplot"),
    (strangers, {"friction/laws.py": "import lmfit\n"}, "friction.laws:1"),
    (strangers, {"friction/fitting_more.py": "from lmfit import Model\n"}, "fitting_more"),
    (dumping_grounds, {"friction/utils.py": ""}, "rigdata.friction.utils"),
    (dumping_grounds, {"helpers/fit.py": ""}, "rigdata.helpers.fit"),
    (dumping_grounds, {"common.py": ""}, "rigdata.common"),
    (long_modules, {ERRORS: "x = 1\n" * 401}, "401 lines"),
]


@pytest.mark.parametrize(
    ("check", "files", "words"),
    FAULTS,
    ids=[f"{check.__name__}-{i}" for i, (check, _, _) in enumerate(FAULTS)],
)
def test_a_planted_fault_is_found(tmp_path, check, files, words):
    faults = check(plant(tmp_path, files))
    assert len(faults) == 1, faults
    assert words in faults[0]


def test_a_module_of_exactly_the_most_lines_is_allowed(tmp_path):
    assert long_modules(plant(tmp_path, {"errors.py": "x = 1\n" * MOST_LINES})) == []


def test_every_check_has_a_planted_fault():
    assert {check for check, *_ in FAULTS} == set(CHECKS)
