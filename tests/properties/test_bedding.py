"""A pack tested before it was bedded in: found, told, and kept out of the law."""

import csv
import json
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner

from rigdata.bedding.assess import assess_bedding
from rigdata.bedding.courses import NOT_BEDDED
from rigdata.bedding.keep_out import before_steady, restored, without_bedding
from rigdata.bedding.results import BEDDED
from rigdata.cli.main import main
from rigdata.friction.conditions import at
from rigdata.pipeline.run import run_campaign
from rigdata.pipeline.stored import points_from_folder
from rigdata.simulation.campaign import simulate_campaign
from rigdata.simulation.demo import study_spec
from rigdata.simulation.scenario import ROUGH
from rigdata.simulation.spec import PackDesign

HASTY = replace(ROUGH, bedding_start=-0.05, bedding_work_j_mm2=0.3)
TESTS = ("zero", "drag", "steady", "sweep-light", "sweep-heavy", "sweep-middle")
PACK = PackDesign("any", HASTY.name)
# 1 % is left of a change of 5 % that falls to 1/e in 0.3 J/mm^2.
TRUE_KJ = 0.3 * np.log(5.0) * PACK.area_mm2 * PACK.friction_faces / 1e3


@pytest.fixture(scope="module")
def hasty(tmp_path_factory):
    """Three new packs whose first run, at constant slip, still beds them in; and the truth."""
    folder = tmp_path_factory.mktemp("hasty")
    spec = study_spec(packs=3, bedded=False, materials=(HASTY,), tests=TESTS)
    truth = simulate_campaign(spec, 3, folder)
    return run_campaign(folder, laws=["log-speed"]), truth


def test_the_change_point_is_found_and_its_interval_holds_the_truth(hasty):
    bedding = hasty[0].bedding
    assert [one.verdict for one in bedding.packs] == [BEDDED] * 3
    assert sum(one.low_kj <= TRUE_KJ <= one.high_kj for one in bedding.packs) >= 2
    (group,) = bedding.groups.values()
    assert group.work_to_bed_kj == pytest.approx(TRUE_KJ, rel=0.25)
    assert group.low <= TRUE_KJ <= group.high
    assert group.next_pack_low < group.low < group.high < group.next_pack_high
    for one in bedding.packs:
        assert one.change == pytest.approx(-0.05, abs=0.02)
        assert one.runs == 1
        assert one.engagements == 1


def test_points_from_before_are_kept_out_with_their_reason_and_no_others(hasty):
    result, _ = hasty
    out = result.reduction.points.select(~result.reduction.points.used)
    early = out.select(out.reason == NOT_BEDDED)
    assert set(early.procedure.tolist()) == {"steady"}
    assert set(early.pack.tolist()) == {one.pack for one in result.bedding.packs}
    assert len(early) <= 3 * 4
    told = [n.what for n in result.notices if "kept out" in n.what]
    assert told == [
        f"{len(early)} points of A1, A2, A3 from before mu was steady within 1 % are kept out of "
        "the fits"
    ]
    with (result.folder / "points.csv").open(encoding="utf-8") as file:
        rows = {row["point"]: row for row in csv.DictReader(file)}
    for name in early.point.tolist():
        assert (rows[name]["used"], rows[name]["reason"]) == ("false", NOT_BEDDED)
    assert NOT_BEDDED in (result.folder / "report.html").read_text("utf-8")


def test_the_law_is_then_that_of_bedded_packs(hasty):
    result, truth = hasty
    (fit,) = result.fits.values()
    reference = result.campaign.reference
    found = fit.predict(at(reference))
    place = (reference.slip_speed_m_s, reference.temperature_c, reference.pressure_mpa)
    true = np.mean([float(truth.pack_mu(pack, *place)) for pack in truth.packs])
    assert abs(float(found.mu[0]) - true) < float(found.u_mu[0])


def test_the_stage_alone_gives_the_same_and_can_keep_all_points(hasty):
    result, _ = hasty
    folder = result.folder
    names = ("bedding.json", "fits.json")
    before = {name: (folder / name).read_bytes() for name in names}

    def fit(*options):
        line = ["fit", str(folder), "--law", "log-speed", *options]
        answer = CliRunner().invoke(main, line)
        assert answer.exit_code == 3, answer.output
        return answer

    kept = " ".join(fit("--keep-bedding").stderr.split())
    assert "are used all the same" in kept
    points = points_from_folder(folder)
    assert not np.any(points.reason == NOT_BEDDED)
    assert np.sum(before_steady(points, result.bedding)) > 0
    fit()
    assert {name: (folder / name).read_bytes() for name in names} == before
    again = points_from_folder(folder)
    assert again.reason.tolist() == result.reduction.points.reason.tolist()


def test_the_command_shows_what_the_file_holds(hasty):
    folder = str(hasty[0].folder)
    shown = CliRunner().invoke(main, ["bedding", folder])
    assert shown.exit_code == 3  # points were kept out
    assert all(len(line) <= 80 for line in shown.stdout.splitlines())
    assert "A1" in shown.stdout
    assert "bedded" in shown.stdout
    stricter = CliRunner().invoke(main, ["bedding", folder, "--json", "--steady", "0.5%"])
    written = json.loads((hasty[0].folder / "bedding.json").read_text("utf-8"))
    found = json.loads(stricter.stdout)
    assert found["packs"] == written["packs"]
    assert written["steady_within"] == 0.005
    for one, usual in zip(found["packs"], hasty[0].bedding.packs, strict=True):
        assert one["work_to_bed_kj"] > usual.work_kj
    wrong = CliRunner().invoke(main, ["bedding", folder, "--steady", "120%"])
    assert wrong.exit_code == 2
    assert "'120%' is no share; give one such as 1% or 0.01" in wrong.stderr.replace("\n", " ")


def test_a_group_of_which_nothing_would_be_left_keeps_its_points(hasty):
    result, _ = hasty
    bedding = result.bedding
    never = replace(bedding, packs=tuple(replace(p, work_kj=1e9) for p in bedding.packs))
    points = without_bedding(result.reduction.points, never)
    assert not np.any(points.reason == NOT_BEDDED)
    one = replace(bedding, packs=(never.packs[0], *bedding.packs[1:]))
    points = without_bedding(result.reduction.points, one)
    assert not np.any(points.used & (points.pack == bedding.packs[0].pack))


def test_points_without_work_say_nothing(hasty):
    result, _ = hasty
    points = restored(result.reduction.points)
    bare = replace(points, pack_work_kj=np.full(len(points), np.nan))
    bedding = assess_bedding(bare, result.campaign)
    assert {one.words for one in bedding.packs} == {
        "cannot tell: its sliding work is known at 0 points; 6 are needed"
    }
    assert not np.any(without_bedding(bare, bedding).reason == NOT_BEDDED)
