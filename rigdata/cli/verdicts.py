"""Results in plain words and short tables, for the commands that show them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict

from rigdata.cli.terminal import aligned, interval, paragraph, rounded
from rigdata.comparison.ratios import Ratio
from rigdata.comparison.standings import standings
from rigdata.friction.bootstrap import MU, Bootstrap, Spread
from rigdata.friction.candidates import SET_ASIDE
from rigdata.friction.case_deletion import largest
from rigdata.friction.conditions import AXES, DWELL, ReferenceCondition, at
from rigdata.friction.pooling import pooling_to_dict
from rigdata.friction.results import FrictionFit, Group, LawScore
from rigdata.friction.selection import AICC_REACH, CLEARLY, loss_in_errors
from rigdata.friction.slopes import follows
from rigdata.friction.stick_slip import NONE, StickSlip
from rigdata.friction.stick_slip_words import stick_slip_words
from rigdata.quantities import QUANTITIES
from rigdata.tables.table import FIELDS

Fits = Mapping[Group, FrictionFit]


def condition_words(reference: ReferenceCondition) -> str:
    """Return a condition, as ``0.1 m/s, 80 degC, 1 MPa``.

    At rest it is ``80 degC, 1 MPa, after 2 s at rest``.
    """
    at_rest = not reference.slip_speed_m_s
    words = [
        f"{getattr(reference, name):g} {QUANTITIES[name].unit}"
        for name in AXES[1 if at_rest else 0 :]
    ]
    if at_rest and reference.dwell_s is not None:
        words.append(f"after {reference.dwell_s:g} s at rest")
    return ", ".join(words)


def fit_row(fit: FrictionFit) -> dict[str, float]:
    """Return what a fit predicts at its reference condition, static friction at no slip."""
    prediction = fit.predict(at(fit.reference))
    names = (*FIELDS, "next_run_low", "next_run_high")
    row = {name: float(getattr(prediction, name)[0]) for name in names}
    return {**row, "inside_envelope": bool(prediction.inside[0])}


def fit_rows(fits: Fits, kind: str) -> list[dict[str, object]]:
    """Return the fits as plain values, for JSON."""
    return [
        {
            "material": group.material,
            "state": group.state,
            "kind": kind,
            "law": fit.law,
            "parameters": fit.parameters,
            "packs": fit.n_packs,
            "runs": fit.n_runs,
            "points": fit.n_points,
            "dwell_s": fit.reference.dwell_s if follows(fit, DWELL) else None,
            **fit_row(fit),
            "scatter": asdict(fit.scatter),
            "pooling": pooling_to_dict(fit.pooling),
            "ranking": [asdict(score) for score in fit.ranking],
            "left_out": [one.to_dict() for one in fit.deletions],
            "diagnostics": None if fit.diagnostics is None else fit.diagnostics.to_dict(),
        }
        for group, fit in fits.items()
    ]


def ranking_table(kinetic: Fits, static: Fits, *, most: int) -> str:
    """Return every law tried for each group, and in a few words why it was or was not taken.

    Akaike's criterion is given above its least, and the log density of what was
    left out against the best law, with the standard error of that difference.  Where
    that would take more than `most` lines, the laws that do clearly worse stand
    together.
    """
    text = ""
    for together in (False, True):
        rows: list[Sequence[str]] = []
        for name, fit in _named(kinetic, static):
            worse = [s for s in fit.ranking if together and _clearly_worse(s, fit)]
            idle = [s for s in fit.ranking if together and not s.chosen and s.aicc is None]
            shown = [score for score in fit.ranking if score not in (*worse, *idle)]
            rows += [name, *(_law_row(score, _rise(score, fit)) for score in shown)]
            rows += _together(worse, idle, fit)
        text = aligned(["  law", "par", "AICc", "left out", "why"], rows)
        if text.count("\n") < most:
            break
    return text


def _clearly_worse(score: LawScore, fit: FrictionFit) -> bool:
    far = score.aicc is not None and score.aicc - _least_aicc(fit) > AICC_REACH
    aside = score.reason.startswith(SET_ASIDE)
    return not aside and not score.chosen and (far or loss_in_errors(score) > CLEARLY)


def _together(worse: Sequence[LawScore], idle: Sequence[LawScore], fit: FrictionFit) -> list[str]:
    """Return laws that are clearly worse, and those without a score, in one paragraph."""
    told = []
    if worse:
        named = [f"{s.law} ({s.n_parameters} par, AICc +{_rise(s, fit)})" for s in worse]
        least = min(map(loss_in_errors, worse))
        size = f", by {_short(least)} s.e." + (" or more" if len(worse) > 1 else "")
        told.append(f"{', '.join(named)}: worse{size if least > CLEARLY else ''}")
    told += [f"{s.law}: {_why_idle(s.reason)}" for s in idle if s.reason]
    return paragraph(f"  {'; '.join(told)}", indent="  ").splitlines() if told else []


def _why_idle(reason: str) -> str:
    """Return in short why a law has no score: that it is not needed, or what keeps it out."""
    head, _, tail = reason.partition(": ")
    return head if head == "not needed" else tail or head


def _rise(score: LawScore, fit: FrictionFit) -> str:
    if score.aicc is None:
        return "-"
    return _short(score.aicc - _least_aicc(fit))


def _least_aicc(fit: FrictionFit) -> float:
    return min(s.aicc for s in fit.ranking if s.aicc is not None)


def _law_row(score: LawScore, rise: str) -> list[str]:
    loss, u = score.left_out_loss, score.left_out_loss_u
    told = "-" if loss is None or u is None else f"{_short(-loss)} +- {_short(u)}"
    best = "best" if loss == 0.0 else told
    return [f"  {score.law}", str(score.n_parameters or "-"), rise, best, score.reason]


def _short(value: float) -> str:
    return f"{value:.1f}" if abs(value) < 99.95 else f"{value:.0f}"


def fit_table(kinetic: Fits, static: Fits) -> str:
    """Return one row a group and kind: mu at the reference condition with its intervals."""
    rows: list[list[str]] = []
    for name, fit in _named(kinetic, static):
        row = fit_row(fit)
        u = row["u_mu"]
        mean = interval(row["mean_low"], row["mean_high"], u)
        more = interval(row["next_pack_low"], row["next_pack_high"], u)
        mark = "" if row["inside_envelope"] else " *"
        if rows and name == rows[-1][0] + _STATIC:
            name = "  static"
        after = f", {fit.reference.dwell_s:g} s at rest" if follows(fit, DWELL) else ""
        rows.append([name + after, rounded(row["mu"], u) + mark, mean, more, str(fit.n_packs)])
    headers = ["group", "mu", "mean of packs", "one more pack", "packs"]
    text = aligned(headers, rows)
    if any("*" in row[1] for row in rows):
        text += "\n* not tested at this condition: drawn out from the law"
    return text


def deletion_words(kinetic: Fits, static: Fits) -> str:
    """Return a line on the pack or run without which mu moves most; empty where there is none.

    Those that drive a result come first.
    """
    found = [
        (
            bool(one.driving),
            abs(one.change_u),
            f"{one.title} mu moves most: {one.change_u:+.1f} u(mu), {name}",
        )
        for name, fit in _named(kinetic, static)
        if (one := largest(fit.deletions)) is not None and one.change_u is not None
    ]
    return paragraph(f"Without {max(found)[2]}.") if found else ""


def _named(kinetic: Fits, static: Fits) -> list[tuple[str, FrictionFit]]:
    """Return the fits with their names, static ones after the kinetic ones of their group."""
    found = []
    for group in dict.fromkeys([*kinetic, *static]):
        found += [(str(group), kinetic[group])] if group in kinetic else []
        found += [(f"{group}{_STATIC}", static[group])] if group in static else []
    return found


_STATIC = ", static"


def bootstrap_table(found: Iterable[Bootstrap]) -> str:
    """Return how far refits scatter, against what each fit says: mu, and what is beyond chance."""
    rows: list[Sequence[str]] = []
    for one in found:
        rows.append(f"{one.where}, {one.n_units} {one.unit}s weighted anew:")
        shown = [s for s in one.spreads if s.quantity == MU or s.beyond_chance]
        rows += [_spread_row(spread) for spread in shown]
        if rest := [s for s in one.spreads if s not in shown]:
            ratios = [spread.ratio for spread in rest]
            told = f"{min(ratios):.2f} to {max(ratios):.2f}, as chance lets them"
            rows += paragraph(
                f"  {', '.join(s.quantity for s in rest)}: {told}", indent="  "
            ).splitlines()
    return aligned(["  quantity", "value", "u", "of it", "refits", "by chance", ""], rows)


def _spread_row(spread: Spread) -> list[str]:
    told = "more" if spread.ratio > spread.high else "less"
    return [
        f"  {spread.quantity}",
        rounded(spread.value, spread.u),
        *(f"{number:.2g}" for number in (spread.u, spread.part)),
        f"{spread.ratio:.2f}",
        f"{spread.low:.2f} to {spread.high:.2f}",
        told if spread.beyond_chance else "",
    ]


def listed(sentences: Iterable[str]) -> str:
    """Return sentences as a list, each filled to the width of the terminal."""
    return "\n".join(paragraph(f"- {s}.".replace("..", "."), indent="  ") for s in sentences)


def ratio_rows(ratios: Sequence[Ratio]) -> list[dict[str, object]]:
    """Return the comparisons at their quoted condition as plain values, for JSON."""
    return [
        {
            "material": ratio.group.material,
            "state": ratio.group.state,
            "against_material": ratio.against.material,
            "against_state": ratio.against.state,
            **{name: float(getattr(ratio.conditions, name)[0]) for name in AXES},
            "ratio": float(ratio.ratio[0]),
            "low": float(ratio.low[0]),
            "high": float(ratio.high[0]),
            "margin": ratio.margin,
            "calibration": asdict(ratio.calibration),
            "cold_and_hot": [asdict(one) for one in standings(ratio)],
            "verdict": ratio.verdict,
            "words": ratio.words,
        }
        for ratio in ratios
    ]


def stick_slip_rows(found: Iterable[StickSlip]) -> list[dict[str, object]]:
    """Return where packs stick and slip as plain values, for JSON."""
    return [
        {
            "material": one.group.material,
            "state": one.group.state,
            **{name: value for name, value in asdict(one).items() if name != "group"},
            "onset_range": one.onset_range,
            "words": stick_slip_words(one),
        }
        for one in found
    ]


def chatter_words(found: Iterable[StickSlip]) -> str:
    """Return a paragraph for each group that does not run quietly."""
    loud = [one for one in found if one.verdict != NONE]
    return "\n".join(paragraph(f"- {stick_slip_words(one)}.", indent="  ") for one in loud)
