"""The profiles of parameters: how much worse the points are followed away from the fitted value."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from scipy.interpolate import PchipInterpolator

from rigdata.arrays import FloatArray
from rigdata.figures import style
from rigdata.friction.laws.base import LawParameter
from rigdata.friction.profiles import ParameterProfile

_COLUMNS = 3
_PANEL_IN = 1.75
_TOP = 2.2  # of the deviance, in that at the limits
_WIDE = 4.0  # ratio of the values drawn from which a scale is drawn as one
_PLACES = 150


@dataclass(frozen=True)
class ProfilePanel:
    """One panel: the group that stands above it, and the parameter with its profile."""

    title: str
    parameter: LawParameter
    profile: ParameterProfile


@style.styled()
def parameter_profiles(panels: Sequence[ProfilePanel]) -> Figure:
    """Draw the deviance against the parameter, 1 at the 95 % limits, one panel each.

    Beside it the parabola of the symmetric interval.  Where the line stays below 1 as
    far as it was followed, the points set no limit.
    """
    columns = min(_COLUMNS, len(panels))
    rows = -(-len(panels) // columns)
    drawing = style.figure(0.7 + _PANEL_IN * rows)
    grid = drawing.subplots(rows, columns, sharey=True, squeeze=False)
    for axes, panel in zip(grid.ravel(), panels, strict=False):
        _draw(axes, panel)
    for axes in grid.ravel()[len(panels) :]:
        axes.set_axis_off()
    drawing.supylabel("Deviance, 1 at the 95 % limits", fontsize=9.0)
    drawing.legend(handles=_key(), loc="outside lower center", ncols=4)
    return drawing


def _draw(axes: Axes, panel: ProfilePanel) -> None:
    profile, parameter = panel.profile, panel.parameter
    at, deviance = _curve(profile, log=_scale(panel))
    axes.axhline(1.0, color=style.MUTED, lw=1.0, ls=(0, (4.0, 2.0)))
    axes.plot(at, deviance, color=style.BLACK, gid="profile")
    if profile.half_width is not None:
        parabola = ((at - profile.value) / profile.half_width) ** 2
        axes.plot(at, parabola, color=style.BLUE, lw=1.0, ls=(0, (3.0, 1.3)), gid="parabola")
    axes.plot(
        profile.value, 0.0, color=style.BLACK, marker="o", ls="none", clip_on=False, gid="value"
    )
    limits = [limit for limit in (profile.low, profile.high) if limit is not None]
    axes.plot(
        limits,
        np.ones(len(limits)),
        color=style.VERMILION,
        marker="|",
        ms=9.0,
        ls="none",
        gid="limits",
    )
    axes.set_ylim(0.0, _TOP)
    if _scale(panel):
        style.log_speed_axis(axes)
    unit = f" [{parameter.unit}]" if parameter.unit != "1" else ""
    axes.set_xlabel(style.typeset_unit(f"{profile.name} of the {profile.law} law{unit}"))
    axes.set_title(style.shortened(panel.title, 30), fontsize=8.5)
    for opened, side, place in (
        (profile.low_open, "lower", 0.03),
        (profile.high_open, "upper", 0.97),
    ):
        if opened:
            axes.annotate(
                f"no {side} limit",
                xy=(place, 0.93),
                xycoords="axes fraction",
                ha="left" if side == "lower" else "right",
                va="top",
                fontsize=8.5,
                color=style.VERMILION,
            )


def _scale(panel: ProfilePanel) -> bool:
    at = panel.profile.at
    return bool(panel.parameter.low > 0.0 and at[-1] > _WIDE * at[0])


def _curve(profile: ParameterProfile, *, log: bool) -> tuple[FloatArray, FloatArray]:
    """Return places and the deviance there, in that at the limits, as far as it is drawn."""
    known = np.log(profile.at) if log else profile.at
    root = PchipInterpolator(known, profile.root / profile.threshold)
    places = np.linspace(known[0], known[-1], _PLACES)
    deviance = root(places) ** 2
    seen = deviance <= _TOP
    places, deviance = places[seen], deviance[seen]
    return (np.exp(places) if log else places), deviance


def _key() -> list[Line2D]:
    return [
        Line2D([], [], color=style.BLACK, label="the others refitted"),
        Line2D([], [], color=style.BLUE, lw=1.0, ls=(0, (3.0, 1.3)), label="symmetric interval"),
        Line2D([], [], color=style.MUTED, lw=1.0, ls=(0, (4.0, 2.0)), label="95 %"),
        Line2D([], [], color=style.VERMILION, marker="|", ms=9.0, ls="none", label="limits"),
    ]
