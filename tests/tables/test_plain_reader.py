"""The reader in examples/, without any package, against `CoefficientTable.mu`."""

import importlib.util
from pathlib import Path

import numpy as np
import pytest

from rigdata.errors import TableError
from rigdata.friction.results import Group
from rigdata.tables.write import write_tables

SOURCE = Path(__file__).parents[2] / "examples/table_reader.py"
STANDARD = {"bisect", "itertools", "json", "math", "pathlib", "sys"}


@pytest.fixture(scope="module")
def reader():
    spec = importlib.util.spec_from_file_location("table_reader", SOURCE)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_it_is_short_and_needs_nothing():
    lines = SOURCE.read_text(encoding="utf-8").splitlines()
    assert len(lines) < 60
    imported = {line.split()[1] for line in lines if line.startswith(("import ", "from "))}
    assert imported <= STANDARD


@pytest.mark.parametrize("which", ["table", "triangle"])
def test_it_gives_the_same_mu_and_refuses_the_same(reader, request, which, tmp_path):
    if which == "triangle":
        from rigdata.tables.build import build_table

        fit = request.getfixturevalue("triangle_fit")
        table = build_table(fit, "kinetic", request.getfixturevalue("provenance"))
    else:
        table = request.getfixturevalue("table")
    write_tables({Group(table.material, table.state): table}, tmp_path)
    (path,) = tmp_path.glob("*/*/coefficients.json")
    surface = reader.load(path.parent)
    rng = np.random.default_rng(6)
    places = rng.uniform([0.009, 38.0, 0.45], [1.05, 152.0, 2.1], (400, 3))
    known = 0
    for place in places.tolist():
        try:
            read = table.mu(*place)
        except TableError:
            with pytest.raises(ValueError, match=r"outside the table|was not tested"):
                reader.read(surface, "mu", *place)
            continue
        known += 1
        for name in ("mu", "mean_low", "next_pack_high"):
            expected = getattr(read, name)[0]
            assert reader.read(surface, name, *place) == pytest.approx(expected, rel=1e-9)
    assert 50 < known < 400
