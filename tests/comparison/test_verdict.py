"""p values, Holm's correction, equivalence and sentences."""

import numpy as np
import pytest
from scipy import stats

from rigdata.comparison.verdict import (
    condition_text,
    equivalence_p,
    holm,
    sentence,
    two_sided_p,
    verdict,
)
from rigdata.friction.conditions import Conditions

PLACE = Conditions(0.1, 80.0, 1.0)


def student(u, dof):
    return lambda level: float(u * stats.t.ppf(0.5 * (1 + level), dof))


@pytest.mark.parametrize("t", [0.3, 1.0, 2.2, 5.0])
def test_p_value_is_that_of_student(t):
    assert two_sided_p(student(0.02, 7), 0.02 * t) == pytest.approx(2 * stats.t.sf(t, 7), rel=1e-6)


def test_p_value_at_the_ends():
    assert two_sided_p(student(0.02, 7), 0.0) == pytest.approx(1.0)
    assert two_sided_p(student(1e-9, 300), 1.0) <= 1e-11


@pytest.mark.parametrize("log_ratio", [-0.06, -0.03, 0.0, 0.02, 0.07])
@pytest.mark.parametrize("u", [0.005, 0.012, 0.03])
def test_equivalence_is_the_two_one_sided_tests(log_ratio, u):
    """Against the textbook form, and with the 90 % interval inside the margin."""
    low, high = np.log(0.95), np.log(1.05)
    worst = max(stats.t.sf((log_ratio - low) / u, 9), stats.t.sf((high - log_ratio) / u, 9))
    found = equivalence_p(student(u, 9), log_ratio, low, high)
    assert found == pytest.approx(worst, rel=1e-6)
    half = student(u, 9)(0.90)
    inside = low < log_ratio - half and log_ratio + half < high
    assert (found < 0.05) == inside


def test_equivalence_of_a_published_example():
    """The example of pingouin's tost: p = 0.9650974 for a bound of 1 on the difference."""
    a, b = np.array([4, 7, 8, 6, 3, 2]), np.array([6, 8, 7, 10, 11, 9])
    u = np.sqrt((a.var(ddof=1) + b.var(ddof=1)) / 6)
    found = equivalence_p(student(u, 10), a.mean() - b.mean(), -1.0, 1.0)
    assert found == pytest.approx(0.9650974, abs=5e-8)


def test_holm_of_a_textbook_set():
    """(.01 .04 .03 .005) becomes .03 .06 .06 .02: S. Holm, Scand. J. Statist. 6 (1979) 65."""
    assert holm([0.01, 0.04, 0.03, 0.005]) == pytest.approx([0.03, 0.06, 0.06, 0.02])
    assert holm([0.2]) == pytest.approx([0.2])
    assert holm([0.9, 0.8]) == pytest.approx([1.0, 1.0])


@pytest.mark.parametrize(
    ("ratio", "different", "equivalent", "expected"),
    [
        (1.4, 1e-4, 0.9, "higher"),
        (0.7, 1e-4, 0.9, "lower"),
        (1.01, 0.4, 0.001, "equivalent"),
        (1.02, 0.001, 0.001, "equivalent"),
        (1.05, 0.2, 0.5, "not resolved"),
    ],
)
def test_verdicts(ratio, different, equivalent, expected):
    assert verdict(ratio, different, equivalent) == expected


def test_sentences():
    def told(outcome, *interval):
        return sentence("rough on steel", "steel on steel", outcome, interval, 0.05, PLACE)

    where = "at 0.10 m/s, 80 degC, 1.0 MPa"
    assert told("higher", 1.41, 1.36, 1.46) == (
        f"rough on steel grips 41 % more than steel on steel (95 % interval 36 to 46 %) {where}"
    )
    assert told("lower", 0.8, 0.78, 0.83) == (
        f"rough on steel grips 20 % less than steel on steel (95 % interval 17 to 22 %) {where}"
    )
    assert told("equivalent", 1.004, 0.992, 1.016) == (
        "rough on steel and steel on steel are equivalent within 5 %: "
        f"the first grips 0.4 % more (95 % interval 0.8 % less to 1.6 % more) {where}"
    )
    assert told("not resolved", 0.97, 0.9, 1.05) == (
        "no difference is resolved between rough on steel and steel on steel: "
        f"the first grips 3 % less (95 % interval 10 % less to 5 % more) {where}"
    )
    assert told("not resolved", 0.94, 0.89, 0.99) == (
        "rough on steel seems to grip 6 % less than steel on steel (95 % interval 1 to 11 %) "
        f"{where}, but among the comparisons made together this is not certain"
    )


@pytest.mark.parametrize(
    ("place", "text"),
    [
        (Conditions(0.1, 80.0, 1.0), "0.10 m/s, 80 degC, 1.0 MPa"),
        (Conditions(0.0042, 120.4, 12.0), "0.0042 m/s, 120 degC, 12 MPa"),
        (Conditions(1.25, 80.0, 0.55), "1.2 m/s, 80 degC, 0.55 MPa"),
    ],
)
def test_conditions_in_words(place, text):
    assert condition_text(place) == text
