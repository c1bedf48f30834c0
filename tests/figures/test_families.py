"""Every figure family draws what it is given, and says so in labels with units."""

from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest

from rigdata.bedding.results import BEDDED, NOT_YET, PackBedding
from rigdata.errors import ResultError
from rigdata.figures import (
    bedding,
    breakaway,
    budget,
    curves,
    laws,
    quality,
    residuals,
    ripple,
    run_trace,
    style,
)
from rigdata.figures import ratio as ratio_figure
from rigdata.figures.svg import inline_svg, svg_file
from rigdata.friction.causes import Budget, Cause
from rigdata.friction.results import Group, fitted_points
from rigdata.friction.ripple import ripple_windows
from rigdata.friction.static import fit_static
from rigdata.friction.stick_slip import find_stick_slip
from rigdata.reduction.points import concatenate
from rigdata.reduction.trace import TraceWindow
from rigdata.uncertainty.sources import Scope

GROUP = Group("rough", "new")


def texts(figure):
    """Every text of a figure, as it stands in its SVG."""
    svg = inline_svg(figure, name="f", title="t", description="d").markup
    return [n.text for n in ElementTree.fromstring(svg).iter("{http://www.w3.org/2000/svg}text")]


def test_ripple_tells_loud_windows_from_quiet_and_marks_the_onset(points, marks, reference):
    slow = points.slip_speed_m_s < 0.2
    told = replace(points, torque_ripple=np.where(slow, 0.1, 0.004), stick_share=0.0 * points.mu)
    windows, found = ripple_windows(told), find_stick_slip(told, {}, reference)
    assert found[GROUP].onset is not None
    figure = ripple.ripple_over_speed(windows, found, marks)
    shown = texts(figure)
    assert "Slip speed [m/s]" in shown
    assert "Torque ripple [% of mean torque]" in shown
    assert {"rough (new)", "solid: oscillates", "hollow: runs quietly"} <= set(shown)
    assert "onset, 95 % interval" in shown
    (axes,) = figure.axes
    line = [drawn for drawn in axes.lines if len(drawn.get_xdata()) == 2 and drawn.get_ls() == "-"]
    assert found[GROUP].onset.speed_m_s in [float(drawn.get_xdata()[0]) for drawn in line]
    quiet = {GROUP: replace(found[GROUP], onset=None)}
    assert "onset, 95 % interval" not in texts(ripple.ripple_over_speed(windows, quiet, marks))


def test_speed_curve_names_groups_packs_and_axes(points, fits, reference, marks):
    shown = texts(curves.speed_curve(points, fits, reference, marks))
    assert "Slip speed [m/s]" in shown
    assert "Friction coefficient" in shown
    assert "rough (new)" in shown
    assert "pack A$x_1$ & co" in shown


@pytest.mark.parametrize(
    ("coordinate", "label"),
    [("temperature_c", "Plate temperature [°C]"), ("pressure_mpa", "Face pressure [MPa]")],
)
def test_condition_curve_names_its_axis(points, fits, reference, marks, coordinate, label):
    assert label in texts(curves.condition_curve(points, fits, reference, marks, coordinate))


def test_a_curve_is_the_law_with_the_other_two_at_the_reference(fits, reference):
    curve = laws.along(fits[GROUP], "slip_speed_m_s", np.array([0.1]), reference)
    assert curve.mu[0] == pytest.approx(fits[GROUP].parameters["mu0"])
    assert curve.mean_low[0] < curve.mu[0] < curve.mean_high[0]
    assert curve.next_pack_low[0] < curve.mean_low[0]
    assert curve.inside[0]


def test_a_curve_goes_a_little_beyond_what_was_tested_and_says_so(points, fits, reference):
    own = points.select(laws.points_of(points, GROUP))
    places = laws.tested_places(own, "slip_speed_m_s", 50)
    curve = laws.along(fits[GROUP], "slip_speed_m_s", places, reference)
    assert places[0] < 0.01
    assert places[-1] > 1.0
    assert not curve.inside[[0, -1]].any()
    assert curve.inside[25]


def test_points_on_the_law_stay_on_it_when_moved_to_the_reference(points, fits, reference):
    fit = fits[GROUP]
    own = points.select(laws.points_of(points, GROUP))
    moved = laws.moved_to_reference(own, fit, "temperature_c", reference)
    law = laws.along(fit, "temperature_c", own.temperature_c, reference).mu
    by_name = dict(zip(fit.point.tolist(), fit.residual.tolist(), strict=True))
    assert moved / law - 1.0 == pytest.approx([by_name[name] for name in own.point.tolist()])


def test_only_used_kinetic_points_are_drawn(points):
    chosen = points.select(laws.points_of(points, GROUP))
    assert set(chosen.kind) == {"kinetic"}
    assert "bedding" not in chosen.procedure


def test_budget_bars_rank_causes_and_keep_small_ones_in_sight(marks):
    shares = {GROUP: {"drag": 0.0004, "clamp load": 0.7, "torque": 0.2996}}
    shown = texts(budget.budget_bars(shares, marks))
    names = [text for text in shown if text in shares[GROUP]]
    assert names == ["clamp load", "torque", "drag"]
    assert {"70 %", "30 %", "< 1 %", "Share of variance [%]"} <= set(shown)


def test_pulls_show_the_largest_only(marks):
    values = [(GROUP, f"zero:R{i:03d}", 0.05 * i) for i in range(40)]
    shown = texts(quality.pulls(values, marks))
    assert "zero:R039" in shown
    assert "zero:R001" not in shown
    assert sum(text.startswith("zero:") for text in shown) == 24


def test_a_trace_numbers_its_windows(trace):
    shown = texts(run_trace.run_trace(trace))
    assert {"1", "2", "Clamp load [kN]", "Slip speed [rad/s]", "Time [s]"} <= set(shown)


def test_numbers_of_many_windows_are_thinned(trace):
    windows = tuple(
        type(trace.windows[0])(f"R1/{i + 1}", float(i), i + 0.5, used=True) for i in range(90)
    )
    crowded = replace(trace, windows=windows)
    shown = texts(run_trace.run_trace(crowded))
    assert {"1", "5", "89"} <= set(shown)
    assert "2" not in shown


def settled(pack, high_kj):
    work = np.geomspace(5.0, 400.0, 30)
    course = 1.0 - 0.08 * np.exp(-work / 40.0)
    return PackBedding(
        pack=pack,
        group=GROUP,
        verdict=BEDDED if np.isfinite(high_kj) else NOT_YET,
        words="",
        work_kj=83.0,
        low_kj=75.0,
        high_kj=high_kj,
        work_j_mm2=2.3,
        engagements=7.0,
        sliding_min=0.4,
        runs=1 if np.isfinite(high_kj) else 0,
        change=-0.07,
        u_change=0.002,
        least=False,
        n_points=30,
        n_runs=3,
        course_kj=work,
        course=course,
        fitted=course,
    )


def test_bedding_shows_the_tolerance_and_when_each_pack_was_steady(marks):
    shown = texts(
        bedding.bedding_courses([settled("A1", 95.0), settled("A2", np.inf)], marks, 0.01)
    )
    assert {"steady: ±1 %", "83 kJ", "not by the end", "pack A1", str(GROUP)} <= set(shown)
    assert "Sliding work of the pack [kJ]" in shown


def test_breakaway_names_packs(points, marks):
    static = points.select(points.kind == "static")
    shown = texts(breakaway.breakaway(static, marks))
    assert {"A$x_1$ & co", "A2", "A3", "Static friction coefficient", "rough (new)"} <= set(shown)


def rested(points):
    """Breakaways at 60 and 100 degC that rise by 0.002 an e-fold of dwell and fall when hot."""
    static = points.select(points.kind == "static")
    dwell = np.resize([1.0, 4.0, 15.0, 60.0], len(static))
    hot = (np.arange(len(static)) + np.arange(len(static)) // 4) % 2 > 0
    noise = 1.0 + 0.002 * np.random.default_rng(1).normal(size=len(static))
    mu = (0.13 + 0.002 * np.log1p(dwell)) * np.where(hot, 0.97, 1.0) * noise
    return replace(static, mu=mu, dwell_s=dwell, temperature_c=np.where(hot, 100.0, 60.0))


def test_breakaway_against_dwell_has_a_law_and_a_shape_for_each_temperature(
    points, marks, reference
):
    static = rested(points)
    fits, _ = fit_static(static, reference)
    assert fits[GROUP].law == "dwell"
    figure = breakaway.against_dwell(static, fits, marks)
    shown = texts(figure)
    assert {"Dwell before breakaway [s]", "60 °C", "100 °C", "rough (new)", "1"} <= set(shown)
    (panel,) = figure.axes
    assert panel.get_xscale() == "log"
    laws = [line for line in panel.lines if len(line.get_xdata()) == 120 and line.get_lw() > 1.5]
    assert len(laws) == 2
    cold, hot = (line.get_ydata()[60] for line in laws)
    assert hot / cold == pytest.approx(0.97, abs=0.005)


def test_breakaway_against_dwell_where_the_law_follows_nothing(points, marks, reference):
    static = points.select(points.kind == "static")
    fits, _ = fit_static(static, reference, laws=["constant"])
    figure = breakaway.against_dwell(static, fits, marks)
    laws = [line for line in figure.axes[0].lines if len(line.get_xdata()) == 120]
    assert np.ptp(laws[2].get_ydata()[np.isfinite(laws[2].get_ydata())]) == 0.0


def test_temperatures_close_to_each_other_are_one_level(points):
    few = points.select(np.arange(6))
    near = replace(few, temperature_c=np.array([90.0, 60.0, 69.0, 91.0, 61.0, 120.0]))
    levels, level = breakaway.temperature_levels(near)
    assert levels == pytest.approx([190.0 / 3.0, 90.5, 120.0])
    assert level.tolist() == [1, 0, 0, 1, 0, 2]


def test_long_names_do_not_take_the_figure_over(points, fits, reference):
    marks = style.marks_of([GROUP])
    figure = curves.speed_curve(points, fits, reference, marks)
    figure.draw_without_rendering()
    assert figure.axes[0].get_position().width > 0.55


def test_a_ratio_runs_over_slip_speed_at_the_quoted_temperature_and_pressure(ratio):
    curve = ratio_figure.along_speed(ratio)
    assert np.all(np.diff(curve.slip_speed_m_s) > 0.0)
    assert len(curve.slip_speed_m_s) < len(ratio.ratio)
    place = curve.slip_speed_m_s.tolist().index(ratio.conditions.slip_speed_m_s[0])
    assert curve.ratio[place] == ratio.ratio[0]
    assert np.all((curve.low < curve.ratio) & (curve.ratio < curve.high))


def test_ratio_curve_shows_one_and_the_margin(ratio, marks):
    figure = ratio_figure.ratio_curve([ratio], marks, against="plain")
    low, high = figure.axes[0].get_ylim()
    assert low < 1.0 - ratio.margin
    assert high > 1.0 + ratio.margin
    assert {"Ratio to plain", "equivalent within 5 %", "rough (new)"} <= set(texts(figure))


def test_the_rest_is_drawn_last_whatever_its_share(marks):
    shares = {GROUP: {"others": 0.6, "torque": 0.3, "drag": 0.1}}
    shown = texts(budget.budget_bars(shares, marks, last="others"))
    assert [text for text in shown if text in shares[GROUP]] == ["torque", "drag", "others"]


def test_pack_means_are_taken_off_before_the_shape_is_judged():
    residual = np.array([0.05, 0.07, -0.01, -0.03])
    shape = residuals.less_pack_means(residual, np.array(["A", "A", "B", "B"]))
    assert shape == pytest.approx([-0.01, 0.01, 0.01, -0.01])


def test_pack_offsets_name_every_pack(points, fits, marks):
    shown = texts(quality.pack_offsets(points, fits, marks))
    assert {"A$x_1$ & co", "A2", "A3", "rough (new)"} <= set(shown)


def test_fits_of_other_points_are_refused(points, fits):
    fewer = points.select(points.pack != "A2")
    with pytest.raises(ResultError, match="not among the friction points"):
        fitted_points(fewer, fits[GROUP])


def test_many_groups_get_a_panel_for_each_state(points, fits, reference):
    fit = fits[GROUP]
    groups = [Group("rough", "new"), Group("plain", "new"), Group("rough", "worn")]
    several = concatenate(
        [
            replace(points, material=[g.material] * len(points), state=[g.state] * len(points))
            for g in groups
        ]
    )
    figure = curves.speed_curve(
        several, dict.fromkeys(groups, fit), reference, style.marks_of(groups)
    )
    assert [axes.get_title(loc="left") for axes in figure.axes] == ["New", "Worn"]


def test_two_points_of_one_load_sweep_share_their_window(trace):
    windows = (
        TraceWindow("R1/1", 10.0, 60.0, used=True),
        TraceWindow("R1/2", 10.0, 60.0, used=True),
    )
    assert "1, 2" in texts(run_trace.run_trace(replace(trace, windows=windows)))


def test_causes_of_one_number_are_ranked_and_the_small_ones_summed_up():
    sizes = {"radius law": 7.0, "torque": 3.0, "drag": 0.3, "zero": 0.2}
    causes = [Cause(n, n, Scope.RIG, n, size, np.inf) for n, size in sizes.items()]
    number = Budget("mu of rough (new)", 0.14, 7.6, 0.1, 0.2, np.inf, tuple(causes))
    figure = budget.cause_bars(number)
    shown = texts(figure)
    names = ["radius law", "torque", "all others together"]
    assert [text for text in shown if text in names] == names
    assert "84 %" in shown  # 49 of 58.13
    assert "zero" not in shown
    svg = ElementTree.fromstring(svg_file(figure, title="t", description="what there is"))
    assert svg.find("{http://www.w3.org/2000/svg}desc").text == "what there is"
    assert svg.find("{http://www.w3.org/2000/svg}metadata") is None
