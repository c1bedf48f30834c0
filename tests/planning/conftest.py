"""A plan file on disk, a way to spoil it, and the generator of friction points."""

import sys
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path

import pytest

from rigdata.planning.description import Request, read_request

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "tests" / "studies"))


def plan_text(*changes: tuple[str, str]) -> str:
    """The plan that `rigdata plan --new` writes, on the rig of this repository."""
    text = files("rigdata.planning").joinpath("plan.toml").read_text(encoding="utf-8")
    rig = (ROOT / "calibration" / "rig.toml").as_posix()
    for old, new in (("rig/rig.toml", rig), *changes):
        assert old in text, old
        text = text.replace(old, new)
    return text


@pytest.fixture(scope="session")
def request_of(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Request]:
    """Reads the plan with some of its text changed."""

    def read(*changes: tuple[str, str]) -> Request:
        path = tmp_path_factory.mktemp("plan") / "plan.toml"
        path.write_text(plan_text(*changes), encoding="utf-8")
        return read_request(path)

    return read
