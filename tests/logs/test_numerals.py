import pytest

from rigdata.logs.numerals import (
    MISSING_TOKENS,
    OVERRANGE_TOKENS,
    decimal_mark,
    is_missing,
    is_number,
    is_overrange,
    missing_spellings,
)


@pytest.mark.parametrize("cell", ["0", "-1.5", "+.5", "5.", "1e5", "1.0E+005", "007"])
def test_numbers_with_a_point(cell):
    assert is_number(cell)
    assert is_number(cell, ".")


@pytest.mark.parametrize("cell", ["-1,5", "+,5", "5,", "1,0E-3"])
def test_numbers_with_a_comma(cell):
    assert is_number(cell)
    assert is_number(cell, ",")
    assert not is_number(cell, ".")


@pytest.mark.parametrize(
    "cell", ["", "-", ".", ",", "1.2.3", "1,2,3", "1 2", "0x1", "1_0", "5-", "e5", "1e", "٣", "nan"]
)
def test_texts_that_are_no_numbers(cell):
    assert not is_number(cell)


def test_no_token_means_two_things():
    assert not set(MISSING_TOKENS) & set(OVERRANGE_TOKENS)
    for token in (*MISSING_TOKENS, *OVERRANGE_TOKENS):
        assert token == token.casefold().strip()
        assert not is_number(token)
        assert is_missing(token.upper()) == (token in MISSING_TOKENS)
        assert is_overrange(token.upper()) == (token in OVERRANGE_TOKENS)


def test_numbers_too_large_for_a_float_are_over_range():
    assert is_overrange("1e400")
    assert is_overrange("-1,5E+0999")
    assert not is_overrange("1e300")
    assert not is_overrange("1.0e+005")


def test_fields_too_narrow_for_their_number():
    assert is_overrange("***")
    assert is_overrange("######")
    assert not is_overrange("*")


def test_spellings_hold_every_token_as_a_parser_would_meet_it():
    spellings = missing_spellings()
    assert {"", "NaN", "nan", "NAN", "N/A", "None", "--.--"} <= set(spellings)
    assert all(is_missing(spelling) for spelling in spellings)


def test_the_decimal_mark():
    assert decimal_mark([["1", "2"]]) == "."
    assert decimal_mark([["1", "2"], ["0,5", "NaN"]]) == ","
    assert decimal_mark([["1.25", "text"], []]) == "."
    with pytest.raises(ValueError, match=r"'0\.5' has a decimal point and '0,5' a decimal comma"):
        decimal_mark([["0.5"], ["0,5"]])
