"""What the report says of residuals, hysteresis, drift, slopes, fade and pressure."""

import math
from dataclasses import replace
from xml.etree import ElementTree

import pytest

from rigdata.friction.diagnostics.findings import Finding
from rigdata.friction.results import Group
from rigdata.report.chatter import chatter_section
from rigdata.report.coefficients import surroundings_section
from rigdata.report.html import render
from rigdata.report.quality import quality_section
from rigdata.report.residuals import residuals_section

ROUGH = Group("rough", "new")


def words(section):
    """All text of a section, single-spaced."""
    text = ElementTree.fromstring(render(section.markup())).itertext()
    return " ".join(" ".join(text).replace("\N{NO-BREAK SPACE}", " ").split())


def with_findings(report, *found):
    fit = report.fits[ROUGH]
    told = replace(fit.diagnostics, findings=found)
    return replace(report, fits={**report.fits, ROUGH: replace(fit, diagnostics=told)})


def test_clean_fits_are_told_to_be_level(full):
    text = words(residuals_section(full))
    assert "the residuals are level, and neither hysteresis nor drift is beyond chance" in text
    assert "Rising less falling sweeps [%]" in text
    assert "From run to run of a pack [% a run]" in text


def test_what_is_beyond_chance_is_told_and_starred(full):
    sentence = "mu is 3.1 % higher on rising than on falling sweeps"
    found = Finding("hysteresis", 0.031, 0.002, 0.027, 0.035, "1", True, sentence)
    text = words(residuals_section(with_findings(full, found)))
    assert f"rough (new): {sentence}." in text
    assert "*3.10 (2.70 to 3.50)" in text


def test_a_fit_without_diagnostics_leaves_the_section_out(full):
    bare = {group: replace(fit, diagnostics=None) for group, fit in full.fits.items()}
    assert residuals_section(replace(full, fits=bare)) is None


def test_the_spread_is_told_with_the_quality(full):
    text = words(quality_section(full))
    assert "Measurement alone does not explain how the points scatter (reduced chi-square" in text


def test_slopes_are_told_over_all_speeds(full):
    text = words(chatter_section(full))
    assert "rough (new): at 80 °C and 0.8 MPa mu rises from 0.005" in text
    assert "plain (new): at 80 °C and 0.8 MPa mu falls from 0.005" in text
    assert "falls: feeds chatter" in text
    fit = full.fits[ROUGH]
    assert f"{fit.parameters['a'] / 0.1:.4f} ±" in text  # dmu/dv = a / v at 0.1 m/s


def test_fade_and_pressure_stand_with_the_coefficients(full):
    text = words(surroundings_section(full))
    assert "Per 100 K [%]" in text
    assert "Per doubling of pressure [%]" in text
    value = 100.0 * math.expm1(100.0 * full.fits[ROUGH].parameters["b"])
    assert f"rough (new) {value:.2f} ".replace("-", "−") in text


@pytest.mark.parametrize("writer", [residuals_section, surroundings_section])
def test_without_fits_there_is_nothing_to_say(unfitted, writer):
    assert writer(unfitted) is None
