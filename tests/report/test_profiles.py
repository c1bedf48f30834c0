"""The limits of parameters in the report: numbers, and words where a side is open."""

from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest

from rigdata.friction.profiles import ParameterProfile
from rigdata.report.html import render
from rigdata.report.profiles import profile_blocks


class Rows(HTMLParser):
    """The cells of every row."""

    def __init__(self, text):
        super().__init__()
        self.rows, self._in_cell = [], False
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        if tag == "tr":
            self.rows.append([])
        elif tag in ("td", "th"):
            self.rows[-1].append("")
            self._in_cell = True

    def handle_endtag(self, tag):
        if tag in ("td", "th"):
            self._in_cell = False

    def handle_data(self, data):
        if self._in_cell:
            self.rows[-1][-1] += data


def markup(report):
    return "".join(render(part) for part in profile_blocks(report) if part is not None)


def test_every_parameter_stands_with_its_limits(full, page):
    rows = Rows(markup(full)).rows
    assert "limits within which they may move while all others are fitted again" in page
    for group, fit in full.fits.items():
        own = {row[2].split(" [")[0]: row for row in rows if row[0] == str(group)}
        assert set(own) == set(fit.form.names)
        for profile in fit.profiles:
            low, high = (
                float(end.replace("\N{MINUS SIGN}", "-"))
                for end in own[profile.name][4].split(" to ")
            )
            width = profile.high - profile.low
            assert [low, high] == pytest.approx([profile.low, profile.high], abs=0.02 * width)
            symmetric = own[profile.name][5]
            assert (symmetric == "\N{EN DASH}") == (not profile.lopsided)


def with_profile(report, **own):
    """The report with one more profile, of a law that was set aside, and the group it is of."""
    group, fit = next(iter(report.fits.items()))
    profile = ParameterProfile(law="stribeck", threshold=2.0, **own)
    told = replace(fit, profiles=(*fit.profiles, profile))
    return replace(report, fits={**report.fits, group: told}), group


def test_an_open_side_is_said_with_its_bound_and_drawn(full):
    report, group = with_profile(
        full,
        name="d",
        value=2.0,
        half_width=1.5,
        low=1.25,
        high=None,
        low_open="",
        high_open="bound",
        at=np.array([1.25, 2.0, 4.0]),
        root=np.array([-2.0, 0.0, 1.0]),
    )
    text = markup(report)
    (row,) = [row for row in Rows(text).rows if row[2] == "d"]
    assert row[1] == "stribeck, set aside"
    assert row[4] == "above 1.25, no upper limit up to its bound 4"
    assert row[5] == "0.50 to 3.50"
    assert 'id="parameter-profiles' in text
    assert f"{group}, d of the stribeck law: above 1.25, no upper limit up to its bound 4" in text


def test_a_parameter_that_could_not_be_moved_has_its_row_and_no_panel(full):
    report, _ = with_profile(
        full,
        name="mu_k",
        value=0.0,
        half_width=21.0,
        low=None,
        high=None,
        low_open="bound",
        high_open="level",
        at=np.array([0.0]),
        root=np.array([0.0]),
    )
    text = markup(report)
    (row,) = [row for row in Rows(text).rows if row[1] == "stribeck, set aside"]
    assert row[4] == "no lower limit down to its bound 0, no upper limit"
    assert "mu_k of the stribeck law" not in text
