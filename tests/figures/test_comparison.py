"""One look at two materials: curves cold and hot, ratios, traits, all named and with units."""

from dataclasses import replace
from xml.etree import ElementTree

import pytest

from rigdata.comparison.standings import standings
from rigdata.figures.comparison import comparison
from rigdata.figures.style import marks_of
from rigdata.figures.svg import inline_svg
from rigdata.friction.results import Group

PLAIN, ROUGH, WORN = Group("plain", "new"), Group("rough", "new"), Group("rough", "worn")


def texts(figure):
    """Every text of a figure, as it stands in its SVG."""
    svg = inline_svg(figure, name="f", title="t", description="d").markup
    return [n.text for n in ElementTree.fromstring(svg).iter("{http://www.w3.org/2000/svg}text")]


@pytest.fixture(scope="module")
def drawing(compared):
    rough, in_service, traits, laws = compared
    return comparison([rough], [in_service], traits, laws, marks_of([PLAIN, ROUGH, WORN]))


def test_materials_temperatures_margin_and_units_are_named(compared, drawing):
    shown = texts(drawing)
    rough, _, traits, _ = compared
    places = standings(rough)
    assert [place.name for place in places] == ["cold", "quoted", "hot"]
    for place in places:
        title = f"new, {place.at}".replace("degC", "\N{DEGREE SIGN}C")
        assert shown.count(title) == 2, title  # over a panel and beside a row
        assert place.grips in shown
    drawn = [one for one in traits if one.measured is not None]
    assert shown.count("rough") >= len(places) + len(drawn)  # direct labels, and beside dots
    assert {"Slip speed [m/s]", "Friction coefficient", "rough, worn/new"} <= set(shown)
    assert "Grip of rough over plain" in shown
    assert "More grip [%]; hatched: equivalent within 5 %" in shown
    for one in drawn:
        unit = "" if one.unit == "1" else f" [{one.unit}]"
        assert f"{one.trait}{unit}: {one.meaning or one.verdict}" in shown


def test_dots_stand_at_the_ratios_and_whiskers_over_their_bands(compared, drawing):
    rough, in_service, *_ = compared
    (axes,) = [a for a in drawing.axes if a.get_title(loc="right").startswith("Grip of")]
    dots = [line for line in axes.lines if line.get_marker() not in ("None", "")]
    expected = [*(place.ratio for place in standings(rough)), float(in_service.ratio[0])]
    assert [float(dot.get_xdata()[0]) for dot in dots] == pytest.approx(
        [100.0 * (value - 1.0) for value in expected]
    )
    bars = [line for line in axes.lines if len(line.get_xdata()) == 2 and line.get_lw() == 1.6]
    low, high = zip(*(bar.get_xdata() for bar in bars), strict=True)
    cold = standings(rough)[0]
    assert (low[0], high[0]) == pytest.approx((100 * (cold.low - 1), 100 * (cold.high - 1)))


def test_names_are_written_clear_of_the_bands(drawing):
    panels = [axes for axes in drawing.axes if axes.get_ylabel() == "Friction coefficient"]
    assert len(panels) == 3
    for panel in panels:
        above, below = sorted(panel.texts, key=lambda text: -text.xy[1])
        assert (above.get_text(), below.get_text()) == ("rough", "plain")
        assert above.get_va() == "bottom"
        assert below.get_va() == "top"


def test_traits_that_were_not_compared_take_no_room(compared):
    rough, _, traits, laws = compared
    none = [replace(one, measured=None) for one in traits]
    marks = marks_of([PLAIN, ROUGH, WORN])
    drawing = comparison([rough], [], none, laws, marks)
    assert len(drawing.axes) == len(standings(rough)) + 1
    assert "rough, worn/new" not in texts(drawing)
