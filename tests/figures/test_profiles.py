"""The figure of profiles: a panel each, limits marked, open sides named."""

from xml.etree import ElementTree

import numpy as np
import pytest

from rigdata.figures.profiles import ProfilePanel, parameter_profiles
from rigdata.figures.svg import inline_svg
from rigdata.friction.laws.stribeck import LAW
from rigdata.friction.profiles import ParameterProfile


def panel(name, at, root, low, high, low_open="", high_open=""):
    parameter = LAW.parameters[LAW.names.index(name)]
    at, root = np.array(at), np.array(root)
    value = float(at[root == 0.0][0])
    half = 2.0 * value / 10.0
    own = ParameterProfile(
        "stribeck", name, value, half, low, high, low_open, high_open, 2.0, at, root
    )
    return ProfilePanel("rough (new)", parameter, own)


def texts(figure):
    svg = inline_svg(figure, name="f", title="t", description="d").markup
    return [n.text for n in ElementTree.fromstring(svg).iter("{http://www.w3.org/2000/svg}text")]


def test_each_parameter_has_a_panel_with_its_unit_and_open_sides_are_named():
    figure = parameter_profiles(
        [
            panel("v_s", [1e-4, 1e-3, 0.02, 0.03], [-0.2, -0.2, 0.0, 2.0], None, 0.03, "level"),
            panel("d", [0.8, 1.0, 1.3], [-2.0, 0.0, 2.0], 0.8, 1.3),
        ]
    )
    shown = texts(figure)
    assert {"v_s of the stribeck law [m/s]", "d of the stribeck law"} <= set(shown)
    assert shown.count("no lower limit") == 1
    assert "no upper limit" not in shown
    speed, exponent = figure.axes[:2]
    assert (speed.get_xscale(), exponent.get_xscale()) == ("log", "linear")


def test_the_line_is_the_square_of_the_root_in_that_at_the_limits():
    """Straight roots are a parabola, which the symmetric interval draws too."""
    figure = parameter_profiles([panel("d", [0.8, 1.0, 1.2], [-2.0, 0.0, 2.0], 0.8, 1.2)])
    (axes,) = [axes for axes in figure.axes if axes.axison]
    level, profile, parabola, _, limits = axes.lines
    assert set(np.ravel(level.get_ydata())) == {1.0}
    expected = ((profile.get_xdata() - 1.0) / 0.2) ** 2
    assert profile.get_ydata() == pytest.approx(expected, abs=1e-9)
    assert parabola.get_ydata() == pytest.approx(expected, abs=1e-9)
    assert limits.get_xdata().tolist() == [0.8, 1.2]
