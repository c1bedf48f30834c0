"""Numbers that a logger writes where it has no reading.

Over range is told apart: what instruments write for it (9.9E37) is dealt with
where samples are flagged, its texts in `rigdata.logs.numerals`.
"""

from __future__ import annotations

import numpy as np

from rigdata.campaign.rig import LogSettings
from rigdata.logs.block import Block, Loss, Tally

# Common practice, no source.
MISSING_VALUES = (-9999.0, -99999.0, -999999.0)


def missing_values(settings: LogSettings) -> tuple[float, ...]:
    """Return the numbers that stand for no reading in logs written as `settings` say."""
    stated = settings.missing_values
    return MISSING_VALUES if stated is None else stated


def without_sentinels(block: Block, numbers: tuple[float, ...], tally: Tally) -> Block:
    """Return the block with NaN in place of the numbers that stand for no reading.

    A column that reaches none of them costs one look for its lowest and highest value.
    """
    if not numbers or block.time_s.size == 0:
        return block
    values = dict(block.values)
    for key, column in block.values.items():
        low, high = np.fmin.reduce(column), np.fmax.reduce(column)
        near = [number for number in numbers if low <= number <= high]
        found = np.isin(column, near) if near else None
        if found is not None and found.any():
            values[key] = np.where(found, np.nan, column)
            names = [f"{number:g}" for number in near if (column == number).any()]
            tally.add(Loss.SENTINEL, int(np.count_nonzero(found)), names)
    return Block(block.time_s, values)
