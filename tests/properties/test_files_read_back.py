"""What is written reads back the same; what is spoilt is refused in one message or still valid."""

import random
import string
import sys
import tomllib
from dataclasses import fields, replace

import numpy as np
import pytest

if sys.platform == "win32":
    pytest.skip("processes are forked here", allow_module_level=True)

from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from rigdata.campaign.campaign import read_campaign
from rigdata.campaign.inspections import COLUMNS, MEASURED, read_inspections
from rigdata.campaign.records import read_record
from rigdata.errors import RigdataError
from rigdata.friction.fits_file import read_fits, write_fits
from rigdata.lockup.description import read_lock_pack
from rigdata.planning.description import read_request
from rigdata.reduction.points_file import read_points
from rigdata.storage.json_files import read_json
from rigdata.storage.toml_text import toml_table
from rigdata.tables import json_table
from rigdata.tables.read import read_table
from tests.campaign.conftest import CAMPAIGN, POINTS, RECORD, RIG
from tests.campaign.test_certificate import CERTIFICATE, KEYS, WARM, listed, new, old, quantity
from tests.lockup.hand_tables import made_table
from tests.properties.fuzzing import example as tiny
from tests.properties.spoiling import JSON, TABLE, TOML, XML, spoilt

few = settings(
    max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
SMALL_TABLE = made_table()
SEEDS = st.integers(0, 2**32 - 1)
NAMES = st.text(string.ascii_letters + string.digits + " äµ=+'&-", min_size=1, max_size=20).filter(
    lambda name: name[0].isalnum() and name == name.strip()
)
REMARKS = st.text(
    st.characters(exclude_categories=("Cs", "Cc")), max_size=60
)  # free text, as a person may write
SIZES = st.floats(1e-3, 1e6)


@given(values=st.dictionaries(NAMES, REMARKS | SIZES | st.integers(-(2**53), 2**53), max_size=8))
@few
def test_toml_that_we_write(values):
    text = toml_table("", {f'"{i}"': value for i, value in enumerate(values.values())})
    assert list(tomllib.loads(text).values()) == list(values.values())


@given(
    name=NAMES,
    remark=REMARKS,
    batch=NAMES,
    outer=st.floats(50.0, 90.0),
    inner=st.floats(20.0, 45.0),
    u=st.floats(1e-3, 0.5),
    hours=st.floats(0.0, 1e4),
    faces=st.integers(1, 40),
)
@few
def test_campaigns(tmp_path, name, remark, batch, outer, inner, u, hours, faces):
    write_bench(tmp_path)
    text = CAMPAIGN
    for key, value in {
        "name": name,
        "batch": batch,
        "outer_radius_mm": outer,
        "inner_radius_mm": inner,
        "radius_u_mm": u,
        "service_hours": hours,
        "friction_faces": faces,
    }.items():
        text = with_value(text, key, value)
    text = text.replace(
        'log = "logs/R001.csv"', toml_table("", {"remark": remark}) + 'log = "logs/R001.csv"'
    )
    (tmp_path / "campaign.toml").write_text(text, encoding="utf-8")
    read = read_campaign(tmp_path)
    pack = read.packs["A1"]
    assert (read.name, pack.batch, pack.friction_faces) == (name, batch, faces)
    assert (pack.outer_radius_mm, pack.inner_radius_mm) == (outer, inner)
    assert (pack.radius_u_mm, pack.service_hours) == (u, hours)
    assert read.runs[0].remark == remark


@given(inertia=st.floats(1e-4, 10.0), u=st.floats(1e-6, 1.0), lag=st.floats(0.0, 0.5), column=NAMES)
@few
def test_rigs(tmp_path, inertia, u, lag, column):
    write_bench(tmp_path)
    text = RIG
    for key, value in {"inertia_kg_m2": inertia, "inertia_u_kg_m2": u, "lag_s": lag}.items():
        text = with_value(text, key, value)
    text = text.replace('column = "Load"', toml_table("", {"column": column}).strip())
    (tmp_path / "rig" / "rig.toml").write_text(text, encoding="utf-8")
    rig = read_campaign(tmp_path).rig
    assert (rig.inertia_kg_m2, rig.inertia_u_kg_m2) == (inertia, u)
    assert rig.channels["slip_speed"].lag_s == lag
    assert rig.channels["clamp_load"].column == column


@given(
    applied=st.lists(st.floats(-1e5, 1e5), min_size=5, max_size=30, unique=True),
    seed=SEEDS,
    expanded=st.floats(1e-3, 5.0),
)
@few
def test_records_and_their_points(tmp_path, applied, seed, expanded):
    rng = np.random.default_rng(seed)
    indicated = rng.normal(0.0, 10.0, len(applied)).tolist()
    directions = rng.choice(["up", "down"], len(applied)).tolist()
    rows = zip(directions, applied, indicated, strict=True)
    text = "series,direction,applied,indicated\n" + "".join(
        f"1,{d},{a!r},{i!r}\n" for d, a, i in rows
    )
    (tmp_path / "TC-1.csv").write_text(text, encoding="utf-8")
    record = with_value(RECORD, "reference_expanded_u_percent", expanded)
    (tmp_path / "TC-1.toml").write_text(record, encoding="utf-8")
    read = read_record(tmp_path / "TC-1.toml")
    assert read.applied.tolist() == applied
    assert read.indicated.tolist() == indicated
    assert read.direction.tolist() == directions


@given(
    forces=st.lists(st.floats(-500.0, 500.0), min_size=4, max_size=20, unique=True),
    seed=SEEDS,
    dialect=st.sampled_from([old, new]),
    k=st.floats(1.0, 4.0),
)
@few
def test_certificates(tmp_path, forces, seed, dialect, k):
    rng = np.random.default_rng(seed)
    indicated, expanded = rng.normal(size=len(forces)), rng.uniform(1e-3, 1.0, len(forces))
    results = listed(
        quantity(
            "basic_referenceValue",
            dialect(spaced(forces), r"\kilo\newton", spaced(expanded), repr(k)),
        ),
        quantity("basic_measuredValue", dialect(spaced(indicated), r"\milli\volt\per\volt")),
    )
    xml = CERTIFICATE.format(results=results, more="", end="", warm=WARM)
    (tmp_path / "cert.xml").write_text(xml, encoding="utf-8")
    (tmp_path / "cert.toml").write_text(KEYS, encoding="utf-8")
    read = read_record(tmp_path / "cert.toml")
    assert read.applied.tolist() == forces
    assert read.indicated.tolist() == indicated.tolist()
    np.testing.assert_allclose(read.reference_u, expanded / k, rtol=1e-12)


@given(
    rows=st.lists(
        st.tuples(
            st.floats(0.0, 1e4),
            *(st.none() | st.floats(1e-3, 1e3) for _ in MEASURED),
            st.text(string.printable.strip() + "äµ,\"'", max_size=30),
        ),
        min_size=1,
        max_size=20,
    )
)
@few
def test_inspections(tmp_path, rows):
    rows = [row for row in rows if any(v is not None for v in row[1:-1])] or [
        (0.0, 2.0, None, None, "")
    ]
    lines = [
        ",".join(
            [
                "A1", repr(hours), "F1", "friction",
                *("" if v is None else repr(v) for v in measured),
                '"' + note.strip().replace('"', '""') + '"',
            ]
        )
        for hours, *measured, note in rows
    ]  # fmt: skip
    path = tmp_path / "inspections.csv"
    path.write_text(",".join(COLUMNS) + "\n" + "\n".join(lines) + "\n", encoding="utf-8")
    read = read_inspections(path, ["A1"])
    assert read.service_hours.tolist() == [row[0] for row in rows]
    for i, name in enumerate(MEASURED):
        wanted = [np.nan if row[1 + i] is None else row[1 + i] for row in rows]
        np.testing.assert_array_equal(getattr(read, name), wanted)
    assert read.note.tolist() == [row[-1].strip() for row in rows]


@given(seed=SEEDS, material=REMARKS.filter(str.strip), state=REMARKS.filter(str.strip))
@settings(few, max_examples=5)
def test_coefficient_tables(tmp_path, seed, material, state):
    rng = np.random.default_rng(seed)
    table = SMALL_TABLE
    nodes = table.nodes * rng.uniform(1.0, 1.001, table.nodes.shape)  # no u below its components
    table = replace(table, material=material, state=state, nodes=nodes)
    json_table.write(table, tmp_path)
    read = read_table(tmp_path)
    assert (read.material, read.state) == (material, state)
    for field in fields(table):
        mine, theirs = getattr(table, field.name), getattr(read, field.name)
        if isinstance(mine, np.ndarray):
            np.testing.assert_array_equal(mine, theirs)


def test_fits_read_back_and_write_the_same(bench):
    path = bench / "results" / "fits.json"
    kinetic, static = read_fits(path)
    again = bench / "again.json"
    write_fits(again, kinetic, static)
    assert again.read_bytes() == path.read_bytes()


# --- spoilt


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """One of each file, and the results of a tiny campaign."""
    return tiny(tmp_path_factory.mktemp("bench") / "tiny")


def points_of(folder):
    return read_points(folder / "results" / "points.csv", folder / "results" / "budget.csv")


READERS = {
    "campaign.toml": (TOML, read_campaign),
    "rig/rig.toml": (TOML, read_campaign),
    "rig/records/TQ-2025-02.toml": (TOML, read_campaign),
    "rig/records/TQ-2025-02.csv": (TABLE, read_campaign),
    "rig/cert.xml": (XML, lambda folder: read_record(folder / "rig" / "cert.toml")),
    "inspections.csv": (
        TABLE,
        lambda folder: read_inspections(folder / "inspections.csv", ["P1", "P2"]),
    ),
    "plan.toml": (TOML, lambda folder: read_request(folder / "plan.toml")),
    "differential.toml": (TOML, lambda folder: read_lock_pack(folder / "differential.toml")),
    "results/points.csv": (TABLE, points_of),
    "results/budget.csv": (TABLE, points_of),
    "results/fits.json": (JSON, lambda folder: read_fits(folder / "results" / "fits.json")),
    "results/tables/rough/new/coefficients.json": (
        JSON,
        lambda folder: json_table_of(folder / "results" / "tables" / "rough" / "new"),
    ),
}


def json_table_of(folder):
    path = folder / "coefficients.json"
    return json_table.from_json(read_json(path), where=str(path))


@pytest.mark.parametrize("name", READERS)
@given(seed=SEEDS)
@few
@example(seed=0)
@example(seed=4280)  # a law that does not exist, in the file of fits
def test_a_spoilt_file_is_refused_in_one_message_or_valid(bench, name, seed):
    changes, read = READERS[name]
    path = bench / name
    sound = path.read_bytes()
    spoilt_bytes, _ = spoilt(sound, changes, random.Random(seed))
    fault = None
    try:
        path.write_bytes(spoilt_bytes)
        read(bench)
    except RigdataError as found:
        fault = found
    finally:
        path.write_bytes(sound)
    if fault is not None:
        assert fault.what
        assert fault.where
        assert str(fault).isprintable()
        assert len(str(fault)) < 6100


def write_bench(folder):
    for name, text in {
        "campaign.toml": CAMPAIGN,
        "rig/rig.toml": RIG,
        "rig/records/TC-1.toml": RECORD,
        "rig/records/TC-1.csv": POINTS,
        "logs/R001.csv": "Time [s]\n",
        "logs/R002.csv": "Time [s]\n",
    }.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text, encoding="utf-8")


def with_value(text, key, value):
    """Return TOML text with another value for the first key of a name."""
    lines = text.split("\n")
    at = next(i for i, line in enumerate(lines) if line.startswith(f"{key} ="))
    lines[at] = toml_table("", {key: value}).strip()
    return "\n".join(lines)


def spaced(numbers):
    return " ".join(repr(float(number)) for number in numbers)
