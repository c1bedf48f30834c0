"""What heat takes for good, apart from what comes back on cooling.

The law follows mu up and down with temperature: that part comes back.  Whether mu is the
same again at the conditions before, once plates were hot and have cooled, is asked of the
runs before and after the first hot one of each pack.
"""

from __future__ import annotations

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.friction.conditions import Conditions
from rigdata.friction.diagnostics import findings
from rigdata.friction.diagnostics.drift import centred, run_numbers, run_spans
from rigdata.friction.diagnostics.findings import Finding
from rigdata.friction.diagnostics.offered import offered
from rigdata.friction.diagnostics.words import found, percent, plain
from rigdata.friction.joint import JointFit
from rigdata.friction.results import FrictionFit
from rigdata.reduction.points import FrictionPoints

_LEAST_HOTTER_K = 30.0  # above the reference
_LEAST_POINTS = 3  # before and after, in one pack


def recovery(fit: FrictionFit, joint: JointFit, points: FrictionPoints) -> Finding | None:
    """Return the change of mu at conditions that are not hot, from before to after heat.

    Parameters
    ----------
    fit : FrictionFit
    joint : JointFit
        What it was made from.
    points : FrictionPoints
        The points fitted, in their order.

    Returns
    -------
    Finding or None
        None where no pack was tested cool before and after a hot run.

    Notes
    -----
    A run is hot that reaches the upper half between the reference temperature and the
    hottest point, at least 30 K above the reference; points in the lower half are cool.
    A column that is 1 for cool points after the first hot run of their pack is offered
    to the fit, less its mean in each pack, and so are the others after it, apart.  What
    changes with every run, such as bedding-in or wear, cannot be told from it.
    """
    reference, hottest = fit.reference.temperature_c, float(points.temperature_c.max())
    middle = 0.5 * (reference + hottest)
    if middle < reference + _LEAST_HOTTER_K:
        return None
    after = _after_heat(points, middle)
    cool = points.temperature_c < middle
    enough = np.zeros(len(points), dtype=bool)
    for pack in dict.fromkeys(points.pack.tolist()):
        mine = (points.pack == pack) & cool
        enough |= mine & bool(
            min(np.sum(mine & (after > 0.0)), np.sum(mine & (after == 0.0))) >= _LEAST_POINTS
        )
    if not enough.any():
        return None
    columns = [centred(after, points.pack, chosen) for chosen in (enough, ~enough)]
    columns = [column for column in columns if column.any()]
    estimate = offered(joint, joint.curve[:, None] * np.stack(columns, axis=1))
    if estimate is None:
        return None
    where = f"after runs above {middle:.0f} degC than before them"
    told = found(
        findings.AFTER_HEAT,
        estimate,
        "1",
        more=f"cool again, mu is {{}} higher {where}",
        less=f"cool again, mu is {{}} lower {where}: that part did not come back",
        none=f"cool again, mu is what it was before runs above {middle:.0f} degC",
    )
    return _with_share(told, _heat(fit, hottest), hottest)


def _after_heat(points: FrictionPoints, middle: float) -> FloatArray:
    """Return 1 for points of runs after the first hot run of their pack, else 0, (n,)."""
    number, _, highest = run_spans(points.run, points.temperature_c, points.temperature_c)
    order, after = run_numbers(points), np.zeros(len(points))
    hot = highest[number] >= middle
    for pack in dict.fromkeys(points.pack.tolist()):
        mine = points.pack == pack
        if np.any(mine & hot):
            after[mine & (order > order[mine & hot].min())] = 1.0
    return after


def _heat(fit: FrictionFit, hottest: float) -> float | None:
    """Return what the law loses from the reference to the hottest point, relative to mu."""
    at = fit.reference
    both = Conditions(at.slip_speed_m_s, [at.temperature_c, hottest], at.pressure_mpa)
    cool, hot = fit.predict(both).mu.tolist()
    return 1.0 - hot / cool if hot < cool else None


def _with_share(told: Finding, heat: float | None, hottest: float) -> Finding:
    """Add what heat takes for the time being, where it takes something."""
    if heat is None:
        return told
    words = (
        f"{told.words}; the {percent(heat, max(told.u, 1e-3))} % that mu loses at "
        f"{plain(hottest)} degC comes back on cooling"
    )
    return Finding(**{**vars(told), "words": words})
