"""Torque, load or speed of one run in another unit than the rig file says."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from rigdata.quantities import QUANTITIES, UNITS
from rigdata.reduction.faults.compared import Compared, fault_of
from rigdata.reduction.faults.fault import Action, Fault, Kind, Sureness
from rigdata.reduction.faults.levels import Level
from rigdata.reduction.faults.traits import Traits, middle, others

# Units that no rig file may name but that instruments can be set to, in SI.
_MORE = {
    "torque": {"kgf*m": 9.80665},
    "force": {"kgf": 9.80665},
    "angular speed": {"1/s": 2.0 * math.pi, "deg/s": math.pi / 180.0},
}
_CLEAR = 6.0  # spreads by which a level must be off
_HINTS, _SHOWS = 4.0, 2.0  # enough where the noise is off by so many of its own, by the same factor
_FEW = 2.0  # packs: the fewer there are, the worse they show how far packs differ
_LEAST = 0.15  # of ln mu: the factor nearest to one is 0.738
_NOISE_LN = 0.13  # of a standard deviation that a few dozen samples show
_AGREES = 3.0


@dataclass(frozen=True)
class _Factor:
    """Values in `logged` taken for `said` are `value` times what they should be."""

    value: float
    logged: str
    said: str

    @property
    def ln(self) -> float:
        return math.log(self.value)


@dataclass(frozen=True)
class _Guess:
    channel: str
    factor: _Factor
    misfit: float  # how badly level and noise fit, as a sum of squares
    noise: float  # how far the noise is off, in its own spread


def units(campaign: Compared) -> Iterator[Fault]:
    """Find runs whose torque over load, or whose speed, is off by the factor of a unit.

    The level alone would not tell torque in one unit from load in the inverse one, nor
    either from a change of friction.  What is logged in another unit has the noise of
    the idle channel in that unit too.
    """
    for one in campaign.traits:
        yield from _speed(campaign.traits, one)
        level = campaign.levels.get(one.run)
        if level is not None and abs(level.offset) > max(_HINTS * level.spread, _LEAST):
            yield from _off(campaign, one, level)


def _off(campaign: Compared, one: Traits, level: Level) -> Iterator[Fault]:
    """Find the unit that puts the level of a run off."""
    noise = {
        "torque": _noise(campaign.traits, one, lambda run: run.torque.noise),
        "clamp_load": _noise(campaign.traits, one, lambda run: run.load.noise),
    }
    channels = ("torque",) if one.procedure == "drag" else ("torque", "clamp_load")
    guesses = []
    for channel in channels:
        for factor in _factors(QUANTITIES[channel].dimension):
            shown = factor.ln if channel == "torque" else -factor.ln
            own = (level.offset - shown) / level.spread
            if abs(own) > _AGREES:
                continue
            apart = {
                name: ln - (factor.ln if name == channel else 0.0) for name, ln in noise.items()
            }
            far = [value / _NOISE_LN for value in apart.values() if math.isfinite(value)]
            squares = own**2 + sum(value**2 for value in far)
            worst = max((abs(value) for value in far), default=math.inf)
            guesses.append(_Guess(channel, factor, squares, worst))
    if abs(level.offset) <= _CLEAR * level.spread and not _shown(guesses, noise):
        return
    if not guesses or min(g.noise for g in guesses) > 2.0 * _AGREES:
        return
    best = min(guesses, key=lambda guess: guess.misfit)
    rest = [g.misfit for g in guesses if g.channel != best.channel]
    factor, seen = best.factor, _seen(one, level)
    evidence = f"{seen}; {factor.logged} taken for {factor.said} gives {factor.value:.3g}"
    channel, own = best.channel.replace("_", " "), noise[best.channel]
    if not abs(own - factor.ln) < abs(own):
        evidence += f", though the noise of the idle {channel} does not show it"
        action = _kept(one)
        yield fault_of(one, Kind.UNIT, best.channel, Sureness.POSSIBLE, evidence, action)
        return
    evidence += f", and the noise of its idle {channel} is {math.exp(own):.2g} times that of others"
    alone = best.noise <= _AGREES and min(rest, default=math.inf) > best.misfit + _AGREES**2
    sure = Sureness.CERTAIN if alone else Sureness.LIKELY
    yield fault_of(one, Kind.UNIT, best.channel, sure, evidence, Action.LEFT_OUT)


def odd_levels(campaign: Compared) -> Iterator[Fault]:
    """Find runs whose torque over load is off by no unit, and by nothing else that was found."""
    for one in campaign.traits:
        level = campaign.levels.get(one.run)
        if level is None or campaign.has(one.run, Kind.UNIT, Kind.ALIASING, Kind.ODD_LEVEL):
            continue
        clear = _CLEAR * level.spread * (1.0 + _FEW / level.packs)
        if abs(level.offset) > max(clear, _LEAST):
            seen = _seen(one, level)
            yield fault_of(one, Kind.ODD_LEVEL, "torque", Sureness.POSSIBLE, seen, _kept(one))


def _seen(one: Traits, level: Level) -> str:
    like = f"{level.runs} like runs of {level.packs} packs (spread {100 * level.spread:.0f} %)"
    quantity = "drag torque" if one.procedure == "drag" else "torque over load"
    return f"{quantity} is {level.ratio:.3g} times that of {like}"


def _shown(guesses: Sequence[_Guess], noise: Mapping[str, float]) -> bool:
    """Whether the idle noise alone shows a unit that the level agrees with."""
    return any(
        abs(noise[guess.channel]) > _SHOWS * _NOISE_LN and guess.noise < _SHOWS for guess in guesses
    )


def _kept(one: Traits) -> Action:
    """An odd friction run is told and kept; odd drag must not be taken off those of its pack."""
    return Action.LEFT_OUT if one.procedure == "drag" else Action.KEPT


def _speed(runs: Sequence[Traits], one: Traits) -> Iterator[Fault]:
    """Find slip speed in another unit, from its reach and from its noise at rest."""
    like = [run for run in others(runs, one) if run.procedure == one.procedure]
    reach, spread, count = middle(math.log(run.top_speed) for run in like if run.top_speed > 0.0)
    if count < 2 or one.top_speed <= 0.0 or one.procedure == "zero":
        return
    offset = math.log(one.top_speed) - reach
    noise = _noise(runs, one, lambda run: run.speed_noise)
    # Runs of one procedure may reach from half to twice the usual speed.
    width = max(spread, 0.35)
    for factor in _factors("angular speed"):
        near = abs(offset - factor.ln) < 2.0 * width and abs(offset) > 2.5 * width
        if near and abs(noise - factor.ln) <= _AGREES * _NOISE_LN:
            evidence = (
                f"it goes up to {math.exp(offset):.3g} times what {count} other {one.procedure} "
                f"runs do, and its noise at rest is {math.exp(noise):.3g} times theirs; "
                f"{factor.logged} taken for {factor.said} gives {factor.value:.3g}"
            )
            yield fault_of(
                one, Kind.UNIT, "slip_speed", Sureness.CERTAIN, evidence, Action.LEFT_OUT
            )
            return


def _noise(runs: Sequence[Traits], one: Traits, of: Callable[[Traits], float]) -> float:
    """Logarithm of the idle noise of a run over that of the others."""
    own = of(one)
    usual, _, count = middle(of(run) for run in others(runs, one))
    if count < 2 or not own > 0.0 or not usual > 0.0:
        return math.nan
    return math.log(own / usual)


def _factors(dimension: str) -> Iterator[_Factor]:
    """Yield the factor of every unit of a dimension taken for every other."""
    known: Mapping[str, float] = {
        **{unit.symbol: unit.factor for unit in UNITS.values() if unit.dimension == dimension},
        **_MORE.get(dimension, {}),
    }
    for logged, is_worth in known.items():
        for said, stands_for in known.items():
            if logged != said:
                # A value in `logged` is smaller, the larger that unit is.
                yield _Factor(stands_for / is_worth, logged, said)
