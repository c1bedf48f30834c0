"""A real cluster on this machine: the same results, a lost worker, and every refusal."""

from __future__ import annotations

import json
import os
import shutil
import signal
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from rigdata.campaign.campaign import read_campaign
from rigdata.cli.main import main
from rigdata.engines import cluster as engine
from rigdata.engines.cluster import cluster
from rigdata.engines.engine import Job
from rigdata.engines.sameness import likeness, software
from rigdata.errors import EngineError, LogError
from rigdata.pipeline.stages import reduce_into
from rigdata.storage.files import write_text
from tests.cli.conftest import DEAD_RUN
from tests.engines import jobs

distributed = pytest.importorskip("distributed")
NOWHERE = "tcp://127.0.0.1:9"
OFF = "127.0.0.1:0"  # any free port, on this machine only: several tests may run at once


@pytest.fixture(scope="module")
def workers():
    with distributed.LocalCluster(
        n_workers=2,
        threads_per_worker=1,
        processes=True,
        host="127.0.0.1",
        dashboard_address=OFF,
        silence_logs=50,
    ) as running:
        yield running


def outcomes(address, function, arguments, reads=Path(__file__)):
    with cluster(address)([reads]) as apply:
        return list(apply(function, [Job(f"job {a}", reads, a) for a in arguments]))


def test_results_are_the_same_to_the_bit_though_a_worker_is_killed(workers, campaign, tmp_path):
    pids = [nanny.pid for nanny in workers.workers.values()]
    killed = []

    def kill_at_the_fifth(step):
        if step.done == 5:
            os.kill(pids[0], signal.SIGKILL)
            killed.append(step.what)

    read = read_campaign(campaign)
    reduce_into(
        read,
        tmp_path / "cluster",
        cache=False,
        engine=cluster(workers.scheduler_address),
        progress=kill_at_the_fifth,
    )
    assert killed
    for count in ("1", "2"):
        options = ["--out", str(tmp_path / count), "--workers", count, "--no-cache"]
        result = CliRunner().invoke(main, ["reduce", str(campaign), *options])
        assert result.exit_code == 3, result.output  # one run is dead
    found = {name: contents(tmp_path / name) for name in ("1", "2", "cluster")}
    assert DEAD_RUN in found["1"]["manifest.json"]["left_out"]
    assert found["2"] == found["1"]
    assert found["cluster"] == found["1"]


def contents(folder: Path) -> dict[str, object]:
    files: dict[str, object] = {path.name: path.read_bytes() for path in folder.iterdir()}
    manifest = json.loads((folder / "manifest.json").read_text())
    assert manifest.pop("written")  # the time, which alone may differ
    return {**files, "manifest.json": manifest}


def test_outcomes_come_in_order_with_the_faults_of_the_jobs(workers):
    found = outcomes(workers.scheduler_address, jobs.odd_refused, [(n,) for n in range(6)])
    assert found[::2] == [0, 2, 4]
    assert all(isinstance(one, LogError) for one in found[1::2])
    again = outcomes(workers.scheduler_address, jobs.squared, [(n,) for n in range(6)])
    assert again == [0, 1, 4, 9, 16, 25]


def test_a_log_that_workers_do_not_see_is_one_message(workers, campaign, tmp_path, monkeypatch):
    folder = tmp_path / "study"
    shutil.copytree(campaign, folder)
    monkeypatch.setattr(engine, "likeness", lambda _path: "1 as seen from here")
    options = ["--scheduler", workers.scheduler_address, "--no-cache"]
    result = CliRunner().invoke(main, ["reduce", str(folder), *options])
    assert result.exit_code == 1
    assert "finds another file" in result.stderr
    assert result.stderr.count("rigdata: ") == 1
    assert not (folder / "results").exists()


def test_a_worker_compares_file_and_software_before_it_works(tmp_path):
    log = tmp_path / "a.csv"
    write_text(log, "1,2\n")
    mine, like = software(), likeness(log)
    refused = engine.worked_off_alike(b"", str(tmp_path / "b.csv"), like, mine)
    assert "does not see the log" in str(engine.unpacked(refused))
    write_text(log, "1,3\n")
    refused = engine.worked_off_alike(b"", str(log), like, mine)
    assert "finds another file" in str(engine.unpacked(refused))
    refused = engine.worked_off_alike(b"", str(log), like, {**mine, "numpy": "1.0"})
    assert f"other software: numpy {mine['numpy']} instead of 1.0" in str(engine.unpacked(refused))


def test_software_of_another_version_is_refused_before_the_work(workers, monkeypatch):
    other = {**software(), "rigdata": "code 000000000000"}
    monkeypatch.setattr(engine, "software", lambda: other)
    with pytest.raises(EngineError, match=r"other software: rigdata code .* instead of code 0000"):
        outcomes(workers.scheduler_address, jobs.squared, [(1,)])


def test_no_scheduler_is_one_message():
    with pytest.raises(EngineError, match=r"no scheduler answers within 0.5 s"):
        outcomes_of_none(cluster(NOWHERE, connect_s=0.5))
    with pytest.raises(EngineError, match="no scheduler answers"):
        outcomes_of_none(cluster("nonsense://", connect_s=0.5))


def test_no_worker_is_one_message():
    with (
        distributed.LocalCluster(
            n_workers=0, host="127.0.0.1", dashboard_address=OFF, silence_logs=50
        ) as empty,
        pytest.raises(EngineError, match=r"no worker is there within 0.5 s"),
    ):
        outcomes_of_none(cluster(empty.scheduler_address, workers_s=0.5))


def outcomes_of_none(opened):
    with opened([]) as apply:
        return list(apply(jobs.squared, []))


def test_a_job_that_kills_every_worker_is_named(workers):
    found = outcomes(workers.scheduler_address, jobs.killed_always, [(n,) for n in range(3)])
    assert [one for one in found if not isinstance(one, EngineError)] == [0, 1]
    assert "job (2,): every worker that worked on it was lost" in str(found[2])


def test_the_package_is_asked_for_where_it_is_missing(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(EngineError, match=r"pip install 'rigdata\[cluster\]'"):
        outcomes_of_none(cluster(NOWHERE))


def test_workers_and_a_scheduler_exclude_each_other(campaign, monkeypatch, tmp_path):
    both = ["reduce", str(campaign), "--workers", "2", "--scheduler", NOWHERE]
    result = CliRunner().invoke(main, both)
    assert result.exit_code == 2
    assert "leave one of the two out" in result.stderr
    nearer = ["--workers", "1", "--out", str(tmp_path / "out")]
    result = CliRunner().invoke(
        main, ["reduce", str(campaign), *nearer], env={"RIGDATA_SCHEDULER": NOWHERE}
    )
    assert result.exit_code == 3  # the dead run, and no word of a scheduler


def test_the_start_middle_and_end_of_a_file_make_its_likeness(tmp_path):
    path, other = tmp_path / "a", tmp_path / "b"
    content = bytearray(1_000_000)
    path.write_bytes(content)
    for place in (0, 500_000, 999_999):
        changed = content.copy()
        changed[place] = 1
        other.write_bytes(changed)
        assert likeness(other) != likeness(path)
    other.write_bytes(content)
    assert likeness(other) == likeness(path) != ""
    assert likeness(tmp_path / "c") == likeness(tmp_path) == ""
