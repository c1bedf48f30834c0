"""Rows in rising time: the rest is dropped and counted."""

from __future__ import annotations

import numpy as np

from rigdata.arrays import BoolArray, FloatArray
from rigdata.logs.block import Block, Loss, Tally

LATEST_S = 1e12  # 30 000 years; a later time is none


class RisingRows:
    """Passes on the rows whose time rises, block by block.

    A row without a time is dropped.  A single time that lies above the two that
    follow, while those go on from the one before, is a fault of its own and
    dropped; any other row whose time is not above all before it is dropped too.
    """

    def __init__(self, tally: Tally) -> None:
        self._tally = tally
        self._pending: Block | None = None
        self._before = -np.inf  # time of the last row dealt with, dropped or not
        self._latest = -np.inf  # highest time passed on
        self._lost: list[FloatArray] = []

    @property
    def lost_s(self) -> FloatArray:
        """Times of the rows dropped because they do not rise, as they came. [s]"""
        return np.concatenate([np.empty(0), *self._lost])

    def push(self, block: Block) -> Block:
        """Return the rows that can be judged now; the last two wait for what follows."""
        time = block.time_s
        known = np.abs(time) < LATEST_S
        if not known.all():
            self._tally.add(Loss.NO_TIME, int(np.count_nonzero(~known)))
            block = _chosen(block, known)
        if self._pending is not None:
            block = _joined(self._pending, block)
        ready = max(0, block.time_s.size - 2)
        self._pending = _part(block, ready, block.time_s.size)
        return self._judged(block, ready)

    def finish(self) -> Block | None:
        """Return the rows that still wait."""
        if self._pending is None:
            return None
        return self._judged(self._pending, self._pending.time_s.size)

    def _judged(self, block: Block, ready: int) -> Block:
        time = block.time_s
        done = _part(block, 0, ready)
        if ready == 0:
            return done
        if time[0] > max(self._before, self._latest) and bool((np.diff(time) > 0.0).all()):
            self._before = self._latest = float(time[ready - 1])
            return done
        keep = ~_ahead_of_time(time, self._before)[:ready]
        usable = np.where(keep, time[:ready], -np.inf)
        before = np.maximum.accumulate(np.concatenate(([self._latest], usable)))
        keep &= usable > before[:-1]
        self._before, self._latest = float(time[ready - 1]), float(before[-1])
        lost = time[:ready][~keep]
        self._lost.append(lost)
        self._tally.add(Loss.NOT_RISING, lost.size, [f"{t:.10g} s" for t in lost[:5]])
        return _chosen(done, keep)


def _ahead_of_time(time_s: FloatArray, before: float) -> BoolArray:
    """Return the single times above the next two, where those go on from the one before."""
    found = np.zeros(time_s.size, np.bool_)
    if time_s.size > 2:
        previous = np.concatenate(([before], time_s[:-3]))
        this, after, later = time_s[:-2], time_s[1:-1], time_s[2:]
        found[:-2] = (this > later) & (later > after) & (after > previous)
    return found


def _chosen(block: Block, rows: BoolArray) -> Block:
    return Block(block.time_s[rows], {key: values[rows] for key, values in block.values.items()})


def _part(block: Block, start: int, stop: int) -> Block:
    part = slice(start, stop)
    return Block(block.time_s[part], {key: values[part] for key, values in block.values.items()})


def _joined(first: Block, second: Block) -> Block:
    return Block(
        np.concatenate((first.time_s, second.time_s)),
        {k: np.concatenate((first.values[k], v)) for k, v in second.values.items()},
    )
