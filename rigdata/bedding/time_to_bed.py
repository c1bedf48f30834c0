"""From the packs tested to the sliding work that one more pack will take to bed in."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy import stats

from rigdata.bedding.results import BEDDED, PackBedding, TimeToBed
from rigdata.friction.results import Group
from rigdata.uncertainty.degrees import coverage_factor

LEVEL = 0.95
_NORMAL = float(coverage_factor(math.inf, LEVEL))
_LEAST = 0.01  # of the upper end: where the lower is at the very start


def time_to_bed(group: Group, packs: Sequence[PackBedding]) -> TimeToBed | None:
    """Return the work to bed in of a group; None where no pack was found to be bedded.

    Parameters
    ----------
    group : Group
    packs : sequence of PackBedding
        All packs of the group.

    Notes
    -----
    ln of the work is taken to be normal over packs, so Student's t on the logarithms
    gives the interval of the median and, with ``sqrt(1 + 1 / n)``, that of one more
    pack.  Both hold the error of each pack's own figure.  Where packs lie closer
    together than their own intervals let them, the rest of these is taken to be
    shared, as an error of what the conditions do is by packs that went through the
    same runs, and is added to both.

    Work goes by the area of the faces, which packs of unlike size have in common; it is
    told for the median area.  A single pack has its own interval and no other.
    """
    bedded = [one for one in packs if one.verdict == BEDDED and one.work_kj > 0.0]
    if not bedded:
        return None
    n, others = len(bedded), len(packs) - len(bedded)
    per_area = np.array([one.work_j_mm2 for one in bedded])
    area = float(np.median([one.work_kj for one in bedded] / per_area))
    logs = np.log(per_area)
    middle = area * float(np.exp(logs.mean()))
    if n == 1:
        ends, more = (bedded[0].low_kj, bedded[0].high_kj), (np.nan, np.nan)
    else:
        scatter = float(logs.var(ddof=1))
        own = np.mean([_log_u(one) ** 2 for one in bedded])
        shared = _NORMAL**2 * max(float(own) - scatter, 0.0)
        t_squares = float(stats.t.ppf(0.5 * (1.0 + LEVEL), n - 1)) ** 2 * scatter
        median, further = np.exp(np.sqrt(t_squares * np.array([1.0, n + 1.0]) / n + shared))
        ends = middle / float(median), middle * float(median)
        more = middle / float(further), middle * float(further)
    words = f"{group}: steady after {middle:.0f} kJ of sliding work"
    if n > 1:
        words += (
            f" ({ends[0]:.0f} to {ends[1]:.0f}, median of {n} packs); one more pack after "
            f"{more[0]:.0f} to {more[1]:.0f} kJ"
        )
    else:
        words += " in the one pack that shows it"
    return TimeToBed(group, n, others, middle, *ends, *more, middle / area, words)


def _log_u(one: PackBedding) -> float:
    """Return the standard uncertainty of ln of the work of a pack, by its interval."""
    return float(np.log(one.high_kj / max(one.low_kj, _LEAST * one.high_kj)) / (2.0 * _NORMAL))
