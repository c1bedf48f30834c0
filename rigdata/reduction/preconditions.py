"""Whether a run happened at all as its procedure says."""

from __future__ import annotations

import numpy as np

from rigdata.errors import ReductionError
from rigdata.reduction.corrections import CorrectedRun
from rigdata.reduction.stretches import runs_of

_LEAST_LOAD_N = 20.0


def check_run(corrected: CorrectedRun) -> None:
    """Raise where a channel shows that the run did not happen as its procedure says.

    Raises
    ------
    ReductionError
        Clamp load that never rises, plates that never slip, or torque against
        the direction of slip.
    """
    where = f"run {corrected.run.id}"
    good = corrected.usable
    load = corrected.load.values[good]
    idle = corrected.idle.start
    idle_noise = float(corrected.load.values[idle.frames].std()) if idle is not None else 0.0
    top_load = float(np.percentile(load, 99))
    if top_load < max(_LEAST_LOAD_N if idle is not None else 0.0, 10 * idle_noise):
        raise ReductionError(
            f"clamp load never rises: at most {top_load:.0f} N after its zero",
            where=where,
            expected=f"a pressed pack in a {corrected.run.procedure} run",
            do="Check the clamp and the load cell, then repeat the run.",
        )
    speed = np.abs(corrected.speed.values[good])
    if not _moves(corrected):
        raise ReductionError(
            "slip speed never leaves zero",
            where=where,
            expected=f"slipping plates in a {corrected.run.procedure} run",
            do="Check the speed pickup and the drive, then repeat the run.",
        )
    slip = good & (corrected.load.values > 0.5 * top_load)
    slip &= np.abs(corrected.speed.values) > 0.05 * float(speed.max())
    if slip.any():
        sense = float(
            np.mean(np.sign(corrected.speed.values[slip]) * corrected.torque.values[slip])
        )
        if sense < 0:
            raise ReductionError(
                f"torque is against the direction of slip ({sense:.0f} N*m on average)",
                where=where,
                expected="torque and slip speed with the same sign",
                do="Check the wiring of the torque cell or the sign of its calibration record.",
            )


def _moves(corrected: CorrectedRun) -> bool:
    """Whether the speed rises clear of its idle noise for a few frames in a row."""
    speed = np.abs(corrected.speed.values)
    floor = 2 * corrected.rest_speed
    return any(len(stretch) >= 3 for stretch in runs_of(corrected.usable & (speed > floor)))
