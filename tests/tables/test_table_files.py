"""A table's folder: round trip, JSON Schema, data package, planted faults."""

from __future__ import annotations

import copy
import csv
import json
import re
import warnings
from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from rigdata.errors import RigdataError, TableError
from rigdata.friction.results import Group
from rigdata.tables.exporters import EXPORTERS, chosen_exporters
from rigdata.tables.json_table import as_json, schema
from rigdata.tables.read import read_table
from rigdata.tables.table import FIELDS, CoefficientTable
from rigdata.tables.write import write_tables

with warnings.catch_warnings():
    # Its own imports warn; ours must not.
    warnings.simplefilter("ignore")
    import frictionless

VALIDATOR = jsonschema.Draft202012Validator(schema())
PLACE = Path("rough-on-plain", "new")
GROUP = Group("rough on plain", "new")


def write(table: CoefficientTable, root: Path) -> Path:
    write_tables({GROUP: table}, root)
    return root / PLACE


def assert_same(a: CoefficientTable, b: CoefficientTable) -> None:
    for name in ("material", "state", "kind", "law", "parameters", "reference", "error"):
        assert getattr(a, name) == getattr(b, name), name
    assert dict(a.provenance) == dict(b.provenance)
    for first, second in zip((*a.axes, a.nodes), (*b.axes, b.nodes), strict=True):
        np.testing.assert_allclose(first, second, rtol=1e-12)
    np.testing.assert_array_equal(a.inside_envelope, b.inside_envelope)
    np.testing.assert_allclose(a.envelope.normals, b.envelope.normals, rtol=1e-12)


@pytest.mark.parametrize("which", ["table", "one_pack_table", "two_kinds", "with_dwell"])
def test_round_trip(which: str, request: pytest.FixtureRequest, tmp_path: Path) -> None:
    table = request.getfixturevalue(which)
    back = read_table(write(table, tmp_path))
    assert_same(table, back)
    if table.static is None:
        assert back.static is None
    else:
        assert back.static is not None
        assert_same(table.static, back.static)
    np.testing.assert_allclose(back.mu(0.2, 99, 0.8).mu, table.mu(0.2, 99, 0.8).mu, rtol=1e-12)


def test_the_csv_holds_what_the_table_holds(two_kinds: CoefficientTable, tmp_path: Path) -> None:
    folder = write(two_kinds, tmp_path)
    for name, table in (("coefficients.csv", two_kinds), ("static.csv", two_kinds.static)):
        assert table is not None
        with (folder / name).open(newline="") as file:
            rows = list(csv.DictReader(file))
        assert ",".join(rows[0]) == (
            "slip_speed_m_s,temperature_c,pressure_mpa,mu,u_mu,mean_low,mean_high,"
            "next_pack_low,next_pack_high,inside_envelope"
        )
        assert len(rows) == table.field("mu").size
        for field in FIELDS:
            read = np.array([float(row[field]) for row in rows])
            np.testing.assert_array_equal(read, table.field(field).ravel())
        speeds = np.repeat(table.slip_speed_m_s, len(rows) // table.slip_speed_m_s.size)
        np.testing.assert_array_equal([float(row["slip_speed_m_s"]) for row in rows], speeds)


def test_static_csv_has_the_dwell_where_it_is_known(
    with_dwell: CoefficientTable, tmp_path: Path
) -> None:
    table = with_dwell.static
    assert table is not None
    assert table.dwell_s is not None
    with (write(with_dwell, tmp_path) / "static.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert ",".join(rows[0]).startswith("slip_speed_m_s,temperature_c,pressure_mpa,dwell_s,mu,")
    assert len(rows) == table.field("mu").size
    dwells = np.tile(table.dwell_s, len(rows) // table.dwell_s.size)
    np.testing.assert_array_equal([float(row["dwell_s"]) for row in rows], dwells)
    np.testing.assert_array_equal([float(row["mu"]) for row in rows], table.field("mu").ravel())
    kinetic = (tmp_path / PLACE / "coefficients.csv").read_text().splitlines()[0]
    assert "dwell" not in kinetic


def test_after_one_pack_cells_are_blank_and_numbers_null(
    one_pack_table: CoefficientTable, tmp_path: Path
) -> None:
    folder = write(one_pack_table, tmp_path)
    text = (folder / "coefficients.csv").read_text()
    assert ",,," in text.splitlines()[1]
    for name in ("coefficients.csv", "coefficients.json"):
        assert not re.search(r"\bnan\b", (folder / name).read_text().casefold())
    content = json.loads((folder / "coefficients.json").read_text())
    assert content["kinetic"]["arrays"]["next_pack_low"][0][0][0] is None


def test_no_static_file_without_breakaway(table: CoefficientTable, tmp_path: Path) -> None:
    names = {path.name for path in write(table, tmp_path).iterdir()}
    assert names == {"coefficients.csv", "coefficients.json", "datapackage.json"}


@pytest.mark.parametrize("which", ["table", "one_pack_table", "two_kinds", "with_dwell"])
def test_json_keeps_its_published_schema(which: str, request: pytest.FixtureRequest) -> None:
    content = json.loads(json.dumps(as_json(request.getfixturevalue(which)), allow_nan=False))
    VALIDATOR.validate(content)
    interpolation = content["kinetic"]["interpolation"]
    assert 0.0 < interpolation["error"] <= interpolation["tolerance"] == 0.005


def test_the_schema_itself_is_sound() -> None:
    jsonschema.Draft202012Validator.check_schema(schema())


def _plant(content: dict, path: str, value: object) -> dict:
    planted = copy.deepcopy(content)
    *parents, last = path.split(".")
    place = planted
    for key in parents:
        place = place[int(key) if isinstance(place, list) else key]
    if value is ...:
        del place[last]
    else:
        place[int(last) if isinstance(place, list) else last] = value
    return planted


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("format", 2),
        ("material", ...),
        ("surprise", 1),
        ("kinetic", ...),
        ("kinetic.surprise", 1),
        ("kinetic.axes.0.unit", "mm/s"),
        ("kinetic.axes.1.name", "temperature_k"),
        ("kinetic.axes.2.values", []),
        ("kinetic.axes.2.surprise", 1),
        ("kinetic.arrays.mu.0.0.0", None),
        ("kinetic.arrays.mu.0.0.0", "0.1"),
        ("kinetic.arrays.u_mu", ...),
        ("kinetic.arrays.inside_envelope.0.0.0", 1),
        ("kinetic.arrays.next_pack_low.0.0.0", "-"),
        ("kinetic.law", ""),
        ("kinetic.parameters.0.unit", ...),
        ("kinetic.parameters.0.u", -1.0),
        ("kinetic.reference.pressure_mpa", 0.0),
        ("kinetic.envelope.normals.0", [1.0, 0.0]),
        ("kinetic.envelope.box.pressure_mpa", [0.5]),
        ("kinetic.interpolation.outside", "extend"),
        ("kinetic.interpolation.error", ...),
        ("provenance.records.0.sha256", "abc"),
        ("provenance.points", 0),
        ("provenance.user", "someone"),
    ],
)
def test_the_schema_rejects_planted_faults(table: CoefficientTable, path: str, value) -> None:
    content = json.loads(json.dumps(as_json(table)))
    assert VALIDATOR.is_valid(content)
    assert not VALIDATOR.is_valid(_plant(content, path, value))


@pytest.mark.parametrize(
    ("path", "value"),
    [
        ("static.axes.3.unit", "ms"),
        ("static.axes.3.name", "dwell"),
        ("static.arrays.mu.0.0.0.0", None),
        ("static.arrays.inside_envelope.0.0.0.0", 1),
        ("static.arrays.next_pack_low.0.0.0.0", "-"),
        ("static.reference.dwell_s", 0.0),
        ("static.envelope.box.dwell_s", [2.0]),
        ("static.envelope.normals.0", [1.0, 0.0, 0.0, 0.0, 0.0]),
        ("kinetic.axes.3", {"name": "dwell_s", "unit": "s", "values": [1.0]}),
    ],
)
def test_the_schema_rejects_faults_planted_in_a_dwell(
    with_dwell: CoefficientTable, path: str, value
) -> None:
    content = json.loads(json.dumps(as_json(with_dwell)))
    assert VALIDATOR.is_valid(content)
    if path == "kinetic.axes.3":
        content["kinetic"]["axes"].append(None)
    assert not VALIDATOR.is_valid(_plant(content, path, value))


@pytest.mark.parametrize("which", ["one_pack_table", "two_kinds", "with_dwell"])
def test_the_data_package_is_valid(
    which: str, request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    table = request.getfixturevalue(which)
    folder = write(table, tmp_path)
    report = frictionless.validate(str(folder / "datapackage.json"))
    assert report.valid, report.to_summary()
    rows = [task.stats["rows"] for task in report.tasks]
    tables = [table] if table.static is None else [table, table.static]
    assert rows == [t.field("mu").size for t in tables]


@pytest.mark.parametrize(
    ("old", "new"), [("true", "maybe"), ("0.01,", "0.02,"), ("0.01,40.0", ",40.0")]
)
def test_the_data_package_rejects_a_changed_table(
    table: CoefficientTable, tmp_path: Path, old: str, new: str
) -> None:
    folder = write(table, tmp_path)
    path = folder / "coefficients.csv"
    path.write_text(path.read_text().replace(old, new, 1), newline="\n")
    assert not frictionless.validate(str(folder / "datapackage.json")).valid


@pytest.mark.parametrize("name", ["coefficients.csv", "coefficients.json"])
def test_a_changed_file_is_not_read(table: CoefficientTable, tmp_path: Path, name: str) -> None:
    folder = write(table, tmp_path)
    with (folder / name).open("a") as file:
        file.write("\n")
    with pytest.raises(TableError, match=f"{name} is not the file that datapackage"):
        read_table(folder)
    (folder / "datapackage.json").unlink()
    read_table(folder)


@pytest.mark.parametrize(
    ("path", "value", "says"),
    [
        ("format", 2, "no coefficient table"),
        ("kinetic", ..., "no 'kinetic'"),
        ("kinetic.axes.0.values", [0.1, 0.1], "axis slip_speed_m_s does not increase"),
        ("kinetic.axes.1.values", [40.0], "numbers of nodes"),
        ("kinetic.arrays.mu.0.0.0", None, "missing"),
        ("kinetic.arrays.mu.0", [[0.1]], "damaged"),
        ("kinetic.envelope.normals", ..., "damaged"),
        ("kinetic.envelope.offsets", [1.0], "one offset for each of its normals"),
    ],
)
def test_a_damaged_json_is_not_read(
    table: CoefficientTable, tmp_path: Path, path: str, value, says: str
) -> None:
    folder = write(table, tmp_path)
    (folder / "datapackage.json").unlink()
    content = _plant(json.loads(json.dumps(as_json(table))), path, value)
    (folder / "coefficients.json").write_text(json.dumps(content))
    with pytest.raises(TableError, match=says):
        read_table(folder)


@pytest.mark.parametrize("spoilt", [True, 7, "text", [3, "path", {"path": 1}], {"path": "x"}])
@pytest.mark.parametrize("key", ["resources", "complete"])
def test_a_descriptor_of_another_shape_vouches_for_nothing(
    table: CoefficientTable, tmp_path: Path, key: str, spoilt
) -> None:
    folder = write(table, tmp_path)
    path = folder / "datapackage.json"
    path.write_text(json.dumps({**json.loads(path.read_text()), key: spoilt}))
    read_table(folder)


def test_nan_in_json_is_not_read(table: CoefficientTable, tmp_path: Path) -> None:
    folder = write(table, tmp_path)
    (folder / "datapackage.json").unlink()
    path = folder / "coefficients.json"
    path.write_text(path.read_text().replace('"error": 0.', '"error": NaN, "was": 0.', 1))
    with pytest.raises(RigdataError, match="NaN"):
        read_table(folder)


def test_an_empty_folder_is_no_table(tmp_path: Path) -> None:
    with pytest.raises(TableError, match="the folder of one material and state"):
        read_table(tmp_path)


def test_names_never_lead_out_of_the_folder(table: CoefficientTable, tmp_path: Path) -> None:
    names = ["../../up", "a/b", "A?b", "a b", "con", "..", "  ", "µ-Stahl"]
    tables = {Group(n, "new"): replace(table, material=n) for n in names}
    written = write_tables(tables, tmp_path / "tables")
    folders = {path.parent for path in written}
    assert len({str(folder).casefold() for folder in folders}) == len(names)
    for path in written:
        assert (tmp_path / "tables" / path).resolve().is_relative_to(tmp_path / "tables")
    back = {read_table(tmp_path / "tables" / folder).material for folder in folders}
    assert back == set(names)


def test_an_unknown_format_is_refused() -> None:
    with pytest.raises(TableError, match="'xslx' is unknown"):
        chosen_exporters(["xslx"])
    assert {e.name for e in chosen_exporters()} <= set(EXPORTERS)
