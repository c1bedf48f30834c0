"""Causes of the uncertainty of a number, ranked and summed up."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from rigdata.uncertainty.sources import Scope

PACKS = "scatter between packs"
RUNS = "scatter between runs"
MISFIT = "scatter between points"
RANDOM = "noise of the readings"
SHAPE = "shape of the surface"
SCATTER = {"pack": (PACKS, Scope.PACK), "run": (RUNS, Scope.RUN), "misfit": (MISFIT, Scope.POINT)}


@dataclass(frozen=True)
class Share:
    """The part of one kind of cause in the uncertainty of a number.

    Attributes
    ----------
    cause : str
        Kind of source, one of the scatters, the noise, or how a surface may bend.
    u : float
        Standard uncertainty of the number from this cause alone.
    share : float
        Its part of the variance, from 0 to 1.
    """

    cause: str
    u: float
    share: float


@dataclass(frozen=True)
class Cause:
    """One cause of uncertainty of a number.

    Attributes
    ----------
    name : str
        Id of a source, or words for a scatter or the noise.
    kind : str
        What kind of cause it is, in words.
    scope : Scope
        How far one error of it reaches.
    label : str
        What it is, in the words of a test engineer.
    effect : float
        Change of the number for one standard deviation, in its unit; with the
        sign of a named source, positive for all else.
    dof : float
        Degrees of freedom of its standard uncertainty.
    """

    name: str
    kind: str
    scope: Scope
    label: str
    effect: float
    dof: float

    @property
    def is_source(self) -> bool:
        """Whether it is a named source, so that the sign of its effect means something."""
        return self.kind not in (PACKS, RUNS, MISFIT, RANDOM, SHAPE)


@dataclass(frozen=True)
class Budget:
    """All causes of uncertainty of one number.

    Attributes
    ----------
    quantity : str
        What the number is, in words.
    value, u : float
        The number and its standard uncertainty.
    low, high : float
        95 % interval.
    dof : float
        Effective degrees of freedom.
    causes : tuple of Cause
        The largest first; the squares of their effects add up to ``u^2``.
    """

    quantity: str
    value: float
    u: float
    low: float
    high: float
    dof: float
    causes: tuple[Cause, ...]

    @property
    def half_width(self) -> float:
        """Half the width of the 95 % interval."""
        return 0.5 * (self.high - self.low)

    @property
    def by_kind(self) -> tuple[Share, ...]:
        """Kinds of cause, the largest first."""
        variance_of: dict[str, float] = defaultdict(float)
        for cause in self.causes:
            variance_of[cause.kind] += cause.effect**2
        total = sum(variance_of.values())
        ranked = sorted(variance_of.items(), key=lambda entry: (-entry[1], entry[0]))
        return tuple(Share(kind, float(np.sqrt(v)), v / total) for kind, v in ranked if v > 0.0)

    @property
    def by_scope(self) -> dict[Scope, float]:
        """Share of the variance by how far its causes reach, rig first."""
        total = sum(cause.effect**2 for cause in self.causes)
        return {
            scope: sum(c.effect**2 for c in self.causes if c.scope is scope) / total
            for scope in Scope
        }


def ranked_budget(
    quantity: str,
    value: float,
    u: float,
    interval: tuple[float, float],
    dof: float,
    causes: Iterable[Cause],
) -> Budget:
    """Return a budget with its causes in order of size."""
    ranked = sorted(causes, key=lambda cause: (-abs(cause.effect), cause.name))
    return Budget(quantity, value, u, *interval, dof, tuple(ranked))


def kind_words(kind: str) -> str:
    """Return the kind of a source in words.

    >>> kind_words("clamp_load"), kind_words("outer-radius")
    ('clamp load', 'outer radius')
    """
    return kind.replace("_", " ").replace("-", " ")
