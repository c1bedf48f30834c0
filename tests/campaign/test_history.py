"""Several records of one sensor: which holds when, and what the reader checks."""

import datetime

import pytest

from rigdata.campaign.history import in_force, in_order, intervals
from rigdata.campaign.rig import read_rig
from rigdata.errors import CampaignError, Severity

R, C = "rig/rig.toml", "campaign.toml"
ONE = 'calibration = "records/TC-1.toml"'


def day(text: str) -> datetime.date:
    return datetime.date.fromisoformat(text)


@pytest.fixture
def add(bench):
    """Add a record made from TC-1 under another id, and name all of them in the rig."""
    names = ["TC-1"]

    def add(name: str, date: str, *, role: str = "", valid: str = "2028-01-10", sensor: str = ""):
        text = bench.path("rig/records/TC-1.toml").read_text()
        text = text.replace('id = "TC-1"', f'id = "{name}"')
        text = text.replace("2027-01-10", valid).replace("2026-01-10", date)
        text = text.replace("no. 17", sensor or "no. 17")
        text += f'role = "{role}"\n' if role else ""
        bench.path(f"rig/records/{name}.toml").write_text(text)
        before = ", ".join(f'"records/{n}.toml"' for n in names)
        old = ONE if len(names) == 1 else f"calibration = [{before}]"
        names.append(name)
        listed = ", ".join(f'"records/{n}.toml"' for n in names)
        bench.spoil(R, old, f"calibration = [{listed}]")

    return add


def test_a_list_is_read_in_the_order_of_its_dates(bench, add):
    add("TC-0", "2025-01-10", valid="2026-01-10")
    add("TC-2", "2027-01-10")
    torque = read_rig(bench.path(R)).channels["torque"]
    assert [record.id for record in torque.records] == ["TC-0", "TC-1", "TC-2"]
    assert torque.calibration.id == "TC-2"
    assert [record.id for record in torque.earlier] == ["TC-0", "TC-1"]


def test_a_list_of_one_is_as_one(bench):
    bench.spoil(R, ONE, 'calibration = ["records/TC-1.toml"]')
    torque = read_rig(bench.path(R)).channels["torque"]
    assert (torque.calibration.id, torque.earlier) == ("TC-1", ())
    assert read_rig(bench.path(R)).channels["clamp_load"].records == ()


def test_which_records_hold_on_a_day(bench, add):
    add("TC-2f", "2027-01-10", role="as-found")
    add("TC-2", "2027-01-10")
    add("TC-3", "2028-01-10", valid="2029-01-10")
    records = read_rig(bench.path(R)).channels["torque"].records
    assert [record.id for record in records] == ["TC-1", "TC-2f", "TC-2", "TC-3"]
    assert [(a.id, b.id) for a, b in intervals(records)] == [("TC-1", "TC-2f"), ("TC-2", "TC-3")]

    def held(text: str):
        force = in_force(tuple(reversed(records)), day(text))
        return force.opening.id, force.closing and force.closing.id, round(force.weight, 4)

    assert held("2026-01-10") == ("TC-1", "TC-2f", 0.0)
    assert held("2026-03-24") == ("TC-1", "TC-2f", 0.2)
    assert held("2027-01-09") == ("TC-1", "TC-2f", round(364 / 365, 4))
    assert held("2027-01-10") == ("TC-2", "TC-3", 0.0)
    assert held("2028-01-10") == ("TC-3", None, 0.0)
    assert held("2031-01-01") == ("TC-3", None, 0.0)
    assert held("2020-01-01") == ("TC-1", None, 0.0)


def test_an_as_found_record_alone_closes_and_opens(bench, add):
    add("TC-2", "2027-01-10", role="as-found")
    add("TC-3", "2028-01-10", role="as-found", valid="2029-01-10")
    records = read_rig(bench.path(R)).channels["torque"].records
    assert len(intervals(records)) == 2
    assert in_force(records, day("2027-06-01")).opening.id == "TC-2"
    assert in_order(records[::-1]) == records


def test_every_record_is_an_input(bench, add):
    add("TC-0", "2025-01-10", valid="2026-01-10")
    names = [item.path.name for item in bench.read().inputs]
    assert names == ["campaign.toml", "rig.toml", "TC-0.toml", "TC-1.csv", "TC-1.toml"]


def test_each_run_is_held_against_the_record_of_its_day(bench, add):
    # Runs are of 2026-03-02 and 2026-03-03.
    add("TC-0", "2025-01-10", valid="2026-01-10")
    assert bench.read().notices == ()
    add("TC-2", "2026-03-03")
    assert bench.read().notices == ()
    bench.spoil("rig/records/TC-1.toml", "2027-01-10", "2026-02-01")
    (notice,) = bench.read().notices
    assert notice.severity is Severity.WARNING
    assert "record TC-1 of torque was valid until 2026-02-01" in notice.what
    assert notice.what.endswith("date of run R001")


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"date": "2026-01-10"}, "TC-1 and TC-2 are both as-left of 2026-01-10"),
        ({"date": "2026-06-10", "sensor": "no. 18"}, "expected the records of one sensor"),
        ({"date": "2026-06-10", "role": "as found"}, "role: is the text 'as found'"),
    ],
)
def test_records_that_do_not_belong_together(bench, add, changes, words):
    add("TC-2", **changes)
    with pytest.raises(CampaignError, match=words):
        read_rig(bench.path(R))


def test_one_record_twice_in_a_list(bench, add):
    add("TC-2", "2026-06-10")
    bench.spoil("rig/records/TC-2.toml", 'id = "TC-2"', 'id = "TC-1"')
    with pytest.raises(CampaignError, match=r"calibration: its record has the id TC-1, as another"):
        read_rig(bench.path(R))


def test_an_earlier_record_must_fit_the_channel_too(bench, add):
    add("TC-0", "2025-01-10", valid="2026-01-10")
    bench.spoil("rig/records/TC-0.toml", 'indicated_unit = "mV/V"', 'indicated_unit = "V"')
    with pytest.raises(CampaignError, match=r"channels\.torque\.unit"):
        read_rig(bench.path(R))


@pytest.mark.parametrize("value", ["[]", "[1]", '["records/TC-1.toml", 2]', "7", '[""]'])
def test_a_list_that_is_none(bench, value):
    bench.spoil(R, ONE, f"calibration = {value}")
    with pytest.raises(CampaignError, match=r"channels\.torque\.calibration: is "):
        read_rig(bench.path(R))


def test_a_listed_file_that_is_not_there(bench):
    bench.spoil(R, ONE, 'calibration = ["records/TC-1.toml", "records/none.toml"]')
    with pytest.raises(CampaignError, match=r"calibration: there is no file 'records/none\.toml'"):
        read_rig(bench.path(R))


# --- optional columns and keys of a record


def points(bench, *columns: str):
    path = bench.path("rig/records/TC-1.csv")
    head, *rows = path.read_text().splitlines()
    names = [column.split("=")[0] for column in columns]
    cells = [column.split("=")[1] for column in columns]
    lines = [",".join([head, *names]), *(",".join([row, *cells]) for row in rows)]
    path.write_text("\n".join(lines) + "\n")


def test_uncertainty_and_mounting_by_point(bench):
    points(bench, "u_applied=0.05", "mounting=120")
    record = read_rig(bench.path(R)).channels["torque"].calibration
    assert record.u_applied.tolist() == [0.05] * 5
    assert record.mounting.tolist() == ["120"] * 5
    assert (record.role, record.indicated_after_30s, record.reference_u) == ("as-left", None, None)


@pytest.mark.parametrize(
    ("column", "words"),
    [
        ("u_applied=0", "u_applied is '0'; expected a number above 0"),
        ("u_applied=-1", "u_applied is '-1'"),
        ("u_applied=", "u_applied is ''"),
        ("u_applied=nan", "u_applied is 'nan'"),
        ("mounting=", "mounting is empty"),
        ("u_aplied=1", "mean u_applied"),
    ],
)
def test_optional_columns_that_do_not_read(bench, column, words):
    points(bench, column)
    with pytest.raises(CampaignError, match=words):
        read_rig(bench.path(R))


def test_a_series_sits_in_one_mounting(bench):
    points(bench, "mounting=0")
    bench.spoil("rig/records/TC-1.csv", "1.0009,0", "1.0009,120")
    with pytest.raises(CampaignError, match="a series has two mountings"):
        read_rig(bench.path(R))


def test_creep_readings_come_in_pairs(bench):
    bench.spoil("rig/records/TC-1.toml", "degree = 1", "degree = 1\nindicated_after_30s = 2.0002")
    with pytest.raises(CampaignError, match="indicated_after_300s: the key is missing"):
        read_rig(bench.path(R))
    bench.spoil("rig/records/TC-1.toml", "degree = 1", "degree = 1\nindicated_after_300s = 2.0003")
    record = read_rig(bench.path(R)).channels["torque"].calibration
    assert (record.indicated_after_30s, record.indicated_after_300s) == (2.0002, 2.0003)
