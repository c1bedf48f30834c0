"""One run at a glance: three strips, small and quick enough for a hundred on a page.

Written as SVG by hand: a strip needs no axes, only its name and its range.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from xml.etree import ElementTree

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.figures.svg import InlineSvg
from rigdata.reduction.trace import Trace, TraceWindow

_WIDTH, _HEIGHT = 420, 132
_LEFT, _RIGHT = 62, 330  # where the strips begin and end; names to the left, ranges to the right
_TOP, _STRIP, _GAP = 4, 32, 6
_COLUMNS = 268  # one pair of extremes a pixel


def run_glance(trace: Trace, *, name: str, title: str) -> InlineSvg:
    """Return torque, clamp load and slip speed against time, with the windows shaded.

    Parameters
    ----------
    trace : Trace
    name : str
        Prefix of its ids; unique on the page; lower-case letters, digits and ``-``.
    title : str
        What it is, in a few words.

    Notes
    -----
    Windows that became friction points are shaded, those not used are drawn in outline.
    """
    root = ElementTree.Element(
        "svg",
        {
            "viewBox": f"0 0 {_WIDTH} {_HEIGHT}",
            "role": "img",
            "aria-labelledby": f"{name}-title",
            "style": "font-size: 11px; fill: var(--ink)",
        },
    )
    ElementTree.SubElement(root, "title", id=f"{name}-title").text = title
    start, end = float(trace.time_s[0]), float(trace.time_s[-1])
    scale = (_RIGHT - _LEFT) / max(end - start, 1e-9)
    bottom = _TOP + 3 * (_STRIP + _GAP) - _GAP
    for window in trace.windows:
        root.append(_shade(window, _LEFT + (window.start_s - start) * scale, scale, bottom))
    strips = (
        ("torque", trace.torque_nm, "N\N{MIDDLE DOT}m", "black"),
        ("load", trace.clamp_load_n / 1e3, "kN", "blue"),
        ("slip", trace.slip_speed_rad_s, "rad/s", "vermilion"),
    )
    for row, (word, values, unit, colour) in enumerate(strips):
        top = _TOP + row * (_STRIP + _GAP)
        places = _LEFT + (trace.time_s - start) * scale
        root.append(_course(places, values, top, colour))
        low, high = float(np.nanmin(values)), float(np.nanmax(values))
        middle = top + _STRIP / 2.0 + 4.0
        root.append(_text(_LEFT - 8, middle, word, anchor="end"))
        root.append(_text(_RIGHT + 8, middle, f"{_range(low, high)} {unit}"))
    root.append(_text(_LEFT, bottom + 13, f"{start:.0f} s"))
    root.append(_text(_RIGHT, bottom + 13, f"{end:.0f} s", anchor="end"))
    return InlineSvg(ElementTree.tostring(root, encoding="unicode"))


def _course(places: FloatArray, values: FloatArray, top: int, colour: str) -> ElementTree.Element:
    """Return a line through the extremes of each pixel: what is short is seen too."""
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    heights = top + _STRIP * (1.0 - (values - low) / max(high - low, 1e-9))
    known = ~np.isnan(values)
    x, y = places[known], heights[known]
    cut = np.unique(np.searchsorted(x, np.linspace(_LEFT, _RIGHT, _COLUMNS)).clip(0, x.size - 1))
    pairs: Iterable[tuple[float, float]] = zip(x.tolist(), y.tolist(), strict=True)
    if x.size > 2 * _COLUMNS:
        highest, lowest = np.minimum.reduceat(y, cut), np.maximum.reduceat(y, cut)
        pairs = ((x[at], end) for at, ends in zip(cut, zip(highest, lowest, strict=True),
                                                  strict=True) for end in ends)  # fmt: skip
    drawn = " ".join(f"{at:.0f},{height:.1f}" for at, height in pairs)
    look = f"fill: none; stroke: var(--{colour}); stroke-width: 1"
    return ElementTree.Element("polyline", {"points": drawn, "style": look})


def _shade(window: TraceWindow, left: float, scale: float, bottom: int) -> ElementTree.Element:
    look = "fill: var(--purple); fill-opacity: 0.22"
    if not window.used:
        look = "fill: none; stroke: var(--muted); stroke-width: 0.5; stroke-dasharray: 2 2"
    width = max(1.0, (window.end_s - window.start_s) * scale)
    place = {"x": f"{left:.1f}", "y": f"{_TOP}", "width": f"{width:.1f}"}
    return ElementTree.Element("rect", {**place, "height": f"{bottom - _TOP}", "style": look})


def _text(x: float, y: float, words: str, *, anchor: str = "start") -> ElementTree.Element:
    node = ElementTree.Element("text", {"x": f"{x:g}", "y": f"{y:g}", "text-anchor": anchor})
    node.text = words
    return node


def _range(low: float, high: float) -> str:
    """Return both ends with two digits of the larger, more where it is above 100."""
    largest = max(abs(low), abs(high), 1e-9)
    decimals = max(0, 1 - math.floor(math.log10(largest)))
    ends = (f"{round(end, decimals) + 0.0:.{decimals}f}" for end in (low, high))  # no "-0"
    return " to ".join(ends)
