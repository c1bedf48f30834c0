"""What the user is told of parameters that the tests leave open."""

from __future__ import annotations

from collections.abc import Sequence

from rigdata.errors import Notice, Severity
from rigdata.friction.candidates import Candidate
from rigdata.friction.conditions import (
    DWELL,
    LEAST_DWELL_RATIO,
    LEAST_PRESSURE_RATIO,
    LEAST_SPEED_RATIO,
    LEAST_TEMPERATURE_SPAN_K,
    Conditions,
    shown_axes,
)
from rigdata.friction.laws.base import Law, LawParameter
from rigdata.friction.profile_words import open_words, range_words, sides, to_test
from rigdata.friction.profiles import ParameterProfile
from rigdata.friction.selection import Ranking, loss_in_errors

_NEEDED = {
    "slip_speed_m_s": f"slip speeds a factor of {LEAST_SPEED_RATIO:g} apart",
    "temperature_c": f"temperatures {LEAST_TEMPERATURE_SPAN_K:g} K apart",
    "pressure_mpa": f"pressures a factor of {LEAST_PRESSURE_RATIO:g} apart",
    DWELL: f"dwells a factor of {LEAST_DWELL_RATIO:g} apart",
}
_WORDS = {
    "slip_speed_m_s": "slip speed",
    "temperature_c": "temperature",
    "pressure_mpa": "pressure",
    DWELL: "dwell",
}


def parameter_notices(
    ranking: Ranking,
    where: str,
    conditions: Conditions,
    profiles: Sequence[ParameterProfile],
) -> list[Notice]:
    """Return what was held or set aside because the tests cannot show it, and what is open.

    `profiles` are those of the chosen law.
    """
    chosen = ranking.chosen
    found = [_on_held(chosen, parameter, where, conditions) for parameter in _held(chosen)]
    found += [
        _on_law_set_aside(candidate, ranking, where, conditions)
        for candidate in ranking.candidates
        if not candidate.usable and candidate is not chosen
    ]
    if not chosen.score.identified:
        found.append(_on_law_taken_all_the_same(ranking, where, conditions))
    else:
        found += [
            _on_open(profile, chosen.law, where, conditions)
            for profile in profiles
            if profile.open and profile.name not in chosen.held
        ]
    return found


def _held(chosen: Candidate) -> list[LawParameter]:
    return [parameter for parameter in chosen.law.parameters if parameter.name in chosen.held]


def _on_held(
    chosen: Candidate, parameter: LawParameter, where: str, conditions: Conditions
) -> Notice:
    shown = shown_axes(conditions)
    axis = next((axis for axis in parameter.axes if axis not in shown), None)
    fitted = [p for p in chosen.profiles if p.name == parameter.name and p.undetermined]
    if axis is not None:
        low, high = getattr(conditions, axis).min(), getattr(conditions, axis).max()
        why = f"tests span only {low:.4g} to {high:.4g} in {_WORDS[axis]}"
        do = f"Test at {_NEEDED[axis]} to find it"
    elif fitted:
        why = f"with it free, {range_words(fitted[0], parameter, conditions)}"
        do = to_test(fitted, chosen.law).capitalize()
    else:
        words = " and ".join(_WORDS[axis] for axis in parameter.axes)
        wider = parameter.name in chosen.law.simpler
        why = "the points do not determine it"
        do = f"Test over a wider range of {words}" if wider else f"Test more values of {words}"
    held = f"held at {parameter.neutral:g}"
    if parameter.neutral and parameter.unit != "1":
        held += f" {parameter.unit}"
    what = f"{parameter.name} ({parameter.meaning}) is {held}: {why}"
    return Notice(Severity.NOTE, where, what, do)


def _on_law_set_aside(
    candidate: Candidate, ranking: Ranking, where: str, conditions: Conditions
) -> Notice:
    name, told = candidate.law.name, _open(candidate)
    if not told:
        return Notice(Severity.NOTE, where, f"{name} law set aside: {candidate.score.remark}")
    what = f"{name} law set aside: {_told(candidate, told, conditions)}"
    chosen = ranking.chosen
    taken = f"The {chosen.law.name} law is taken instead"
    return Notice(Severity.NOTE, where, what, f"{taken}; to tell, {to_test(told, candidate.law)}")


def _on_law_taken_all_the_same(ranking: Ranking, where: str, conditions: Conditions) -> Notice:
    chosen = ranking.chosen
    law, told = chosen.law, _open(chosen)
    why = _told(chosen, told, conditions) if told else chosen.score.remark
    what = f"{law.name} law taken although {why}"
    test = to_test(told, law)
    others = [s for s in ranking.scores if s.identified and s.left_out_loss is not None]
    if others:
        best = min(others, key=loss_in_errors)
        do = f"Take the {best.law} law, which leaves nothing open ({best.reason}), or {test}"
    else:
        do = f"Take the {law.plainer} law, or {test}" if law.plainer else test.capitalize()
    return Notice(Severity.WARNING, where, what, do)


def _on_open(profile: ParameterProfile, law: Law, where: str, conditions: Conditions) -> Notice:
    few = "The scatter between few packs and runs leaves it open: test more of them"
    do = to_test([profile], law).capitalize() if profile.undetermined else few
    return Notice(Severity.NOTE, where, open_words(profile, law, conditions), do)


def _open(candidate: Candidate) -> list[ParameterProfile]:
    """Return the profiles of fitted parameters that leave a side open, those of scales first."""
    found = [p for p in candidate.profiles if p.undetermined and p.name not in candidate.held]
    by_name = {p.name: p for p in candidate.law.parameters}
    return sorted(found, key=lambda profile: by_name[profile.name].low <= 0.0)


def _told(
    candidate: Candidate, profiles: Sequence[ParameterProfile], conditions: Conditions
) -> str:
    """Return the first open parameter in full and the others, which go with it, in short."""
    first, *rest = profiles
    words = open_words(first, candidate.law, conditions)
    return "; ".join([words, *map(sides, rest)])
