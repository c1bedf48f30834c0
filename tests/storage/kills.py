"""End `rigdata run` at any moment, and look at what is there.

A child process is forked after everything is imported and does the whole job.  It is ended
by a signal after a random share of the processor time that it needs, by SIGKILL at the
n-th call that changes a file or folder, by a file that may not grow beyond a random size,
or, where there is a small disk to work on, by that being full.
What is then in the folder, and what a rerun makes of it, is compared byte by byte with
results made in peace.
"""

from __future__ import annotations

import math
import os
import random
import resource
import shutil
import signal
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import rigdata.cli.reduce
import rigdata.cli.run  # noqa: F401 (loaded once, not by each child)
from rigdata.cli.main import main

RUN, REDUCE = ("run", "--law", "log-speed"), ("reduce",)  # all of it, and its first stage
CHANGES = ("rename", "replace", "mkdir", "unlink", "rmdir", "fsync")
DONE = (0, 3)  # exit codes of a run that wrote its results
BALLAST, SMALL = "ballast", 2**28
EPOCH = "1767225600"  # the time that results state, so that they can be the same to the byte


@dataclass(frozen=True)
class Ending:
    """How a run was ended, and what was found."""

    kind: str
    after: float
    code: int
    had: str
    faults: tuple[str, ...]


def forked(work: Callable[[], None]) -> int:
    """Return the id of a child process that does `work` in silence."""
    sys.stdout.flush()
    child = os.fork()
    if child:
        return child
    code = 1
    try:
        signal.signal(signal.SIGINT, signal.default_int_handler)  # ignored in the background
        null = os.open(os.devnull, os.O_RDWR)
        for stream in (0, 1, 2):
            os.dup2(null, stream)
        work()
    except SystemExit as end:
        code = int(end.code or 0)
    finally:
        os._exit(code)


def waited(child: int) -> int:
    """Return the exit code of a child, negative for a signal."""
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def worked(process: int) -> float:
    """Return the processor time of a process and its children, infinite once it has ended. [s]"""
    place = Path(f"/proc/{process}")
    try:
        _, _, words = (place / "stat").read_bytes().rpartition(b")")  # see proc(5)
        children = (place / "task" / str(process) / "children").read_text().split()
    except OSError:  # somebody else has waited for it
        return math.inf
    state, *numbers = words.split()
    if state in (b"Z", b"X"):
        return math.inf
    own = sum(map(int, numbers[10:14])) / os.sysconf("SC_CLK_TCK")
    return own + sum(time for child in children if math.isfinite(time := worked(int(child))))


def contents(folder: Path) -> dict[str, bytes]:
    """Return every file below a folder by its name there."""
    files = (path for path in folder.rglob("*") if path.is_file())
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in files}


class Bench:
    """A campaign, its results made in peace with two sets of options, and how long that takes. [s]

    Parameters
    ----------
    campaign : Path
        Its folder.
    place : Path
        An empty folder to work in.
    command : sequence of str
        What is ended: `RUN` or `REDUCE`; the other has made the results that are there before.
    """

    def __init__(self, campaign: Path, place: Path, command: Sequence[str] = RUN) -> None:
        self.campaign, self.place, self.command = campaign, place, command
        self.out = place / "results"
        made: dict[str, dict[str, bytes]] = {}
        for name, done in (("old", REDUCE if command == RUN else RUN), ("new", command)):
            child = forked(lambda done=done: self._job(done))
            _, status, usage = os.wait4(child, 0)
            self.seconds = usage.ru_utime + usage.ru_stime
            code = os.waitstatus_to_exitcode(status)
            assert code in DONE, f"the run in peace ended with {code}"
            made[name] = contents(self.out)
            shutil.copytree(self.out, place / name)
            shutil.rmtree(self.out)
        assert made["old"] != made["new"]
        self.made = made
        self.changes = self._counted()

    def once(self, kind: str, rng: random.Random) -> Ending:
        """End one run in a random way of its kind, and look."""
        shutil.rmtree(self.out, ignore_errors=True)
        shutil.rmtree(self.campaign / ".rigdata-cache", ignore_errors=True)
        had = rng.choice(("nothing", "old"))
        if had == "old":
            shutil.copytree(self.place / "old", self.out)
        if kind == "change":
            after = float(rng.randrange(1, self.changes + 1))
            child = forked(lambda: self._killed_at(int(after)))
        elif kind == "short files":
            after = 10.0 ** rng.uniform(2.0, 6.5)
            child = forked(lambda: self._with_short_files(int(after)))
        elif kind == "full disk":
            after = 10.0 ** rng.uniform(3.0, 6.5)
            self._fill(leave=int(after))
            child = forked(self._job)
        else:
            after = rng.uniform(0.0, self.seconds)
            child = forked(self._job)
            while worked(child) < after:
                time.sleep(rng.uniform(0.0, 0.01))  # shorter than a tick of the clock
            os.kill(child, getattr(signal, kind))
        code = waited(child)
        (self.place / BALLAST).unlink(missing_ok=True)
        faults = [*self._seen(had, code), *self._left_over(code), *self._rerun()]
        return Ending(kind, after, code, had, tuple(faults))

    def _job(self, command: Sequence[str] | None = None) -> None:
        os.environ["SOURCE_DATE_EPOCH"] = EPOCH
        name, *options = command or self.command
        main([name, str(self.campaign), "--out", str(self.out), *options], prog_name="rigdata")

    def _seen(self, had: str, code: int) -> list[str]:
        """Return what is wrong with the results as they lie there."""
        if not self.out.exists():
            return [] if had == "nothing" and code not in DONE else [f"{had} results are gone"]
        now = contents(self.out)
        if now == self.made["new"] or (
            now == self.made["old"] and had == "old" and code not in DONE
        ):
            return []
        return ["the results are neither the old nor the new ones"]

    def _left_over(self, code: int) -> list[str]:
        """Return what lies beside the results that a process with time to clear up has left."""
        known = {"old", "new", self.out.name}
        beside = {path.name for path in self.place.iterdir()} - known
        visible = sorted(name for name in beside if not name.startswith("."))
        hidden = sorted(beside) if code >= 0 else []
        return [f"left over: {name}" for name in {*visible, *hidden}]

    def _rerun(self) -> list[str]:
        code = waited(forked(self._job))
        if code not in DONE:
            return [f"the rerun ended with {code}"]
        faults = [] if contents(self.out) == self.made["new"] else ["the rerun differs"]
        beside = {path.name for path in self.place.iterdir()} - {"old", "new", self.out.name}
        return [*faults, *(f"left over by the rerun: {name}" for name in sorted(beside))]

    def _counted(self) -> int:
        """Return how many calls of one run change a file or folder."""
        read, write = os.pipe()

        def work() -> None:
            calls = _counting(lambda _n: None)
            try:
                self._job()
            finally:
                os.write(write, str(calls[0]).encode())

        child = forked(work)
        os.close(write)
        with os.fdopen(read) as pipe:
            told = int(pipe.read())
        assert waited(child) in DONE
        shutil.rmtree(self.out)
        return told

    def _killed_at(self, number: int) -> None:
        def look(n: int) -> None:
            if n == number:
                os.kill(os.getpid(), signal.SIGKILL)

        _counting(look)
        self._job()

    def _fill(self, leave: int) -> None:
        """Leave so many bytes of the disk that `place` lies on, a small one."""
        free = shutil.disk_usage(self.place).free
        assert free < SMALL, f"{self.place} is no small disk"
        (self.place / BALLAST).write_bytes(bytes(max(0, free - leave)))

    def _with_short_files(self, size: int) -> None:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))
        self._job()


def _counting(look: Callable[[int], None]) -> list[int]:
    """Call `look` with their number before every call that changes a file or folder."""
    calls = [0]

    def watched(change: Callable[..., object]) -> Callable[..., object]:
        def counted(*arguments: object, **more: object) -> object:
            calls[0] += 1
            look(calls[0])
            return change(*arguments, **more)

        return counted

    for name in CHANGES:
        setattr(os, name, watched(getattr(os, name)))
    return calls
