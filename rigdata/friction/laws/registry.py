"""The laws that can be fitted, simplest first."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from rigdata.campaign.campaign import Oil
from rigdata.errors import FitError
from rigdata.friction.laws import (
    constant,
    dwell,
    hersey,
    log_speed,
    quadratic,
    static,
    stribeck,
    surface,
)
from rigdata.friction.laws.base import Law
from rigdata.friction.laws.knots import Knots

_ALWAYS = (constant.LAW, log_speed.LAW, stribeck.LAW, quadratic.LAW)
LAWS = MappingProxyType({law.name: law for law in _ALWAYS})
STATIC_LAWS = MappingProxyType({law.name: law for law in (constant.LAW, static.LAW, dwell.LAW)})
SURFACE = surface.NAME


def laws_for(oil: Oil | None) -> Mapping[str, Law]:
    """Return the formulas that can be fitted to packs that slip in `oil`; None for dry packs."""
    return LAWS if oil is None else {**LAWS, hersey.NAME: hersey.hersey(oil)}


def law(name: str, oil: Oil | None = None, knots: Knots | None = None) -> Law:
    """Return the law called `name`, kinetic or static.

    Parameters
    ----------
    name : str
    oil : Oil, optional
        Oil that the packs run in; None for dry packs.
    knots : Knots, optional
        Values tested between which a surface may bend.

    Raises
    ------
    FitError
        When there is no such law, or what it needs is not given.
    """
    check_law(name, oil)
    if name != SURFACE:
        return {**laws_for(oil), **STATIC_LAWS}[name]
    if knots is None:
        raise FitError("a surface needs the values that were tested", expected="its knots")
    return surface.surface(knots)


def check_law(name: str, oil: Oil | None) -> None:
    """Raise FitError when there is no law called `name`, or it needs an oil and there is none."""
    if name == hersey.NAME and oil is None:
        raise FitError(
            f"the {name} law needs the viscosity of the oil",
            expected="an [oil] table in campaign.toml",
            do="Give the oil, or choose among " + ", ".join(LAWS),
        )
    known = (*{**laws_for(oil), **STATIC_LAWS}, SURFACE)
    if name not in known:
        raise FitError(f"there is no law '{name}'", expected="one of " + ", ".join(known))
