"""Pieces put together in one array, whatever was expected."""

import numpy as np
import pytest

from rigdata.logs.gathered import Gathered


@pytest.mark.parametrize("expected", [0, 1, 6, 10, 1000])
def test_pieces_come_out_in_their_order(expected):
    held = Gathered(np.int64, expected)
    for piece in ([1, 2, 3], [], [4], [5, 6, 7, 8, 9, 10]):
        held.add(np.array(piece, np.int64))
    assert held.all().tolist() == [*range(1, 11)]
    assert held.all().dtype == np.int64


def test_none_is_none():
    assert Gathered(np.float64, 5).all().size == 0
