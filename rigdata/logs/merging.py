"""Channels with times of their own, merged into rows in order of time."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.logs.block import Block, Loss, Tally
from rigdata.logs.order import RisingRows

_SAME = 1e-3  # of the shortest usual step: times closer than this are one row
_FIRST = 100  # samples from which the usual step is taken


def merged(bases: Sequence[Iterable[Block]], tally: Tally) -> Iterator[Block]:
    """Yield the rows of several time bases as one.

    A row has NaN in the columns of the bases that have no sample at its time, as
    the lines of a text log have blank cells.

    Parameters
    ----------
    bases : sequence of iterables of Block
        The rows of each base, with keys of its own.
    tally : Tally
        Counts the rows whose time does not rise within their base.
    """
    streams = [_Stream(base, tally) for base in bases]
    keys = [key for stream in streams for key in stream.rows.values]
    step = min(stream.step_s() for stream in streams)
    same = _SAME * step if np.isfinite(step) else 0.0
    while True:
        going = [stream for stream in streams if not stream.done]
        if going:
            min(going, key=lambda stream: stream.last_s).pull()
            going = [stream for stream in streams if not stream.done]
        horizon = min((stream.last_s for stream in going), default=np.inf) - same
        parts = [stream.take(horizon) for stream in streams]
        if any(part.time_s.size for part in parts):
            yield _joined(parts, keys, same, tally)
        if not going:
            return


class _Stream:
    """The rows of one base that are not yet passed on."""

    def __init__(self, base: Iterable[Block], tally: Tally) -> None:
        self._blocks = iter(base)
        self._order = RisingRows(tally)
        self.done = False
        self.rows = Block(np.empty(0), {})
        while not self.done and self.rows.time_s.size < _FIRST:
            self.pull()

    @property
    def last_s(self) -> float:
        return float(self.rows.time_s[-1]) if self.rows.time_s.size else -np.inf

    def step_s(self) -> float:
        steps = np.diff(self.rows.time_s[:_FIRST])
        return float(np.median(steps)) if steps.size else np.inf

    def pull(self) -> None:
        """Read the next block."""
        block = next(self._blocks, None)
        self.done = block is None
        more = self._order.finish() if block is None else self._order.push(block)
        if more is not None:
            self.rows = _appended(self.rows, more)

    def take(self, horizon: float) -> Block:
        """Return the rows before `horizon` and forget them."""
        cut = int(np.searchsorted(self.rows.time_s, horizon, side="left"))
        taken = _part(self.rows, slice(0, cut))
        self.rows = _part(self.rows, slice(cut, None))
        return taken


def _joined(parts: Sequence[Block], keys: Sequence[str], same: float, tally: Tally) -> Block:
    time = np.concatenate([part.time_s for part in parts])
    order = np.argsort(time, kind="stable")
    new = np.diff(time[order], prepend=-np.inf) > same
    row = np.empty(time.size, np.int64)
    row[order] = np.cumsum(new) - 1
    values: dict[str, FloatArray] = {}
    start = 0
    for part in parts:
        own = row[start : start + part.time_s.size]
        start += part.time_s.size
        tally.add(Loss.NOT_RISING, own.size - np.unique(own).size)
        for key, column in part.values.items():
            values[key] = np.full(int(row[order[-1]]) + 1, np.nan)
            values[key][own] = column
    return Block(time[order][new], {key: values[key] for key in keys})


def _part(block: Block, rows: slice) -> Block:
    return Block(block.time_s[rows], {key: values[rows] for key, values in block.values.items()})


def _appended(first: Block, second: Block) -> Block:
    if not first.values:
        return second
    return Block(
        np.concatenate((first.time_s, second.time_s)),
        {key: np.concatenate((first.values[key], column)) for key, column in second.values.items()},
    )
