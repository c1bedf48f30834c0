"""The public names: all there, loaded on first use."""

from __future__ import annotations

import subprocess
import sys

import pytest

import rigdata


@pytest.mark.parametrize("name", rigdata.__all__)
def test_every_public_name_is_there(name: str) -> None:
    assert getattr(rigdata, name) is not None
    assert name in dir(rigdata)


def test_the_list_is_sorted_and_complete() -> None:
    assert list(rigdata.__all__) == sorted(rigdata._HOMES)


def test_an_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="no attribute 'run_campagn'"):
        rigdata.run_campagn  # noqa: B018


def test_the_import_alone_loads_nothing() -> None:
    code = "import rigdata, sys; sys.exit('numpy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
