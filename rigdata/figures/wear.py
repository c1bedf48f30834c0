"""Wear: what plates lose in service, how the coefficient goes with it, and how long packs last."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from rigdata.figures import style
from rigdata.wear.history import History
from rigdata.wear.life import FRICTION, MATING, MU, LimitLife, ServiceLife
from rigdata.wear.rates import WORK, WearRate
from rigdata.wear.readings import Plates

_LOOKS = {
    "friction": style.Mark(style.BLACK, "o", "-"),
    "mating": style.Mark(style.VERMILION, "^", (0, (6.0, 1.6))),
}
_ROW_IN = 0.34
_FAR = 2.2  # times the first life of the last material: the axis ends there
_STEPS = 60


@style.styled()
def service_lives(lives: Sequence[ServiceLife]) -> Figure:
    """Draw when each limit is met, with the interval for one more pack.

    Parameters
    ----------
    lives : sequence of ServiceLife
        One for each material, all on one duty.
    """
    count = sum(len(life.limits) + 1 for life in lives)
    drawing = style.figure(0.75 + _ROW_IN * count)
    axes = drawing.subplots()
    finite = [life.first for life in lives if np.isfinite(life.first.hours)]
    ends = [limit.high if np.isfinite(limit.high) else limit.hours for limit in finite]
    far = _FAR * max(ends, default=100.0)
    row, labels = 0.0, []
    for life in lives:
        labels.append((row, life.material))
        row -= 1.0
        for limit in life.limits:
            _life_row(axes, row, limit, far, first=limit is life.first)
            labels.append((row, f"{limit.what}, {_limit_words(limit)}"))
            row -= 1.0
    axes.set_yticks([y for y, _ in labels], [text for _, text in labels])
    names = {life.material for life in lives}
    for tick in axes.get_yticklabels():
        if tick.get_text() in names:
            tick.set_fontweight("bold")
    axes.set_ylim(row + 0.4, 0.6)
    axes.set_xlim(0.0, far)
    axes.grid(visible=False, axis="y")
    axes.tick_params(axis="y", length=0.0)
    axes.set_xlabel("Service time [h]")
    return drawing


def _life_row(axes: Axes, row: float, limit: LimitLife, far: float, *, first: bool) -> None:
    colour = style.VERMILION if first else style.INK
    if np.isfinite(limit.low):
        high = limit.high if np.isfinite(limit.high) else 2.0 * far
        axes.plot(
            [limit.low, high], [row, row], color=colour, lw=2.2 if first else 1.2, gid="interval"
        )
    if limit.hours <= far:
        axes.plot(
            [limit.hours],
            [row],
            ls="none",
            marker="D" if first else "o",
            color=colour,
            gid="expected life",
        )
        text = f"{limit.hours:.0f} h" + (", first" if first else "")
        at = limit.hours
    else:
        text = f"{limit.hours:.0f} h \N{RIGHTWARDS ARROW}" if np.isfinite(limit.hours) else "no end"
        at = 0.94 * far
    axes.annotate(
        text, (at, row), (0.0, 4.0), textcoords="offset points", ha="center", color=colour, size=8
    )


def _limit_words(limit: LimitLife) -> str:
    return f"{limit.limit:g}" if limit.what == MU else f"{limit.limit:g} mm"


@style.styled()
def wear_courses(
    plates: Mapping[tuple[str, str], Plates],
    rates: Mapping[tuple[str, str], WearRate],
    limits_um: Mapping[tuple[str, str], float],
    histories: Mapping[str, History],
) -> Figure:
    """Draw what plates lost and how the coefficient went, a column for each material.

    Parameters
    ----------
    plates, rates : mapping of (material, member)
        Readings, and the rates fitted to them.
    limits_um : mapping of (material, member) to float
        Thickness that may be lost. [um]
    histories : mapping of material to History
    """
    materials = list(dict.fromkeys([*(m for m, _ in rates), *histories]))
    rows = int(bool(rates)) + int(bool(histories))
    drawing = style.figure(2.5 * rows + 0.4)
    grid = drawing.subplots(rows, len(materials), squeeze=False, sharey="row")
    for column, material in enumerate(materials):
        grid[0][column].set_title(style.shortened(material, 34))
        if rates:
            for member in _LOOKS:
                if (material, member) in rates:
                    key = (material, member)
                    _losses(grid[0][column], plates[key], rates[key], limits_um.get(key))
        if material in histories:
            _mu_course(grid[-1][column], histories[material])
    if rates:
        grid[0][0].set_ylabel("Thickness lost [\N{MICRO SIGN}m]")
    if histories:
        grid[-1][0].set_ylabel("Friction coefficient")
    return drawing


def _losses(axes: Axes, plates: Plates, rate: WearRate, limit_um: float | None) -> None:
    look = _LOOKS[rate.member]
    member = MATING if rate.member == "mating" else FRICTION
    x = plates.work_mj if rate.per == WORK else plates.hours
    last = 0.0
    for name in dict.fromkeys(plates.plate[plates.followed].tolist()):
        own = np.flatnonzero((plates.plate == name) & plates.followed)
        own = own[np.argsort(x[own])]
        lost = 1e3 * (plates.thickness_mm[own[0]] - plates.thickness_mm[own])
        axes.plot(
            x[own],
            lost,
            ls="none",
            marker=look.marker,
            color=look.colour,
            alpha=0.75,
            gid=f"{member}, plate {name}",
        )
        last = max(last, float(x[own[-1]]))
    line = np.array([0.0, last])
    axes.fill_between(
        line,
        rate.low * line,
        rate.high * line,
        color=look.colour,
        alpha=0.15,
        lw=0,
        gid=f"{member}, rate, 95 % interval",
    )
    axes.plot(
        line,
        rate.rate * line,
        ls=look.line,
        color=look.colour,
        gid=f"{member}, rate, 95 % interval",
    )
    axes.annotate(
        member,
        (last, rate.rate * last),
        (-4.0, 5.0 if rate.member == "mating" else -12.0),
        textcoords="offset points",
        ha="right",
        color=look.colour,
        size=8.5,
    )
    if limit_um is not None:
        axes.axhline(limit_um, color=look.colour, lw=0.9, ls=":")
        axes.annotate(
            "limit",
            (0.0, limit_um),
            (3.0, 3.0),
            textcoords="offset points",
            size=8,
            color=style.INK,
        )
    axes.set_xlim(left=0.0)
    axes.set_xlabel(_service_label(rate.per))


def _mu_course(axes: Axes, course: History) -> None:
    levels = course.levels
    x = course.work_mj if course.per == WORK else levels.hours
    line = np.linspace(0.0, course.furthest, _STEPS)
    middle, low, high = course.log_mu(line, level=0.95)
    axes.fill_between(
        line,
        np.exp(low),
        np.exp(high),
        color=style.BLUE,
        alpha=0.18,
        lw=0,
        gid="course, 95 % interval",
    )
    axes.plot(line, np.exp(middle), color=style.BLUE, gid="course, 95 % interval")
    axes.plot(x, levels.mu, ls="none", marker="s", color=style.BLUE, gid="packs")
    for name, at, mu in zip(levels.pack.tolist(), x, levels.mu, strict=True):
        if at == 0.0:
            continue  # unused packs stand too close to each other to be named
        axes.annotate(
            style.shortened(name, 12), (at, mu), (4.0, 3.0), textcoords="offset points", size=7.5
        )
    axes.set_xlabel(_service_label(course.per))


def _service_label(per: str) -> str:
    return "Friction work of the pack [MJ]" if per == WORK else "Service time [h]"
