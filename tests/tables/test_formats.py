"""Formats that are written on request, each read back by what others wrote."""

import csv
import re
import shutil
import subprocess
from dataclasses import replace

import numpy as np
import openpyxl
import pyarrow.parquet
import pytest
from scipy import interpolate, io

from rigdata import extras
from rigdata.errors import TableError
from rigdata.friction.results import Group
from rigdata.tables.table import FIELDS
from rigdata.tables.write import write_tables

FORMATS = ("xlsx", "mat", "modelica", "parquet")


def written(table, folder, formats=FORMATS):
    write_tables({Group(table.material, table.state): table}, folder, formats=formats)
    (found,) = folder.glob("*/*/coefficients.json")
    return found.parent


@pytest.fixture(params=["table", "one_pack_table", "with_dwell", "two_kinds"])
def made(request, tmp_path):
    table = request.getfixturevalue(request.param)
    return table, written(table, tmp_path)


def test_matlab_file_holds_the_grid(made):
    table, folder = made
    content = io.loadmat(folder / "coefficients.mat", simplify_cells=True)
    kinetic = content["kinetic"]
    assert np.array_equal(kinetic["slip_speed_m_s"], table.slip_speed_m_s)
    for name, values in zip(FIELDS, table.nodes, strict=True):
        assert np.array_equal(kinetic[name], values, equal_nan=True)
    flat = content["mu_p2"]
    assert np.array_equal(flat[1:, 1:], table.field("mu")[:, :, 1])
    assert np.array_equal(flat[0, 1:], table.temperature_c)
    assert ("static" in content) == (table.static is not None)


def test_matlab_file_reads_between_nodes_as_the_table_does(table, tmp_path):
    kinetic = io.loadmat(written(table, tmp_path) / "coefficients.mat", simplify_cells=True)[
        "kinetic"
    ]
    grid = tuple(kinetic[name] for name in table.axis_names)
    places = np.random.default_rng(3).uniform([0.02, 45.0, 0.6], [0.9, 140.0, 1.9], (200, 3))
    found = interpolate.RegularGridInterpolator(grid, kinetic["mu"])(places)
    assert found == pytest.approx(table.mu(*places.T).mu, rel=1e-12)


def test_workbook_holds_values_summary_and_chart(made):
    table, folder = made
    book = openpyxl.load_workbook(folder / "coefficients.xlsx")
    rows = list(book["kinetic"].iter_rows(values_only=True))
    assert rows[0][0] == "slip_speed_m_s [m/s]"
    assert len(rows) == 1 + table.inside_envelope.size
    place = table.inside_envelope.size // 2
    assert rows[1 + place][3] == pytest.approx(table.field("mu").ravel()[place], rel=1e-14)
    assert ("static" in book.sheetnames) == (table.static is not None)
    summary = book["reference"]
    assert summary["B1"].value == table.material
    assert len(summary._charts) == 1
    assert book.vba_archive is None


def test_a_name_can_never_be_a_formula(table, tmp_path):
    evil = replace(table, material="=cmd|' /C calc'!A0", state="@new")
    book = openpyxl.load_workbook(written(evil, tmp_path, ["xlsx"]) / "coefficients.xlsx")
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row]
    assert any(cell.value == evil.material for cell in cells)
    assert {cell.data_type for cell in cells} <= {"s", "n", "b"}


def test_parquet_holds_the_rows_with_their_units(made):
    table, folder = made
    found = pyarrow.parquet.read_table(folder / "coefficients.parquet")
    assert found.num_rows == table.inside_envelope.size
    assert found["mu"].to_pylist() == table.field("mu").ravel().tolist()
    assert found.schema.field("pressure_mpa").metadata[b"unit"] == b"MPa"
    assert found.schema.metadata[b"material"] == table.material.encode()
    one_pack = bool(np.isnan(table.field("next_pack_low")).all())
    assert (found["next_pack_low"].null_count == found.num_rows) == one_pack


def modelica_matrices(text):
    """Matrices of a table text, by the grammar that Modelica.Blocks.Tables documents.

    ``#1`` first; ``double name(rows,columns)`` and as many numbers; ``#`` begins a comment.
    """
    lines = text.split("\n")
    assert lines[0] == "#1"
    body = [line.split("#")[0].strip() for line in lines[1:]]
    body = [line for line in body if line]
    found = {}
    while body:
        head = re.fullmatch(r"double ([A-Za-z][A-Za-z0-9_]*)\((\d+),(\d+)\)", body.pop(0))
        assert head
        rows, columns = int(head[2]), int(head[3])
        matrix = [[float(cell) for cell in body.pop(0).split()] for _ in range(rows)]
        assert {len(row) for row in matrix} == {columns}
        found[head[1]] = np.array(matrix)
    return found


def test_modelica_text_follows_the_grammar(made):
    table, folder = made
    found = modelica_matrices((folder / "coefficients.txt").read_text(encoding="utf-8"))
    for i in range(table.pressure_mpa.size):
        matrix = found[f"mu_p{i + 1}"]
        assert np.array_equal(matrix[1:, 1:], table.field("mu")[:, :, i])
        assert np.all(np.diff(matrix[1:, 0]) > 0.0)
        assert np.all(np.diff(matrix[0, 1:]) > 0.0)
    line = found["speed_line"]
    read = table.mu(line[:, 0], *table.reference[1:3])
    assert line[:, 1] == pytest.approx(read.mu, rel=1e-12)
    assert np.isfinite(line).all()
    assert ("mu_static" in found) == (table.static is not None)


def test_a_line_end_in_a_name_stays_in_its_comment(table, tmp_path):
    odd = replace(table, material="rough\ndouble mu_p1(1,1)")
    text = (written(odd, tmp_path, ["modelica"]) / "coefficients.txt").read_text(encoding="utf-8")
    assert set(modelica_matrices(text)) == {
        "speed_line",
        *(f"mu_p{i + 1}" for i in range(table.pressure_mpa.size)),
    }


def test_files_are_the_same_to_the_byte_when_written_again(with_dwell, tmp_path):
    first, second = (written(with_dwell, tmp_path / name) for name in ("a", "b"))
    for path in sorted(first.iterdir()):
        assert path.read_bytes() == (second / path.name).read_bytes(), path.name


def test_a_missing_package_is_told(table, tmp_path, monkeypatch):
    def gone(name):
        raise ImportError(name)

    monkeypatch.setattr(extras.importlib, "import_module", gone)
    with pytest.raises(TableError, match=r"pip install 'rigdata\[workbook\]'"):
        written(table, tmp_path, ["xlsx"])


@pytest.mark.skipif(shutil.which("soffice") is None, reason="LibreOffice is not installed")
def test_libreoffice_reads_the_workbook(table, tmp_path):
    folder = written(table, tmp_path, ["xlsx"])
    target = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,true,false,false,false,2"
    subprocess.run(
        ["soffice", f"-env:UserInstallation=file://{tmp_path}/home", "--headless", "--convert-to",
         target, "--outdir", str(tmp_path), str(folder / "coefficients.xlsx")],
        check=True, capture_output=True, timeout=120,
    )  # fmt: skip
    (made,) = tmp_path.glob("coefficients*.csv")
    with made.open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    mu = [float(row[3]) for row in rows[1:]]
    assert mu == pytest.approx(table.field("mu").ravel().tolist(), rel=1e-9)


@pytest.mark.skipif(shutil.which("octave-cli") is None, reason="GNU Octave is not installed")
def test_octave_reads_between_the_nodes(table, tmp_path):
    folder = written(table, tmp_path, ["mat"])
    code = (
        f"load('{folder / 'coefficients.mat'}'); k = kinetic; printf('%.15g', interpn("
        "k.slip_speed_m_s, k.temperature_c, k.pressure_mpa, k.mu, 0.27, 77, 1.3));"
    )
    done = subprocess.run(
        ["octave-cli", "--no-init-file", "--eval", code],
        check=True, capture_output=True, text=True, timeout=120, cwd=tmp_path,
    )  # fmt: skip
    assert float(done.stdout) == pytest.approx(table.mu(0.27, 77.0, 1.3).mu[0], rel=1e-9)
