"""Zeros, noise and standstills unlike those of the other runs."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from operator import attrgetter

from rigdata.reduction.faults.compared import Compared, fault_of
from rigdata.reduction.faults.courses import Strays
from rigdata.reduction.faults.fault import EVERY_CHANNEL, Action, Fault, Kind, Sureness
from rigdata.reduction.faults.traits import Cell, Traits, middle, others

_CLEAR = 8.0  # spreads of the other runs
_DRIFTS = 6.0  # the same for zeros, of which there are many
_FEWEST = 5  # other runs that show their spread
_SMALL = 0.005  # of what the run goes up to: less does nothing
_LARGE = 0.02  # where there are no other runs to tell what is usual
_LEAST_STILL_S = 1.0
_WITHOUT_PAUSE = ("speed-sweep", "load-sweep", "temperature-sweep", "steady")
_LOUD = 3.0  # times the usual noise
_SWINGS = 4.0  # times what two readings differ by for their noise
_RESTLESS = 0.01  # of mu: below that plates themselves are restless (common practice, no source)
_STRAYS, _PEERS = 2.5, 3  # times the usual scatter about like runs, of so many
_FEW = 4.0  # runs: the fewer there are, the worse they show what is usual
_WAVE, _DRAG_WAVE = 0.7, 0.4  # share of that scatter that one wave explains
_UNITS = {"torque": "N*m", "clamp_load": "N"}
_size, _wave_size = attrgetter("size"), attrgetter("wave_size")


def cells(one: Traits) -> tuple[tuple[str, Cell], ...]:
    """Return the two cells of a run by their channel."""
    return ("torque", one.torque), ("clamp_load", one.load)


def _of_drag(one: Traits) -> Action:
    """A friction run counts the doubt as uncertainty; drag is small beside it, and borrowed."""
    return Action.LEFT_OUT if one.procedure == "drag" else Action.KEPT


def zero_drift(campaign: Compared) -> Iterator[Fault]:
    """Find zeros that move by more within a run than they do in the others.

    A zero run has no idle ends; its halves lie nearer together than the ends of other
    runs do, and it is set beside other zero runs where there are enough.  Without load
    the load cell goes up to nothing: what its zero does is then a share of the usual load.
    """
    usual_load, _, _ = middle(run.load.top for run in campaign.traits if _loaded(run))
    for one in campaign.traits:
        rest_of = _same_ends(campaign.traits, one)
        for name, cell in cells(one):
            drift = cell.drift
            if not math.isfinite(drift) or campaign.has(one.run, Kind.UNPLUGGED, Kind.SWAPPED):
                continue
            centre, spread, count = middle(dict(cells(run))[name].drift for run in rest_of)
            bare = name == "clamp_load" and not _loaded(one)
            top = usual_load if bare else cell.top
            share = abs(drift) / top if top > 0.0 else 0.0  # none is known beside bare runs alone
            if count < _FEWEST:
                found = _loaded(one) and share > _LARGE
                against = f"{100 * _LARGE:.0f} % of its top"
            else:
                limit = _DRIFTS * max(spread, 0.3 * cell.noise)
                found = abs(drift - centre) > limit and share > _SMALL
                against = f"a limit of {limit:.2g} {_UNITS[name]}, {_DRIFTS:.0f} spreads of others"
            if found:
                many = count >= _FEWEST and abs(drift - centre) > 2.5 * limit
                of = "the usual top" if bare else "the top"
                shown = f"{drift:.3g} {_UNITS[name]} from start to end, {100 * share:.2g} % of {of}"
                evidence = f"{shown}, against {against}; its course between is not known"
                sure = Sureness.CERTAIN if many else Sureness.LIKELY
                action = _of_drag(one) if name == "torque" else Action.KEPT
                yield fault_of(one, Kind.ZERO_DRIFT, name, sure, evidence, action)


def _loaded(one: Traits) -> bool:
    return one.procedure not in ("zero", "drag")


def _same_ends(runs: Sequence[Traits], one: Traits) -> list[Traits]:
    """Return the other runs whose zeros are taken at the same places as those of one."""
    rest = others(runs, one)
    same = [run for run in rest if (run.procedure == "zero") == (one.procedure == "zero")]
    return same if len(same) >= _FEWEST else rest


def no_slip(campaign: Compared) -> Iterator[Fault]:
    """Find packs that stand still under load for longer than in runs of the same procedure."""
    for one in campaign.traits:
        if one.procedure in ("zero", "breakaway") or not math.isfinite(one.still_s):
            continue
        if campaign.has(one.run, Kind.LOAD_LAG):
            continue
        like = [run for run in others(campaign.traits, one) if run.procedure == one.procedure]
        usual, spread, count = middle(run.still_s for run in like)
        if count < 2:
            if one.procedure not in _WITHOUT_PAUSE:
                continue
            usual, spread = 0.0, 0.5
        excess = one.still_s - usual
        if excess <= max(_CLEAR * spread, _LEAST_STILL_S, 0.5 * usual):
            continue
        than = f"in {count} other {one.procedure} runs {usual:.2g} s" if count > 1 else "unasked"
        evidence = f"standstill under load for {one.still_s:.3g} s, {than}"
        sure = Sureness.LIKELY if count > 1 else Sureness.POSSIBLE
        fault = fault_of(one, Kind.NO_SLIP, "slip_speed", sure, evidence, Action.KEPT)
        start = one.still_from_s
        yield replace(fault, start_s=start, end_s=start + one.still_s)


def loud_idle(campaign: Compared) -> Iterator[Fault]:
    """Find torque that is unquiet on the idle bench, as mains folded to a slow wave make it."""
    for one in campaign.traits:
        known = (Kind.ALIASING, Kind.ZERO_DRIFT, Kind.UNPLUGGED, Kind.SWAPPED)
        if campaign.has(one.run, *known):
            continue
        like = [
            run
            for run in others(campaign.traits, one)
            if math.isclose(run.rate_hz, one.rate_hz, rel_tol=0.01)
        ]
        for what, own, least, rest in (
            ("swings", one.torque.noise, 0.0, [run.torque.noise for run in like]),
            ("wanders", one.torque.wander, one.torque.noise, [run.torque.wander for run in like]),
        ):
            usual, spread, count = middle(rest)
            limit = max(_LOUD * usual, usual + _CLEAR * spread, least)
            if count < _FEWEST or not own > limit:
                continue
            evidence = (
                f"the torque of the idle bench {what} by {own:.2g} N*m, in {count} other runs by "
                f"{usual:.2g} N*m; mains hum that the log folds to a slow wave does that"
            )
            action = _of_drag(one)
            yield fault_of(one, Kind.ALIASING, "torque", Sureness.POSSIBLE, evidence, action)
            break


def restless(campaign: Compared) -> Iterator[Fault]:
    """Find steady runs in which mu goes up and down by far more than its noise."""
    for one in campaign.traits:
        swing = campaign.swings.get(one.run)
        if swing is None or swing.times <= _SWINGS or swing.size <= _RESTLESS:
            continue
        if campaign.has(one.run, *Kind):
            continue
        evidence = (
            f"mu goes {100 * swing.size:.2g} % to one side and back in {swing.readings} readings "
            f"at one speed, temperature and load, {swing.times:.2g} times what their noise lets "
            "expect; a hum that the log folds to almost nothing does that"
        )
        yield fault_of(one, Kind.ALIASING, "torque", Sureness.POSSIBLE, evidence, Action.KEPT)


def swapped_zeros(campaign: Compared) -> Iterator[Fault]:
    """Find runs without load in which both cells have another zero than in all others."""
    for one in campaign.traits:
        if _loaded(one):
            continue
        off = []
        for name, cell in cells(one):
            rest = [dict(cells(run))[name].zero for run in others(campaign.traits, one)]
            centre, spread, count = middle(rest)
            enough = count >= _FEWEST and math.isfinite(cell.zero)
            off.append(enough and abs(cell.zero - centre) > _CLEAR * max(spread, cell.noise))
        if all(off):
            evidence = (
                f"both zeros are unlike those of all other runs, torque {one.torque.zero:.3g} N*m "
                f"and load {one.load.zero:.3g} N"
            )
            yield fault_of(one, Kind.SWAPPED, "torque", Sureness.LIKELY, evidence, Action.LEFT_OUT)


def busy_end(campaign: Compared) -> Iterator[Fault]:
    """Find logs that end at work where those of other runs end idle."""
    for one in campaign.traits:
        rest = [run.busy_end for run in others(campaign.traits, one)]
        told = campaign.has(one.run, Kind.CUT_OFF, Kind.UNPLUGGED)
        if not one.busy_end or told or len(rest) < 2 or sum(rest) > 0.25 * len(rest):
            continue
        evidence = (
            f"it ends at {one.span[1]:.4g} s with the bench at work, where others end idle, so "
            "that the drift of the zero is not known"
        )
        fault = fault_of(one, Kind.CUT_OFF, EVERY_CHANNEL, Sureness.LIKELY, evidence, Action.KEPT)
        yield replace(fault, start_s=one.span[1])


def odd_course(campaign: Compared) -> Iterator[Fault]:
    """Find torque that goes otherwise over time than in like runs, the oddest first.

    A slow wave through it is a fast oscillation that the log folded almost to nothing; at
    rest it shows no more than a zero that moves.  A run once found is no measure for the
    others any more, nor is one whose drag is that of another pack, for want of its own.
    """
    odd = {fault.run for fault in campaign.faults}
    bare = {one.pack for one in campaign.traits if one.procedure == "drag" and one.run in odd}
    odd |= {one.run for one in campaign.traits if one.pack in bare}
    runs = {one.run: one for one in campaign.traits if one.run in campaign.courses}
    while True:
        strays = {
            run: stray
            for run, course in campaign.courses.items()
            if run in runs and run not in odd and (stray := course.without(odd)) is not None
        }
        excess = {run: _excess(run, runs, strays) for run in strays}
        worst = max(excess, key=lambda run: excess[run], default="")
        if not worst or excess[worst] <= 1.0:
            return
        odd.add(worst)
        yield _strayed(runs[worst], runs, strays)


def _excess(run: str, runs: Mapping[str, Traits], strays: Mapping[str, Strays]) -> float:
    """By how many times a run strays more than the others of its procedure may."""
    size = _over(run, runs, strays, _size)
    # Packs drag differently, and slowly so: a wave of theirs is no sign.
    drag = runs[run].procedure == "drag"
    return size if drag else max(size, _over(run, runs, strays, _wave_size))


def _over(
    run: str,
    runs: Mapping[str, Traits],
    strays: Mapping[str, Strays],
    of: Callable[[Strays], float],
) -> float:
    usual, spread, count = _usual(run, runs, strays, of)
    if count == 0:
        return 0.0
    limit = max(_STRAYS * usual, usual + _CLEAR * spread) * (1.0 + _FEW / count)
    return of(strays[run]) / limit


def _usual(
    run: str,
    runs: Mapping[str, Traits],
    strays: Mapping[str, Strays],
    of: Callable[[Strays], float],
) -> tuple[float, float, int]:
    sizes = [
        of(stray)
        for other, stray in strays.items()
        if other != run and runs[other].procedure == runs[run].procedure
    ]
    return middle(sizes) if len(sizes) >= _PEERS else (math.nan, math.nan, 0)


def _strayed(one: Traits, runs: Mapping[str, Traits], strays: Mapping[str, Strays]) -> Fault:
    usual, _, _ = _usual(one.run, runs, strays, _size)
    drag, stray = one.procedure == "drag", strays[one.run]
    scale, unit = (1.0, "N*m") if drag else (100.0, "%")
    what = (
        f"torque strays by {scale * stray.size:.2g} {unit} from its course in like runs, others "
        f"of its procedure by {scale * usual:.2g} {unit}"
    )
    period, share = stray.wave()
    if drag and stray.move() > max(0.9 * share, _DRAG_WAVE):  # a slow wave bends to both
        kind = Kind.ZERO_DRIFT
        what += "; most of that is one move, as of a zero"
    elif share > (_DRAG_WAVE if drag else _WAVE) or (
        not drag and _over(one.run, runs, strays, _wave_size) > 1.0
    ):
        kind = Kind.ALIASING
        what += (
            f"; a wave of {period:.2g} s is {100 * share:.0f} % of that, as a hum makes that "
            f"{one.rate_hz:.3g} samples a second fold to almost nothing"
        )
    else:
        kind = Kind.ODD_LEVEL
    return fault_of(one, kind, "torque", Sureness.POSSIBLE, what, _of_drag(one))
