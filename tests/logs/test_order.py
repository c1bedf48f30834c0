"""Rows in rising time, whatever the blocks they come in."""

import numpy as np
import pytest

from rigdata.logs.block import Block, Loss, Tally
from rigdata.logs.order import RisingRows


def passed(times, sizes):
    """Push `times` in blocks of these sizes and return the times passed on and the tally."""
    tally = Tally()
    order = RisingRows(tally)
    times = np.asarray(times, dtype=float)
    parts, start = [], 0
    while start < times.size:
        size = sizes[len(parts) % len(sizes)]
        part = times[start : start + size]
        parts.append(order.push(Block(part, {"a": part * 2.0})))
        start += size
    parts.append(order.finish())
    time = np.concatenate([part.time_s for part in parts])
    np.testing.assert_array_equal(np.concatenate([part.values["a"] for part in parts]), time * 2.0)
    return list(time), tally


SIZES = [(1,), (2,), (3, 1), (5,), (100,)]


@pytest.mark.parametrize("sizes", SIZES)
@pytest.mark.parametrize(
    ("times", "kept"),
    [
        ([0, 1, 2, 3, 4], [0, 1, 2, 3, 4]),
        ([0, 1, 1, 2, 2, 2, 3], [0, 1, 2, 3]),
        ([0, 1, 2, 1, 2, 3, 4], [0, 1, 2, 3, 4]),
        ([0, 1, 99, 2, 3, 4], [0, 1, 2, 3, 4]),
        ([99, 0, 1, 2, 3], [0, 1, 2, 3]),
        ([0, 1, 2, 99], [0, 1, 2, 99]),
        ([0, np.nan, 1, np.nan, np.inf, 2], [0, 1, 2]),
        ([3, 2, 1], [3]),
        ([0, 1, 50, 51, 2, 3, 52], [0, 1, 50, 51, 52]),
    ],
)
def test_rows_that_rise(times, kept, sizes):
    found, _ = passed(times, sizes)
    assert found == kept


def test_every_row_dropped_is_counted():
    _, tally = passed([0, np.nan, 1, 1, 99, 2, 3, 0.5], (3,))
    assert tally[Loss.NO_TIME] == 1
    assert tally[Loss.NOT_RISING] == 3
    text = str(tally.notices("log")[-1])
    assert "(1 s, 99 s, 0.5 s)" in text


def test_random_times_do_not_depend_on_the_blocks():
    rng = np.random.default_rng(6)
    times = np.arange(400.0)
    times[rng.integers(0, 400, 60)] += rng.choice([-50.0, -1.0, 1.0, 500.0], 60)
    whole, _ = passed(times, (400,))
    assert np.all(np.diff(whole) > 0.0)
    for sizes in SIZES:
        assert passed(times, sizes)[0] == whole
