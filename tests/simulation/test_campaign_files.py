import hashlib
import json
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from rigdata.campaign.campaign import read_campaign
from rigdata.errors import CampaignError, ResultError
from rigdata.simulation.campaign import simulate_campaign
from rigdata.simulation.demo import demo_spec, study_spec, write_example
from rigdata.simulation.rig import RigDesign
from rigdata.simulation.scenario import ROUGH, STEEL
from rigdata.simulation.spec import CampaignSpec, PackDesign
from rigdata.simulation.writer import write_truth

REPOSITORY = Path(__file__).parents[2]
DEMO = REPOSITORY / "examples" / "ramp-differential"
SMALL = {"packs": 1, "tests": ("zero", "sweep-light")}


def digests(folder):
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def test_the_same_seed_gives_the_same_bytes(tmp_path):
    for name, seed in (("a", 5), ("b", 5), ("c", 6)):
        simulate_campaign(study_spec(**SMALL), seed, tmp_path / name)
    first, second, other = (digests(tmp_path / name) for name in "abc")
    assert first == second
    assert first["logs/R002.csv"] != other["logs/R002.csv"]
    assert first["rig/records/TQ-2025-02.csv"] != other["rig/records/TQ-2025-02.csv"]


def test_one_run_more_leaves_the_others_as_they_were(tmp_path):
    simulate_campaign(study_spec(packs=1, tests=("zero",)), 5, tmp_path / "one")
    simulate_campaign(study_spec(packs=1, tests=("zero", "drag")), 5, tmp_path / "two")
    one, two = digests(tmp_path / "one"), digests(tmp_path / "two")
    assert one["logs/R001.csv"] == two["logs/R001.csv"]


@pytest.mark.parametrize("size", ["full", "small"])
def test_demo_has_what_it_promises(size):
    spec = demo_spec(size)
    assert spec.baseline == "steel-on-steel"
    for material in spec.materials:
        own = [pack for pack in spec.packs if pack.material == material.name]
        new = [pack for pack in own if pack.state == "new"]
        assert len(new) >= 3
        assert len({pack.batch for pack in new}) == 2
        assert any(pack.service_hours > 50.0 for pack in own)
    for pack in spec.packs:
        done = [run.commands.procedure for run in spec.runs if run.pack == pack.name]
        assert done[:2] == ["zero", "drag"]
        assert done.count("speed-sweep") >= 2
        assert "load-sweep" in done
        assert ("bedding" in done) == (pack.state == "new")
    assert 60 <= len(spec.runs) <= 120
    assert {run.commands.procedure for run in spec.runs} >= {
        "temperature-sweep",
        "steady",
        "breakaway",
        "stint",
    }


def test_files_lie_where_they_are_named(tmp_path):
    simulate_campaign(study_spec(**SMALL), 1, tmp_path / "c", rig_folder=tmp_path / "rig")
    campaign = tomllib.loads((tmp_path / "c" / "campaign.toml").read_text("utf-8"))
    assert campaign["rig"] == "../rig/rig.toml"
    for run in campaign["runs"]:
        log = (tmp_path / "c" / run["log"]).resolve()
        assert log.is_file()
        assert log.is_relative_to(tmp_path / "c")
    rig = tomllib.loads((tmp_path / "rig" / "rig.toml").read_text("utf-8"))
    for channel in ("torque", "clamp_load"):
        record = (tmp_path / "rig" / rig["channels"][channel]["calibration"]).resolve()
        points = record.parent / tomllib.loads(record.read_text("utf-8"))["points"]
        assert points.is_file()
        assert points.resolve().is_relative_to(record.parent)


def test_logs_give_the_truth_back(tmp_path):
    # A bare reduction: straight-line calibration, zero from the start, oil drag
    # neglected; good for 3 %, which no wrong unit, sign or factor would pass.
    truth = simulate_campaign(study_spec(**SMALL), 3, tmp_path)

    def scale(record):
        points = np.loadtxt(
            tmp_path / "rig" / "records" / f"{record}.csv",
            delimiter=",",
            skiprows=1,
            usecols=(2, 3),
        )
        return np.polyfit(points[:, 1], points[:, 0], 1)[0]

    for run, pack in (("R002", "A1"), ("R004", "B1")):
        log = np.loadtxt(tmp_path / "logs" / f"{run}.csv", delimiter=",", skiprows=2)
        rest = log[:, 0] < 3.5
        torque = scale("TQ-2025-02") * (log[:, 1] - log[rest, 1].mean())
        load = 1e3 * scale("CL-2025-02") * (log[:, 2] - log[rest, 2].mean())
        speed = log[:, 3] * 2.0 * np.pi / 60.0 * 0.0479
        there = (speed > 0.05) & (speed < 0.15) & (load > 2000.0)
        assert np.count_nonzero(there) > 50
        mu = torque[there] / (10 * 0.0479 * load[there])
        law = truth.pack_mu(pack, 0.1, 55.0, 0.8) * truth.run_factors[run]
        assert mu.mean() == pytest.approx(float(law), rel=0.03)


def test_truth_can_be_written(tmp_path):
    truth = simulate_campaign(study_spec(packs=1, tests=("zero",)), 3, tmp_path / "c")
    write_truth(truth, tmp_path / "truth.json")
    read = json.loads((tmp_path / "truth.json").read_text("utf-8"))
    assert read["packs"]["A1"]["factor"] == truth.packs["A1"].factor
    assert read["materials"]["rough-on-steel"]["curve"]["level"] == 0.145


def test_runs_and_packs_scatter_as_told(tmp_path):
    truths = [
        simulate_campaign(study_spec(packs=4, tests=("zero",)), seed, tmp_path / str(seed))
        for seed in range(25)
    ]
    packs = [pack.factor for truth in truths for pack in truth.packs.values()]
    runs = [factor for truth in truths for factor in truth.run_factors.values()]
    assert np.std(packs) == pytest.approx(0.02, rel=0.2)
    assert np.std(runs) == pytest.approx(0.005, rel=0.2)
    assert np.mean(packs) == pytest.approx(1.0, abs=0.006)


def test_worn_mating_steels_lose_more_than_friction_plates(tmp_path):
    lines = (DEMO / "inspections.csv").read_text("utf-8").splitlines()[1:]
    rows = [line.split(",") for line in lines]
    for pack in ("A8", "A9", "B8"):
        lost = {}
        for member in ("friction", "mating"):
            seen = [(float(r[1]), float(r[4])) for r in rows if r[0] == pack and r[3] == member]
            first = np.mean([mm for hours, mm in seen if hours == 0.0])
            last = np.mean([mm for hours, mm in seen if hours == max(h for h, _ in seen)])
            lost[member] = first - last
        assert lost["mating"] > lost["friction"] > 0.005


# By `sh examples/run`, and not committed.
MADE_HERE = ("results", ".rigdata-cache")


def test_committed_demo_is_what_its_seed_gives(tmp_path):
    write_example(tmp_path / "examples" / "demo", size="small", rig_folder=tmp_path / "calibration")
    again = digests(tmp_path / "examples" / "demo")
    assert again == {
        name: digest for name, digest in digests(DEMO).items() if not name.startswith(MADE_HERE)
    }
    assert digests(tmp_path / "calibration") == digests(REPOSITORY / "calibration")


def test_committed_demo_is_small():
    names = [name for name in digests(DEMO) if not name.startswith(MADE_HERE)]
    files = [DEMO / name for name in names]
    assert 3e6 < sum(path.stat().st_size for path in files) < 6e6


def test_example_does_not_write_over_what_is_there(tmp_path):
    (tmp_path / "mine.txt").write_text("keep")
    with pytest.raises(ResultError, match="not empty"):
        write_example(tmp_path, size="small")


def test_unknown_size_is_refused():
    with pytest.raises(ValueError, match="size"):
        demo_spec("medium")


def test_unknown_material_is_named(tmp_path):
    spec = CampaignSpec("x", STEEL.name, RigDesign(), (STEEL,), (PackDesign("A1", ROUGH.name),), ())
    with pytest.raises(CampaignError, match="rough-on-steel"):
        simulate_campaign(spec, 1, tmp_path)


@pytest.mark.parametrize("size", ["full", "small"])
def test_the_campaign_reader_accepts_the_demo(size, tmp_path):
    spec = demo_spec(size)
    keep = spec.runs[:1] + spec.runs[-1:]
    simulate_campaign(replace(spec, runs=keep), 1, tmp_path)
    campaign = read_campaign(tmp_path)
    assert campaign.notices == ()
    assert len(campaign.packs) == len(spec.packs)
    assert [run.id for run in campaign.runs] == [run.id for run in keep]
    record = campaign.rig.channels["torque"].calibration
    assert record is not None
    assert record.applied.max() == 1800.0


def test_the_campaign_reader_accepts_the_committed_demo():
    campaign = read_campaign(DEMO)
    assert campaign.notices == ()
    assert campaign.rig.path.resolve() == REPOSITORY / "calibration" / "rig.toml"
    assert [run.exclude for run in campaign.runs if run.exclude] == [
        "oil pump tripped during the run"
    ]
