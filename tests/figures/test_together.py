"""Figures drawn by several processes: the same bytes, whatever becomes of a process."""

from __future__ import annotations

import multiprocessing
import os
import signal
import subprocess
import sys
import time
from functools import cached_property
from pathlib import Path

import pytest

from rigdata.figures import style, together
from rigdata.figures.picture import Picture
from rigdata.figures.svg import InlineSvg, inline_svg
from rigdata.figures.together import draw_all
from rigdata.steps import Step

needs_fork = pytest.mark.skipif(
    "fork" not in multiprocessing.get_all_start_methods(), reason="no forks here"
)


@style.styled()
def drawn(number: int):
    drawing = style.figure(1.5)
    axes = drawing.subplots()
    axes.plot([0.0, 1.0, 2.0], [0.1, 0.1 * number, 0.12], "o-", gid="mu")
    axes.set_xlabel(f"Slip {number} [m/s]")
    return drawing


def pictures() -> list[Picture]:
    return [Picture(f"f-{i}", f"Figure {i}", "", "A line.", drawn(i)) for i in range(6)]


@pytest.fixture(scope="module")
def alone() -> list[str]:
    made = pictures()
    draw_all(made, processes=1)
    return [picture.inline.markup for picture in made]


@needs_fork
@pytest.mark.parametrize("processes", [2, 3])
def test_the_bytes_do_not_depend_on_the_processes(alone: list[str], processes: int) -> None:
    made = pictures()
    told: list[Step] = []
    draw_all(made, processes=processes, progress=told.append)
    assert all("inline" in picture.__dict__ for picture in made)
    assert [picture.inline.markup for picture in made] == alone
    assert [(step.done, step.total) for step in told] == [(i, 6) for i in range(6)]
    assert together._to_draw == ()


class Mortal(Picture):
    """A figure that ends the process that draws it, unless it is this one."""

    home = os.getpid()

    @cached_property
    def inline(self) -> InlineSvg:
        if os.getpid() != self.home:
            os.kill(os.getpid(), signal.SIGKILL)
        return inline_svg(
            self.figure, name=self.name, title=self.title, description=self.description
        )


@needs_fork
def test_what_a_lost_process_should_have_drawn_is_drawn_here(alone: list[str]) -> None:
    made = pictures()
    made[2] = Mortal(**vars(made[2]))
    draw_all(made, processes=2)
    assert [picture.inline.markup for picture in made] == alone


ORPHANS = """
import os, signal, sys, time
from pathlib import Path
from types import SimpleNamespace
from rigdata.figures import together

told = Path(sys.argv[1])

def slow(number):
    (told / str(os.getpid())).touch()
    if number == 1:
        while len(list(told.iterdir())) < 2:
            time.sleep(0.01)
        os.kill(os.getppid(), signal.SIGKILL)
    time.sleep(60.0)

together._drawn = slow
together.draw_all([SimpleNamespace(has_been_drawn=None)] * 6, processes=2)
"""


@needs_fork
def test_who_draws_ends_with_the_process_that_asked(tmp_path: Path) -> None:
    done = subprocess.run([sys.executable, "-c", ORPHANS, tmp_path], check=False)
    assert done.returncode == -signal.SIGKILL
    drawing = [int(path.name) for path in tmp_path.iterdir()]
    assert len(drawing) == 2
    until = time.monotonic() + 30.0
    while any(_lives(process) for process in drawing):
        assert time.monotonic() < until, "processes go on without the one that asked for them"
        time.sleep(0.05)


def _lives(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    stat = Path(f"/proc/{process}/stat")
    return not (stat.exists() and b") Z" in stat.read_bytes())  # nobody may wait for it here


def test_few_figures_start_no_process(monkeypatch: pytest.MonkeyPatch) -> None:
    def started(*_arguments: object) -> object:
        raise AssertionError

    monkeypatch.setattr(together, "ProcessPoolExecutor", started)
    draw_all(pictures()[:3], processes=2)
