"""What a sound campaign reads as, and what is told without stopping."""

import dataclasses
import datetime
import hashlib
import os
from pathlib import Path

import pytest

from rigdata.campaign.campaign import PROCEDURES, Campaign, Material, Pack, Run, read_campaign
from rigdata.errors import CampaignError, Severity

C, R, K = "campaign.toml", "rig/rig.toml", "rig/records/TC-1.toml"


def test_every_key_arrives(bench):
    campaign = bench.read()
    assert (campaign.name, campaign.baseline) == ("first look", "plain")
    assert campaign.date == datetime.date(2026, 3, 2)
    assert campaign.path == bench.path(C).resolve()
    assert campaign.folder == bench.folder.resolve()
    reference = campaign.reference
    assert (reference.slip_speed_m_s, reference.temperature_c) == (0.5, 80.0)
    assert reference.pressure_mpa == 1.0
    assert isinstance(reference.temperature_c, float)  # written as 80
    assert campaign.oil.kinematic_viscosity_100c_mm2_s == 15.3
    assert campaign.oil.density_15c_kg_m3 is None
    assert campaign.materials["rough"] == Material(
        "rough", "rough-faced steel", "plain steel", "first batch"
    )
    assert campaign.packs["A1"] == Pack(
        name="A1",
        material="plain",
        batch="B7",
        state="new",
        service_hours=0.0,
        friction_faces=8,
        outer_radius_mm=62.0,
        inner_radius_mm=45.0,
        radius_u_mm=0.05,
        contact_area_fraction=0.9,
        pressure_law="uniform-pressure",
    )
    logs = bench.folder.resolve() / "logs"
    assert campaign.runs == (
        Run("R001", "A1", "speed-sweep", logs / "R001.csv"),
        Run("R002", "A1", "zero", logs / "R002.csv", datetime.date(2026, 3, 3)),
    )


def test_optional_keys_arrive(bench):
    bench.spoil(C, "[packs.A1]\n", "[packs.A1]\nspline_radius_mm = 30\nspline_friction = 0.1\n")
    bench.spoil(
        C,
        'procedure = "zero"',
        'procedure = "zero"\nremark = """two\nlines"""\nexclude = "hose burst"\n'
        "start_s = -1.5\nend_s = 20",
    )
    bench.spoil(C, "= 15.3", "= 15.3\ndensity_15c_kg_m3 = 880")
    campaign = bench.read()
    pack, run = campaign.packs["A1"], campaign.runs[1]
    assert (pack.spline_radius_mm, pack.spline_friction) == (30.0, 0.1)
    assert (run.remark, run.exclude) == ("two\nlines", "hose burst")
    assert (run.start_s, run.end_s) == (-1.5, 20.0)
    assert campaign.oil.density_15c_kg_m3 == 880.0


@pytest.mark.parametrize("procedure", PROCEDURES)
def test_every_procedure_of_the_vocabulary_is_accepted(bench, procedure):
    bench.spoil(C, '"speed-sweep"', f'"{procedure}"')
    assert bench.read().runs[0].procedure == procedure


def test_the_file_or_its_folder_may_be_named(bench, monkeypatch):
    assert read_campaign(bench.path(C)).path == bench.read().path
    monkeypatch.chdir(bench.folder)
    assert read_campaign(".").path == bench.read().path
    assert read_campaign("campaign.toml").folder == bench.folder.resolve()


def test_a_byte_order_mark_does_no_harm(bench):
    for name in (C, R, K, "rig/records/TC-1.csv"):
        data = bench.path(name).read_bytes()
        bench.path(name).write_bytes(b"\xef\xbb\xbf" + data.replace(b"\n", b"\r\n"))
    assert bench.read().name == "first look"


def test_the_result_is_read_only(bench):
    campaign = bench.read()
    with pytest.raises(dataclasses.FrozenInstanceError):
        campaign.name = "x"
    for mapping in (campaign.packs, campaign.materials, campaign.rig.channels):
        with pytest.raises(TypeError):
            mapping["x"] = None


def test_a_campaign_made_by_hand_is_read_only_too(bench):
    read = bench.read()
    packs = dict(read.packs)
    made = Campaign(
        path=read.path,
        folder=read.folder,
        name="by hand",
        baseline="plain",
        rig=read.rig,
        reference=read.reference,
        materials=read.materials,
        packs=packs,
        runs=read.runs,
    )
    packs.clear()
    assert list(made.packs) == ["A1"]
    assert made.oil is None


def test_every_file_read_is_named_with_its_hash(bench):
    inputs = bench.read().inputs
    assert [(item.role, item.path.name) for item in inputs] == [
        ("campaign", "campaign.toml"),
        ("rig", "rig.toml"),
        ("calibration record", "TC-1.toml"),
        ("calibration points", "TC-1.csv"),
    ]
    bench.path("inspections.csv").write_text("pack,plate\n", encoding="utf-8")
    with_plates = bench.read().inputs
    assert [(item.role, item.path.name) for item in with_plates[len(inputs) :]] == [
        ("inspections", "inspections.csv")
    ]
    for item in with_plates:
        assert item.sha256 == hashlib.sha256(item.path.read_bytes()).hexdigest()


# --- notices


def test_a_missing_log_leaves_the_run_in_and_is_told(bench):
    bench.path("logs/R002.csv").unlink()
    campaign = bench.read()
    (notice,) = campaign.notices
    assert notice.severity is Severity.LEFT_OUT
    assert notice.where == "run R002"
    assert "logs/R002.csv" in notice.what
    assert "runs.R002.log in campaign.toml" in notice.do
    assert [run.id for run in campaign.runs] == ["R001", "R002"]


def test_a_missing_log_of_an_excluded_run_is_not_told(bench):
    bench.path("logs/R002.csv").unlink()
    bench.spoil(C, 'procedure = "zero"', 'procedure = "zero"\nexclude = "hose burst"')
    assert bench.read().notices == ()


def test_two_viscosities_that_no_oil_has_are_told(bench):
    """101 and 15.3 mm^2/s are a good oil; the second in another unit is not."""
    assert 100.0 < bench.read().oil.viscosity_index < 200.0
    bench.spoil(C, "= 15.3", "= 78.4")
    (notice,) = bench.read().notices
    assert "viscosity index" in notice.what
    assert notice.where == "campaign.toml, [oil]"


def test_a_record_out_of_date_is_told_once_for_all_its_runs(bench):
    bench.spoil(K, "valid_until = 2027-01-10", "valid_until = 2026-03-01")
    (notice,) = bench.read().notices
    assert notice.severity is Severity.WARNING
    assert notice.where == "rig/records/TC-1.toml"
    for words in ("TC-1", "torque", "2026-03-01", "runs R001, R002"):
        assert words in notice.what
    # R001 has the campaign's date, the day before R002.
    bench.spoil(K, "valid_until = 2026-03-01", "valid_until = 2026-03-02")
    assert "run R002" in bench.read().notices[0].what
    bench.spoil(K, "valid_until = 2026-03-02", "valid_until = 2026-03-03")
    assert bench.read().notices == ()


def test_a_run_before_the_record_is_told(bench):
    bench.spoil(K, "\ndate = 2026-01-10", "\ndate = 2026-03-03")
    (notice,) = bench.read().notices
    assert notice.severity is Severity.WARNING
    assert "2026-03-03, which is after the date of run R001" in notice.what


def test_excluded_runs_do_not_count_against_a_record(bench):
    bench.spoil(K, "valid_until = 2027-01-10", "valid_until = 2026-03-02")
    bench.spoil(C, 'procedure = "zero"', 'procedure = "zero"\nexclude = "hose burst"')
    assert bench.read().notices == ()


def test_no_date_at_all_is_a_note(bench):
    bench.spoil(C, "date = 2026-03-02\n", "")
    (notice,) = bench.read().notices
    assert notice.severity is Severity.NOTE
    assert notice.where == "campaign.toml, run R001"
    assert "not checked" in notice.what


def test_a_rig_without_records_needs_no_dates(bench):
    bench.spoil(C, "date = 2026-03-02\n", "")
    bench.spoil(R, 'unit = "mV/V"\ncalibration = "records/TC-1.toml"', 'unit = "N*m"\nu = 0.5')
    assert bench.read().notices == ()


def test_samples_used_twice_are_told(bench):
    bench.spoil(C, "logs/R002.csv", "logs/R001.csv")
    (notice,) = bench.read().notices
    assert notice.severity is Severity.WARNING
    assert notice.where == "run R001, run R002"
    assert "logs/R001.csv" in notice.what
    bench.spoil(C, 'procedure = "zero"', 'procedure = "zero"\nend_s = 5')
    assert len(bench.read().notices) == 1
    bench.spoil(C, 'procedure = "speed-sweep"', 'procedure = "speed-sweep"\nstart_s = 5')
    assert bench.read().notices == ()


def test_notices_do_not_depend_on_where_the_campaign_lies(bench):
    bench.spoil(K, "valid_until = 2027-01-10", "valid_until = 2026-03-01")
    bench.path("logs/R002.csv").unlink()
    for notice in bench.read().notices:
        assert str(bench.folder) not in str(notice)


# --- where files may lie


def test_the_rig_may_lie_anywhere_with_its_records(bench, tmp_path):
    bench.path("rig").rename(tmp_path / "calibration")
    bench.spoil(C, '"rig/rig.toml"', '"../calibration/rig.toml"')
    campaign = bench.read()
    assert campaign.rig.path == (tmp_path / "calibration" / "rig.toml").resolve()
    bench.spoil(C, '"../calibration/rig.toml"', f"'{campaign.rig.path}'")
    assert bench.read().rig.name == "bench 2"
    (tmp_path / "calibration" / "records" / "TC-1.toml").write_text(
        (tmp_path / "calibration" / "records" / "TC-1.toml")
        .read_text()
        .replace("2027-01-10", "2026-02-01")
    )
    assert bench.read().notices[0].where == "../calibration/records/TC-1.toml"


def test_a_link_may_not_lead_out_of_the_folder(bench, tmp_path):
    outside = tmp_path / "outside.csv"
    outside.write_text("Time [s]\n")
    bench.path("logs/R001.csv").unlink()
    bench.path("logs/R001.csv").symlink_to(outside)
    with pytest.raises(
        CampaignError, match=r"campaign\.toml, runs\.R001\.log: .*out of the folder"
    ):
        bench.read()


def test_a_link_inside_the_folder_is_followed(bench):
    bench.path("logs/R001.csv").rename(bench.path("logs/real.csv"))
    bench.path("logs/R001.csv").symlink_to("real.csv")
    assert bench.read().runs[0].log == bench.folder.resolve() / "logs" / "real.csv"


def test_a_campaign_reached_through_a_linked_folder(bench, tmp_path):
    (tmp_path / "link").symlink_to(bench.folder, target_is_directory=True)
    assert read_campaign(tmp_path / "link").folder == bench.folder.resolve()


def test_a_ring_of_links_is_told(bench):
    bench.path("logs/R001.csv").unlink()
    bench.path("logs/R001.csv").symlink_to("R001.csv")
    with pytest.raises(CampaignError, match=r"runs\.R001\.log: .*not a path"):
        bench.read()


def test_a_file_that_may_not_be_read_is_told(bench, monkeypatch):
    real = os.open

    def guarded(path, *more, **options):
        if Path(path).name == "rig.toml":
            raise PermissionError(13, "Permission denied")
        return real(path, *more, **options)

    monkeypatch.setattr(os, "open", guarded)
    with pytest.raises(CampaignError, match=r"rig\.toml: cannot be read \(Permission denied\)"):
        bench.read()


def test_toml_nested_without_end_is_told(bench):
    bench.path(C).write_text("a = " + "[\n" * 100_000)
    with pytest.raises(CampaignError, match=r"campaign\.toml: is nested too deeply"):
        bench.read()


def test_messages_show_paths_from_the_working_folder(bench, monkeypatch):
    monkeypatch.chdir(bench.folder.parent)
    bench.spoil(C, "baseline =", "base_line =")
    with pytest.raises(CampaignError) as caught:
        bench.read()
    assert str(caught.value).startswith(f"{Path('demo', 'campaign.toml')}, base_line: unknown key")
