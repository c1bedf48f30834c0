"""Functions that other processes import and do."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

from rigdata.engines.local import usable_threads
from rigdata.errors import LogError


def squared(number: int) -> int:
    return number**2


def slow_at_first(number: int, of: int) -> int:
    """The first take longest, so that they are done last."""
    time.sleep(0.02 * (of - number))
    return number


def odd_refused(number: int) -> int:
    if number % 2:
        raise LogError("odd", where=f"number {number}", expected="an even one", do="Add one")
    return number


def wrong(_number: int) -> int:
    raise ZeroDivisionError("a fault of the program")


def killed_once(flag: Path, number: int) -> int:
    """Die without a word where there is no flag yet."""
    if number == 2 and not flag.exists():
        flag.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return number


def killed_always(number: int) -> int:
    if number == 2:
        os.kill(os.getpid(), signal.SIGKILL)
    return number


def threads_of_linear_algebra(_number: int) -> str:
    return os.environ["OPENBLAS_NUM_THREADS"]


def threads_of_reading(_number: int) -> int:
    return usable_threads(2)


def waiting(note: Path) -> None:
    """Say who works, and go on for long."""
    note.write_text(str(os.getpid()))
    time.sleep(60.0)
