"""Uncertainty budgets as text: ranked causes with bars, totals, and what would help."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from rigdata.campaign.campaign import Reference
from rigdata.cli.terminal import aligned, interval, paragraph, rounded
from rigdata.cli.verdicts import condition_words
from rigdata.figures.budget import percent_text
from rigdata.friction.causes import Budget, Cause
from rigdata.friction.conditions import ALL_AXES, Conditions
from rigdata.friction.what_if import WhatIf
from rigdata.pipeline.budgets import Account
from rigdata.uncertainty.digits import decimals_for
from rigdata.uncertainty.monte_carlo import LinearTest

_BAR = 28
_MOST_KINDS, _MOST_CAUSES = 9, 4
_LEAST_SHARE = 0.005
_OTHERS = "all others"


def account_text(account: Account) -> str:
    """Return one screen on one number."""
    budget = account.budget
    head = f"{budget.quantity}{_at(account.where)}"
    value = (
        f"{rounded(budget.value, budget.u)}, u {rounded(budget.u, budget.u)}, 95 % interval "
        f"{interval(budget.low, budget.high, budget.u)}"
    )
    if math.isfinite(budget.dof) and budget.dof < 1000.0:
        value += f", {_dof(budget.dof)} degrees of freedom"
    scopes = ", ".join(f"{s.value} {_percent(v)}" for s, v in budget.by_scope.items())
    parts = [
        f"{paragraph(head[0].upper() + head[1:])}\n{paragraph(value)}",
        _shares(budget),
        f"By reach: {scopes}.",
        _largest(budget),
    ]
    if account.options:
        parts.append(_changes(budget, account.options))
    return "\n\n".join([*parts, paragraph(account.words)])


def overview(accounts: Iterable[Account]) -> str:
    """Return one row a number: what limits it and what would help most."""
    rows = []
    for account in accounts:
        budget, first = account.budget, account.budget.by_kind[0]
        better = min(
            (o for o in account.options if math.isfinite(o.half_width)),
            key=lambda option: option.half_width,
            default=None,
        )
        rows.append(
            [
                _short(budget.quantity),
                rounded(budget.value, budget.u),
                rounded(budget.half_width, budget.u),
                f"{first.cause.removeprefix('scatter between ')} ({_percent(first.share)})",
                f"{better.change}: {rounded(better.half_width, budget.u)}" if better else "-",
            ]
        )
    table = aligned(["mu of", "value", "+-", "limited by", "would help: +- then"], rows)
    return f"{table}\n\nChoose one with --material and --state to see all of its causes."


def _short(quantity: str) -> str:
    return quantity.removeprefix("mu of ").replace("over that of", "over")


def draws_text(account: Account, test: LinearTest) -> str:
    """Return what Monte Carlo says, and whether the linear budget passes its test."""
    drawn, budget = test.drawn, account.budget
    u = float(drawn.u[0])
    ends = interval(float(drawn.low[0]), float(drawn.high[0]), u)
    first = (
        f"Monte Carlo, {drawn.draws} draws: mean {rounded(float(drawn.mean[0]), u)}, "
        f"u {rounded(u, u)}, 95 % interval {ends}."
    )
    linear = interval(float(test.low[0]), float(test.high[0]), budget.u)
    tolerance = f"{test.tolerance[0]:.1g}"
    if not test.settled[0]:
        verdict = (
            f"These draws are too few to tell whether the linear interval {linear} agrees to "
            f"{tolerance}: ask for more."
        )
    elif test.passed[0]:
        verdict = (
            f"The linear budget passes its test (JCGM 101, 8.1): its interval {linear} agrees to "
            f"{tolerance}."
        )
    else:
        width = (test.high[0] - test.low[0]) / (drawn.high[0] - drawn.low[0]) - 1.0
        how = "too wide" if width > 0.0 else "too narrow"
        size = f"{100.0 * abs(width):.0f} % {how}" if abs(width) >= 0.005 else "shifted"
        verdict = (
            f"The linear budget does not pass its test (JCGM 101, 8.1): its interval {linear} is "
            f"{size}, and agrees to no better than {max(test.d_low[0], test.d_high[0]):.1g} where "
            f"{tolerance} is asked for. Use the Monte Carlo interval."
        )
    known = (
        ""
        if account.solution is None
        else " Both take every spread as known; with few packs the "
        "interval above is wider for that."
    )
    return paragraph(first) + "\n" + paragraph(verdict + known)


def account_row(account: Account, test: LinearTest | None) -> dict[str, object]:
    """Return a budget as plain values, for JSON."""
    budget = account.budget
    where = account.where
    return {
        "quantity": budget.quantity,
        "condition": None if where is None else _values(where),
        "inside_envelope": account.inside,
        "value": budget.value,
        "u": budget.u,
        "low": budget.low,
        "high": budget.high,
        "dof": budget.dof,
        "kinds": [{"cause": s.cause, "u": s.u, "share": s.share} for s in budget.by_kind],
        "scopes": {scope.value: share for scope, share in budget.by_scope.items()},
        "causes": [_cause_row(cause) for cause in budget.causes],
        "what_if": [
            {"change": o.change, "u": o.u, "half_width": o.half_width, "reason": o.reason}
            for o in account.options
        ],
        "words": account.words,
        "monte_carlo": _test_row(test) if test is not None else None,
    }


def _cause_row(cause: Cause) -> dict[str, object]:
    return {
        "cause": cause.name,
        "kind": cause.kind,
        "scope": cause.scope.value,
        "label": cause.label,
        "effect": cause.effect,
        "signed": cause.is_source,
        "dof": cause.dof,
    }


def _test_row(test: LinearTest) -> dict[str, object]:
    drawn = test.drawn
    return {
        "draws": drawn.draws,
        "mean": float(drawn.mean[0]),
        "u": float(drawn.u[0]),
        "low": float(drawn.low[0]),
        "high": float(drawn.high[0]),
        "linear_low": float(test.low[0]),
        "linear_high": float(test.high[0]),
        "tolerance": float(test.tolerance[0]),
        "passed": bool(test.passed[0]),
        "settled": bool(test.settled[0]),
    }


def _shares(budget: Budget) -> str:
    scopes: dict[str, dict[str, None]] = {}
    for cause in budget.causes:
        scopes.setdefault(cause.kind, {})[cause.scope.value] = None
    shown = [s for s in budget.by_kind if s.share >= _LEAST_SHARE][:_MOST_KINDS]
    rows = [(s.cause, ", ".join(scopes[s.cause]), s.u, s.share) for s in shown]
    rest = budget.by_kind[len(shown) :]
    if rest:
        u, share = math.hypot(*(s.u for s in rest)), sum(s.share for s in rest)
        rows.append((f"{_OTHERS} ({len(rest)})", "", u, share))
    cells = [
        [cause, scope, rounded(u, u), _percent(share), "#" * round(_BAR * share)]
        for cause, scope, u, share in rows
    ]
    return aligned(["cause", "reach", "u", "share", ""], cells)


def _largest(budget: Budget) -> str:
    """Name the largest single sources, with the sign of what one standard deviation does."""
    rows = [
        [f"{cause.effect:+.{decimals_for(abs(cause.effect))}f}", _dof(cause.dof), cause.label]
        for cause in [c for c in budget.causes if c.is_source][:_MOST_CAUSES]
    ]
    return aligned(["one sd moves it", "dof", "source"], rows)


def _changes(budget: Budget, options: Sequence[WhatIf]) -> str:
    rows = [["as it is", rounded(budget.u, budget.u), rounded(budget.half_width, budget.u)]]
    rows += [
        [option.change, rounded(option.u, budget.u), rounded(option.half_width, budget.u)]
        for option in options
    ]
    return aligned(["what if", "u", "+-, 95 %"], rows)


def _at(where: Conditions | None) -> str:
    if where is None:
        return ""
    return " at " + condition_words(Reference(**_values(where)))


def _values(where: Conditions) -> dict[str, float]:
    """Return a single condition by the names of its quantities, dwell where there is one."""
    values = {name: float(getattr(where, name)[0]) for name in ALL_AXES}
    return {name: value for name, value in values.items() if math.isfinite(value)}


def _percent(share: float) -> str:
    return percent_text(100.0 * share)


def _dof(dof: float) -> str:
    return f"{dof:.1f}" if dof < 20.0 else f"{dof:.0f}" if dof < 1000.0 else "-"
