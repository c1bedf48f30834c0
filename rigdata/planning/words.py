"""A plan in words: the answer first."""

from __future__ import annotations

from rigdata.friction.causes import PACKS
from rigdata.planning.plan import Plan

_MOSTLY = 0.8  # share of a variance above which nothing else matters


def answer(plan: Plan) -> str:
    """Return what the plan achieves and costs, in a sentence."""
    taken, request = plan.taken, plan.request
    counted = f"{taken.packs} packs"
    if len(request.groups) > 1:
        several = len(request.groups) > len(request.materials)
        counted += " of each batch" if several else " of each material"
    told = [f"give mu within +-{100 * taken.half_width:#.2g} %"]
    if taken.ratios:
        shown = f"{100 * taken.resolvable:#.2g} % with {request.power_percent:g} % power"
        told.insert(0, f"show a difference of {shown}")
    days = f"{plan.days} day{'s' if plan.days > 1 else ''}"
    return f"{counted} {' and '.join(told)}; {duration(60.0 * taken.hours)} at the rig in {days}."


def design_words(plan: Plan) -> str:
    """Say how good the choice of the tests is, and against what."""
    law = next(iter(plan.known.values())).law.name
    words = (
        f"The {len(plan.chosen)} tests of a pack were chosen from {plan.candidates} for what they "
        f"tell of the {law} law in their time: D-efficiency {100 * plan.efficiency:.0f} % against "
        "the best continuous design over the same candidates."
    )
    if plan.hidden:
        words += f" Over such narrow ranges they do not show the {' and the '.join(plan.hidden)}."
    return words


def limit_words(plan: Plan) -> str:
    """Say which cause limits what the plan answers first."""
    told = max(plan.taken.ratios or plan.taken.mu, key=lambda each: each.u)
    first = told.budget.by_kind[0]
    number = "the difference" if plan.taken.ratios else "mu"
    share = f"{100 * first.share:.0f} % of the variance of {number}"
    words = f"What limits it is the {first.cause}: {share}."
    if first.cause == PACKS and first.share > _MOSTLY:
        words += " More packs would help, more tests of each pack would not."
    return words


def basis_words(plan: Plan) -> list[str]:
    """Say what the precision was worked out from, each ground once."""
    grounds: dict[str, list[str]] = {}
    for label, known in plan.known.items():
        grounds.setdefault(known.basis, []).append(label)
    return [f"Expected of {' and '.join(labels)}: {basis}." for basis, labels in grounds.items()]


def duration(minutes: float) -> str:
    """Return a time in words.

    >>> duration(95), duration(40), duration(1880)
    ('1 h 35 min', '40 min', '31 h')
    """
    hours, rest = divmod(round(minutes), 60)
    if hours >= 10:
        return f"{round(minutes / 60)} h"
    parts = ([f"{hours} h"] if hours else []) + ([f"{rest} min"] if rest or not hours else [])
    return " ".join(parts)
