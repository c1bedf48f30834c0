"""Numbers in print: two digits of their uncertainty."""

import math

import pytest

from rigdata.report import numbers


@pytest.mark.parametrize(
    ("value", "u", "text"),
    [
        (0.123456, 0.00123, "0.1235"),
        (0.123456, 0.0996, "0.12"),  # 0.0996 is 0.10 with two digits
        (-0.0004, 0.01, "0.000"),  # never a nought below zero
        (-1.26, 0.5, "\N{MINUS SIGN}1.26"),
        (12345.6, 120.0, "12346"),
        (0.5, 0.0, "0.5000"),
        (math.nan, 0.1, "\N{EN DASH}"),
        (0.5, math.nan, "0.5000"),
    ],
)
def test_rounded(value, u, text):
    assert numbers.rounded(value, u) == text


def test_value_and_uncertainty_have_the_same_decimals():
    assert numbers.with_u(0.123456, 0.00987) == "0.1235 ± 0.0099"
    assert numbers.with_u(0.123456, 0.00999) == "0.123 ± 0.010"


def test_interval():
    assert numbers.interval(0.1, 0.14) == "0.100 to 0.140"
    assert numbers.interval(math.nan, 0.14) == "\N{EN DASH}"


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.0, "0"), (0.1, "0.1"), (1234567.0, "1234567"), (0.09996, "0.1"), (-2.0, "\N{MINUS SIGN}2")],
)
def test_plain(value, text):
    assert numbers.plain(value) == text


def test_percent_keeps_to_one_line():
    assert numbers.percent(0.0137) == "1.4\N{NO-BREAK SPACE}%"


@pytest.mark.parametrize(
    ("value", "text"), [(1.02, "1.0"), (0.996, "1.0"), (0.0123, "0.012"), (99.6, "100"), (0, "0.0")]
)
def test_significant(value, text):
    assert numbers.significant(value, 2) == text


def test_signed():
    assert numbers.signed(1.44) == "+1.4"
    assert numbers.signed(-1.44) == "\N{MINUS SIGN}1.4"


def test_typeset_keeps_numbers_with_their_units_and_leaves_words_alone():
    text = numbers.typeset("packs 3 show 5 % at 80 degC, 2 sources")
    assert text == "packs 3 show 5\N{NO-BREAK SPACE}% at 80\N{NO-BREAK SPACE}°C, 2 sources"
