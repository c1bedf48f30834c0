"""Several processes: the order, their death, and how they end."""

from __future__ import annotations

import multiprocessing
import os
import signal
import subprocess
import sys
import time
from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest

from rigdata.campaign.campaign import read_campaign
from rigdata.engines import local
from rigdata.engines.engine import Job, alone
from rigdata.engines.local import processes, usable_cores
from rigdata.errors import EngineError, LogError
from rigdata.reduction.reduce import reduce_campaign
from rigdata.steps import Step
from tests.cli.conftest import DEAD_RUN
from tests.engines import jobs


def outcomes(engine, function, arguments):
    work = [Job(f"number {i}", Path(), given) for i, given in enumerate(arguments)]
    with engine([job.reads for job in work]) as apply:
        return list(apply(function, work))


def no_process_left() -> bool:
    return not multiprocessing.active_children()


def test_outcomes_come_in_the_order_of_the_jobs():
    arguments = [(number, 8) for number in range(8)]
    assert outcomes(processes(2), jobs.slow_at_first, arguments) == list(range(8))
    assert no_process_left()


def test_a_job_that_fails_does_not_stop_the_others():
    arguments = [(number,) for number in range(4)]
    here = outcomes(alone, jobs.odd_refused, arguments)
    there = outcomes(processes(2), jobs.odd_refused, arguments)
    assert [repr(one) for one in here] == [repr(one) for one in there]
    assert [type(one) for one in there] == [int, LogError, int, LogError]


def test_a_fault_of_the_program_is_no_fault_of_a_run():
    with pytest.raises(ZeroDivisionError):
        outcomes(processes(2), jobs.wrong, [(1,), (2,)])
    assert no_process_left()


def test_a_process_that_dies_is_replaced_and_its_jobs_are_done(tmp_path):
    arguments = [(tmp_path / "flag", number) for number in range(6)]
    assert outcomes(processes(2), jobs.killed_once, arguments) == list(range(6))
    assert (tmp_path / "flag").exists()
    assert no_process_left()


def test_a_job_that_kills_its_process_twice_is_named_and_the_others_are_done():
    found = outcomes(processes(2), jobs.killed_always, [(number,) for number in range(6)])
    assert isinstance(found[2], EngineError)
    assert "number 2: the process that worked on it ended twice" in str(found[2])
    assert [one for one in found if not isinstance(one, EngineError)] == [0, 1, 3, 4, 5]
    assert no_process_left()


def test_a_process_has_one_thread_for_linear_algebra_and_this_one_keeps_its_own(monkeypatch):
    monkeypatch.setenv("OPENBLAS_NUM_THREADS", "3")
    monkeypatch.delenv("MKL_NUM_THREADS", raising=False)
    assert outcomes(processes(2), jobs.threads_of_linear_algebra, [(1,), (2,)]) == ["1", "1"]
    assert os.environ["OPENBLAS_NUM_THREADS"] == "3"
    assert "MKL_NUM_THREADS" not in os.environ


@pytest.mark.parametrize(("cores", "threads"), [(3, 1), (16, 2)])
def test_processes_share_the_cores_and_this_one_has_them_all(monkeypatch, cores, threads):
    monkeypatch.setattr(local, "usable_cores", lambda: cores)
    found = outcomes(processes(2), jobs.threads_of_reading, [(1,), (2,)])
    assert found == [threads, threads]
    assert local.usable_threads(2) == 2
    monkeypatch.setenv("RIGDATA_THREADS", "many")
    assert local.usable_threads(2) == 2


def test_little_to_read_and_one_worker_need_no_process(tmp_path, monkeypatch):
    def never(_workers):
        raise AssertionError("a process was started")

    monkeypatch.setattr(local, "_Pool", never)
    monkeypatch.setattr(local, "usable_cores", lambda: 4)
    small, large = tmp_path / "small", tmp_path / "large"
    small.write_bytes(b"1")
    with large.open("wb") as file:
        file.truncate(500_000_000)
    absent = tmp_path / "absent"
    for engine, files in ((processes(), [small, absent]), (processes(1), [large] * 9)):
        with engine(files) as apply:
            assert list(apply(jobs.squared, [Job("", Path(), (3,))])) == [9]
    with pytest.raises(AssertionError, match="started"), processes()([large] * 4):
        pass


def test_cores_are_those_that_may_be_used():
    assert 1 <= usable_cores() <= (os.cpu_count() or 1)


def test_a_campaign_gives_the_same_and_survives_the_death_of_a_process(campaign):
    told: list[Step] = []

    def kill_at_the_fifth(step: Step) -> None:
        told.append(step)
        if len(told) == 5:
            multiprocessing.active_children()[0].kill()

    read = read_campaign(campaign)
    here = reduce_campaign(read)
    there = reduce_campaign(read, engine=processes(2), progress=kill_at_the_fifth)
    assert DEAD_RUN in here.left_out
    assert [step.done for step in told] == list(range(len(read.runs)))
    for name in ("left_out", "notices", "said", "drag"):
        assert getattr(here, name) == getattr(there, name), name
    assert {run: vars(one) for run, one in here.summaries.items()} == {
        run: vars(one) for run, one in there.summaries.items()
    }
    for field in fields(here.points):
        one, other = getattr(here.points, field.name), getattr(there.points, field.name)
        if isinstance(one, np.ndarray):
            np.testing.assert_array_equal(one, other, err_msg=field.name)
            assert not other.flags.writeable
    assert (here.points.contributions != there.points.contributions).nnz == 0
    assert here.points.sources == there.points.sources


SCRIPT = """
import signal
from pathlib import Path
from rigdata.engines.engine import Job
from rigdata.engines.local import processes
from rigdata.errors import EngineError
from tests.engines.jobs import squared, waiting
{guard}
    signal.signal(signal.SIGINT, signal.default_int_handler)  # ignored in the background
    with processes(2)([Path()] * 2) as apply:
        try:
            print(list(apply({function}, [Job("a", Path(), {first}), Job("b", Path(), {second})])))
        except EngineError as fault:
            print(fault)
"""


def script(folder: Path, **parts: object) -> list[str]:
    path = folder / "script.py"
    path.write_text(SCRIPT.format(**parts))
    return [sys.executable, str(path)]


def with_our_path() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": os.pathsep.join(entry for entry in sys.path if entry)}


def test_a_script_without_a_guard_is_told_so(tmp_path):
    command = script(tmp_path, guard="if True:", function="squared", first="(1,)", second="(2,)")
    done = subprocess.run(
        command, env=with_our_path(), capture_output=True, text=True, check=True, timeout=60
    )
    assert "end as soon as they start. Give --workers 1" in done.stdout
    assert "__main__" in done.stdout


@pytest.mark.skipif(not hasattr(os, "killpg"), reason="needs process groups")
@pytest.mark.parametrize("way", [signal.SIGINT, signal.SIGKILL])
def test_workers_end_with_the_process_that_started_them(tmp_path, way):
    notes = [tmp_path / "first", tmp_path / "second"]
    guard = 'if __name__ == "__main__":'
    first, second = (f"(Path({str(note)!r}),)" for note in notes)
    command = script(tmp_path, guard=guard, function="waiting", first=first, second=second)
    work = subprocess.Popen(
        command,
        env=with_our_path(),
        stderr=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    until(lambda: all(note.exists() and note.read_text() for note in notes))
    # Ctrl-C reaches the whole group, as from a terminal; a kill reaches one process.
    if way == signal.SIGINT:
        os.killpg(work.pid, way)
    else:
        work.kill()
    _, said = work.communicate(timeout=60)
    assert work.returncode == -way
    assert said.count("Traceback") == (1 if way == signal.SIGINT else 0)  # of the script itself
    until(lambda: not any(alive(int(note.read_text())) for note in notes))


def until(true, seconds: float = 20.0) -> None:
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end
        time.sleep(0.05)


def alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    state = Path(f"/proc/{pid}/stat")
    try:
        return state.read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return not state.parent.parent.is_dir()
