"""How results look on a terminal: rounded numbers, aligned tables, notices, progress.

Data goes to standard output and everything else to standard error.
"""

from __future__ import annotations

import contextlib
import json
import math
import sys
import textwrap
import time
from collections.abc import Callable, Iterable, Iterator, Sequence

import click

from rigdata import __version__
from rigdata.errors import Notice, Severity, visible
from rigdata.steps import Progress, Step
from rigdata.uncertainty.digits import decimals_for

WIDTH, SCREEN = 80, 40
LEFT_SOMETHING_OUT = 3
_GAP = "  "
_LEAST_WRAP = 12
_SETTLED_S = 1.0  # before that the pace is not known
_MINUTE = 60


def rounded(value: float, u: float) -> str:
    """Return `value` with the digits that its uncertainty `u` lets it have.

    Examples
    --------
    >>> rounded(0.112345, 0.0021)
    '0.1123'
    >>> rounded(float("nan"), 0.1)
    '-'
    """
    return f"{value:.{decimals_for(u)}f}" if math.isfinite(value) else "-"


def interval(low: float, high: float, u: float) -> str:
    """Return ``low to high`` with the digits that `u` lets them have.

    Examples
    --------
    >>> interval(0.10812, 0.11654, 0.0021)
    '0.1081 to 0.1165'
    """
    if not (math.isfinite(low) and math.isfinite(high)):
        return "-"
    return f"{rounded(low, u)} to {rounded(high, u)}"


def say(text: str = "", *, err: bool = False, nl: bool = True) -> None:
    """Print text that may hold what files call things: lines, and nothing that a terminal obeys."""
    click.echo("\n".join(map(visible, text.split("\n"))), err=err, nl=nl)


def aligned(headers: Sequence[str], rows: Iterable[Sequence[str]], *, width: int = WIDTH) -> str:
    """Return a table as text: numbers to the right, words to the left.

    The widest column is wrapped where the table would be wider than `width`.  A
    row that is one string is a heading over those that follow.

    Examples
    --------
    >>> print(aligned(["run", "mu"], [["R1", "0.11"], ["R22", "0.1"]]))
    run    mu
    ---  ----
    R1   0.11
    R22   0.1
    """
    lines_of = [visible(row) if isinstance(row, str) else [*map(visible, row)] for row in rows]
    body = [row for row in lines_of if not isinstance(row, str)]
    columns = list(zip(*([list(headers), *body]), strict=True))
    widths = [max(map(len, column)) for column in columns]
    widest = widths.index(max(widths))
    spare = width - sum(widths) - len(_GAP) * (len(widths) - 1)
    if spare < 0:
        widths[widest] = max(widths[widest] + spare, _LEAST_WRAP)
    right = [all(_is_number(cell) for cell in column[1:]) and bool(body) for column in columns]
    lines = []
    for row in [list(headers), ["-" * w for w in widths], *lines_of]:
        if isinstance(row, str):
            lines.append(row)
            continue
        for i, part in enumerate(
            textwrap.wrap(row[widest], widths[widest], break_on_hyphens=False) or [""]
        ):
            cells = [""] * len(row) if i else list(row)
            cells[widest] = part
            fitted = (
                cell.rjust(w) if to_right else cell.ljust(w)
                for cell, w, to_right in zip(cells, widths, right, strict=True)
            )
            lines.append(_GAP.join(fitted).rstrip())
    return "\n".join(lines)


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return cell in ("", "-")
    return True


def paragraph(text: str, *, indent: str = "") -> str:
    """Return `text` filled to the width of the terminal, later lines indented."""
    return textwrap.fill(
        visible(text.replace("\n", " ")),
        WIDTH,
        subsequent_indent=indent,
        break_on_hyphens=False,
        break_long_words=False,
    )


def show_notices(notices: Iterable[Notice], *, notes: bool = False) -> None:
    """Print warnings and what was left out to standard error; notes only when asked for."""
    colours = {Severity.LEFT_OUT: "red", Severity.WARNING: "yellow", Severity.NOTE: None}
    for notice in notices:
        if notice.severity is Severity.NOTE and not notes:
            continue
        word = f"{notice.severity.value}: "
        lines = paragraph(str(notice), indent="  ")
        painted = click.style(word, fg=colours[notice.severity])
        click.echo(lines.replace(word, painted, 1), err=True)


def finish(notices: Iterable[Notice]) -> None:
    """Leave with exit code 3 when something was left out or a check was not met."""
    if any(notice.severity is not Severity.NOTE for notice in notices):
        click.get_current_context().exit(LEFT_SOMETHING_OUT)


def show_json(schema: str, notices: Iterable[Notice], **content: object) -> None:
    """Print one JSON object with its schema name, the version and the warnings.

    Numbers that are not finite become null.
    """
    warnings = [
        {"severity": n.severity.value, "where": n.where, "what": n.what, "do": n.do}
        for n in notices
    ]
    head = {"schema": f"rigdata/{schema}/1", "version": __version__, "warnings": warnings}
    click.echo(json.dumps(_finite({**head, **content}), indent=2, allow_nan=False))


def _finite(value: object) -> object:
    if isinstance(value, dict):
        return {key: _finite(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(item) for item in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


@contextlib.contextmanager
def progress(*, quiet: bool = False) -> Iterator[Progress | None]:
    """Yield what shows the step at hand on one line of a terminal; None elsewhere."""
    if quiet or not sys.stderr.isatty():
        yield None
        return
    try:
        yield Meter(time.monotonic)
    finally:
        click.echo("\r" + " " * (WIDTH - 1) + "\r", err=True, nl=False)


class Meter:
    """Shows steps on one line, and the time left from a second of like steps on.

    Parameters
    ----------
    clock : callable
        Returns the time. [s]
    """

    def __init__(self, clock: Callable[[], float]) -> None:
        self._clock = clock
        self._began = clock()

    def __call__(self, step: Step) -> None:
        """Show a step in place of the one before it."""
        # Blanks clear the rest of the line: no escape codes, whatever the terminal.
        line = visible(self.line(step))[: WIDTH - 1]
        click.echo("\r" + line.ljust(WIDTH - 1), err=True, nl=False)

    def line(self, step: Step) -> str:
        """Return what is shown of a step."""
        if not step.done:
            self._began = self._clock()
        taken = self._clock() - self._began
        if not step.total:
            return step.what
        words = f"{step.what} ({step.done + 1} of {step.total}"
        if step.done and taken > _SETTLED_S:
            words += f", {duration(taken / step.done * (step.total - step.done))} left"
        return words + ")"


def duration(seconds: float) -> str:
    """Return a time that need not be known better than to a few seconds.

    Examples
    --------
    >>> duration(8.2), duration(200.0), duration(5400.0)
    ('9 s', '3 min 20 s', '1 h 30 min')
    """
    whole = math.ceil(seconds)
    if whole < _MINUTE:
        return f"{whole} s"
    if whole < _MINUTE**2:
        return f"{whole // _MINUTE} min {whole % _MINUTE} s"
    return f"{whole // _MINUTE**2} h {whole % _MINUTE**2 // _MINUTE} min"
