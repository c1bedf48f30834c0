"""Lock torque against input torque, on drive and on coast."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from rigdata.figures import style
from rigdata.lockup.description import LockPack
from rigdata.lockup.torque import COAST, DRIVE, lock_torque
from rigdata.tables.table import CoefficientTable

HEIGHT_IN = 3.6
_PLACES = 121


@style.styled()
def lock_figure(
    setups: Mapping[str, tuple[LockPack, CoefficientTable]], temperature_c: float, most_nm: float
) -> Figure:
    """Draw what several setups lock with.

    Parameters
    ----------
    setups : mapping of str to (LockPack, CoefficientTable)
        By name; all with the same ramps.
    temperature_c : float
        Of the plates. [degC]
    most_nm : float
        Input torque up to which to draw. [N m]

    Returns
    -------
    Figure
        One panel for drive and one for coast; lines end where friction was not tested, and
        above the slanting line the pack locks solid.
    """
    drawing = style.figure(HEIGHT_IN)
    panels = drawing.subplots(1, 2, sharey=True)
    torque = np.linspace(0.0, most_nm, _PLACES)
    marks = style.marks_of(setups)
    for panel, side in zip(panels, (DRIVE, COAST), strict=True):
        for name, (pack, table) in setups.items():
            look = marks[name]
            lock = lock_torque(pack, table, torque, temperature_c, side=side)
            panel.fill_between(
                torque, lock.low_nm, lock.high_nm, color=look.colour, alpha=0.18, lw=0
            )
            panel.plot(torque, lock.lock_nm, color=look.colour, ls=look.line)
        panel.plot(torque, torque, color=style.MUTED, lw=1.0, ls=(0, (4.0, 2.0)))
        angle = getattr(next(iter(setups.values()))[0].ramps, f"{side}_deg")
        panel.set_title(f"{side.capitalize()}, ramps {angle:g}\N{DEGREE SIGN}")
        panel.set_xlabel("Input torque [N m]")
        panel.set_xlim(0.0, most_nm)
    panels[0].set_ylim(bottom=0.0)
    panels[0].set_ylabel("Lock torque [N m]")
    key: list[Line2D | Patch] = [
        Line2D([], [], color=look.colour, ls=look.line, label=style.shortened(name, 48))
        for name, look in marks.items()
    ]
    key.append(Patch(color=style.MUTED, alpha=0.3, lw=0, label="mean of packs, 95 %"))
    dashes = (0, (4.0, 2.0))
    key.append(Line2D([], [], color=style.MUTED, lw=1.0, ls=dashes, label="solid lock above"))
    drawing.legend(handles=key, loc="outside lower center", ncols=2)
    return drawing
