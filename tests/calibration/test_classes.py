import dataclasses
import math

import numpy as np
import pytest

from rigdata.calibration.classes import (
    DEFAULT_LIMITS,
    ClassLimits,
    Errors,
    Limits,
    classify,
    read_limits,
)
from rigdata.errors import CampaignError

NAMES = [field.name for field in dataclasses.fields(Limits)]
LOADS = np.array([100.0, 200.0, 500.0, 1000.0])


def errors(**changes) -> Errors:
    none = np.zeros(4)
    base = dict.fromkeys(NAMES, none) | {"zero": 0.0, "creep": 0.0, "loads": LOADS}
    return Errors(**(base | changes))


def test_the_shipped_limits_say_that_they_are_from_memory():
    limits = read_limits()
    assert list(limits.classes) == ["00", "0.5", "1", "2"]
    assert "from memory" in limits.basis
    assert "FROM MEMORY" in DEFAULT_LIMITS.read_text()
    for name in NAMES:
        column = [getattr(own, name) for own in limits.classes.values()]
        assert column == sorted(column)
        assert column[0] < column[-1]


def test_without_errors_the_strictest_class_over_the_whole_range():
    verdict = classify(errors(), read_limits(), "N")
    assert (verdict.name, verdict.lowest_load, verdict.not_shown) == ("00", 100.0, ())
    assert verdict.words.startswith("class 00 from 100 N up (ISO 376")
    assert "from memory" in verdict.words


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_each_error_counts_at_its_limit(name, sign):
    limits = read_limits()
    own = limits.classes["0.5"]
    scalar = name in ("zero", "creep")
    at = sign * getattr(own, name)
    beyond = 1.001 * at
    shape = (lambda x: x) if scalar else (lambda x: np.full(4, x))
    assert classify(errors(**{name: shape(at)}), limits, "N").name == "0.5"
    assert classify(errors(**{name: shape(beyond)}), limits, "N").name == "1"


def test_a_class_ends_where_small_loads_exceed_it():
    bad = np.array([9.0, 0.1, 0.0, 0.0])
    verdict = classify(errors(repeatability=bad), read_limits(), "N")
    assert (verdict.name, verdict.lowest_load) == ("00", 500.0)
    # It must reach down to half the largest load; the hole in between ends it too.
    hole = np.array([0.0, 0.0, 0.06, 0.0])
    assert classify(errors(repeatability=hole), read_limits(), "N").name == "1"
    assert classify(errors(repeatability=np.full(4, 9.0)), read_limits(), "N").name == ""


def test_what_is_not_shown_is_named_and_not_held_against_the_sensor():
    nan = np.full(4, np.nan)
    verdict = classify(errors(reproducibility=nan, creep=math.nan), read_limits(), "N")
    assert verdict.not_shown == ("reproducibility",)
    assert verdict.name == "00"
    assert "without reproducibility, which the record does not show" in verdict.words
    both = classify(errors(reversibility=nan, creep=math.nan), read_limits(), "N")
    assert both.not_shown == ("reversibility", "creep")


@pytest.mark.parametrize(
    "hidden", [("interpolation",), ("repeatability", "reproducibility")], ids=str
)
def test_a_class_needs_the_curve_and_series_to_compare(hidden):
    nan = np.full(4, np.nan)
    verdict = classify(errors(**dict.fromkeys(hidden, nan)), read_limits(), "N")
    assert (verdict.name, verdict.determined) == ("", False)
    assert verdict.words.startswith("no class can be told, without ")


def test_no_class_is_said_as_such():
    verdict = classify(errors(zero=5.0), read_limits(), "N")
    assert verdict.name == ""
    assert math.isnan(verdict.lowest_load)
    assert verdict.words.startswith("no class met (")


def test_loads_of_either_sign_are_told_by_their_size():
    loads = -LOADS[::-1]
    bad = np.array([0.0, 0.0, 0.0, 9.0])
    verdict = classify(errors(loads=loads, repeatability=bad), read_limits(), "N")
    assert verdict.lowest_load == 200.0


def test_a_table_of_ones_own(tmp_path):
    path = tmp_path / "limits.toml"
    text = DEFAULT_LIMITS.read_text()
    line = next(row for row in text.splitlines() if row.startswith("caution"))
    path.write_text(text.replace(line, "").replace("table of classes", "read on paper"))
    limits = read_limits(path)
    assert isinstance(limits, ClassLimits)
    assert limits.basis == "ISO 376:2011, read on paper"
    path.write_text(text.replace("zero = 0.012", "zero = -1"))
    with pytest.raises(CampaignError, match=r"limits\.toml, classes\.00\.zero"):
        read_limits(path)
    path.write_text(text.replace("zero = 0.012", ""))
    with pytest.raises(CampaignError, match=r"classes\.00\.zero: the key is missing"):
        read_limits(path)
    path.write_text("\n".join(row for row in text.splitlines() if not row.startswith("source")))
    with pytest.raises(CampaignError, match="source: the key is missing"):
        read_limits(path)
