"""What the profiles of a law leave open, in words: parameters without a limit, and what to do."""

from __future__ import annotations

from collections.abc import Sequence

from rigdata.friction.conditions import DWELL, Conditions
from rigdata.friction.laws.base import Law, LawParameter
from rigdata.friction.outward import BOUND
from rigdata.friction.profiles import ParameterProfile
from rigdata.quantities import QUANTITIES

_ENDS = {
    "slip_speed_m_s": ("slowest slip", "fastest slip"),
    DWELL: ("shortest dwell", "longest dwell"),
}


def sides(profile: ParameterProfile) -> str:
    """Return which sides are open, as ``v_s has no lower limit``."""
    if profile.low_open and profile.high_open:
        return f"{profile.name} has no limits"
    return f"{profile.name} has no {'lower' if profile.low_open else 'upper'} limit"


def open_words(profile: ParameterProfile, law: Law, conditions: Conditions) -> str:
    """Return what is open of a parameter, with its bound and what was tested, in a sentence."""
    parameter = law.parameters[law.names.index(profile.name)]
    subject = f"{parameter.name} ({parameter.meaning})"
    which = range_words(profile, parameter, conditions)
    if profile.value in (parameter.low, parameter.high):
        return f"{subject} stands on its bound {_value(profile.value, parameter)}: {which}"
    return f"{subject}{sides(profile).removeprefix(profile.name)}: {which}"


def range_words(profile: ParameterProfile, parameter: LawParameter, conditions: Conditions) -> str:
    """Return ``any value below 0.03 m/s follows the points as well``, and what was tested."""
    parts = ["any value"]
    if profile.high is not None:
        parts.append(f"below {_value(profile.high, parameter)}")
    if profile.low is not None:
        parts.append(f"above {_value(profile.low, parameter)}")
    ends = []
    if profile.low_open == BOUND:
        ends.append(f"down to its bound {_value(parameter.low, parameter)}")
    if profile.high_open == BOUND:
        ends.append(f"up to its bound {_value(parameter.high, parameter)}")
    if ends:
        parts.append(f"{' and '.join(ends)} ({parameter.bound_reason})")
    parts.append("follows the points as well")
    return " ".join(parts) + _tested(profile, parameter, conditions)


def _tested(profile: ParameterProfile, parameter: LawParameter, conditions: Conditions) -> str:
    """Return what was tested next to the open side, where the two are of one kind."""
    for axis in parameter.axes:
        if axis in _ENDS and QUANTITIES[axis].unit == parameter.unit:
            values = getattr(conditions, axis)
            lower, upper = _ENDS[axis]
            told = []
            if profile.low_open:
                told.append(f"the {lower} tested is {_value(values.min(), parameter)}")
            if profile.high_open:
                told.append(f"the {upper} tested is {_value(values.max(), parameter)}")
            return "; " + " and ".join(told)
    return ""


def to_test(profiles: Sequence[ParameterProfile], law: Law) -> str:
    """Return what tests would close the open sides, as ``test slower slips``."""
    wanted = []
    for profile in profiles:
        parameter = law.parameters[law.names.index(profile.name)]
        if profile.low_open:
            wanted.append(parameter.below)
        if profile.high_open:
            wanted.append(parameter.above)
    found = list(dict.fromkeys(filter(None, wanted)))
    return "test " + (" and ".join(found) or "over a wider range of conditions")


def _value(value: float, parameter: LawParameter) -> str:
    unit = "" if parameter.unit == "1" else f" {parameter.unit}"
    return f"{value:.3g}{unit}"
