"""Waiting for a log that lands: told when it is at rest, not while it is written."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from rigdata.pipeline.watching import stamps, wait_for_change


class TooLongError(Exception):
    """The wait went on after the last thing that was to happen."""


def looks_until(seen: dict, happenings: list[Callable[[], object]]) -> int:
    """Return how many looks it took until the change was told."""
    coming: Iterator[Callable[[], object]] = iter(happenings)
    looks = 0

    def wait(_seconds: float) -> None:
        nonlocal looks
        looks += 1
        happening = next(coming, None)
        if happening is None:
            raise TooLongError
        happening()

    wait_for_change(seen, wait=wait)
    return looks


def nothing() -> None:
    """Let time pass."""


def test_a_new_log_is_told_once_it_is_at_rest(tmp_path: Path) -> None:
    log = tmp_path / "R1.csv"
    seen = stamps([log])
    assert seen == {log: None}

    def grow() -> None:
        with log.open("a") as file:
            file.write("1,2\n")

    assert looks_until(seen, [nothing, grow, grow, grow, nothing, nothing]) == 5


def test_a_log_that_goes_or_changes_is_told_too(tmp_path: Path) -> None:
    log = tmp_path / "R1.csv"
    log.write_text("t,x\n")
    seen = stamps([log])
    assert looks_until(seen, [log.unlink, nothing]) == 2
    log.write_text("t,x\n")
    seen = stamps([log])
    assert looks_until(seen, [lambda: os.utime(log, ns=(1, 1)), nothing]) == 2


def test_nothing_is_told_of_what_stays(tmp_path: Path) -> None:
    log = tmp_path / "R1.csv"
    log.write_text("t,x\n")
    with pytest.raises(TooLongError):
        looks_until(stamps([log]), [nothing] * 5)
