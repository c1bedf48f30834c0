"""The laws that can be fitted, simplest first."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType

from rigdata.campaign.campaign import Oil
from rigdata.errors import FitError
from rigdata.friction.laws import constant, dwell, hersey, log_speed, quadratic, static, stribeck
from rigdata.friction.laws.base import Law

_ALWAYS = (constant.LAW, log_speed.LAW, stribeck.LAW, quadratic.LAW)
LAWS = MappingProxyType({law.name: law for law in _ALWAYS})
STATIC_LAWS = MappingProxyType({law.name: law for law in (constant.LAW, static.LAW, dwell.LAW)})
_OF_OIL: dict[str, Callable[[Oil], Law]] = {hersey.NAME: hersey.hersey}


def laws_for(oil: Oil | None) -> Mapping[str, Law]:
    """Return the laws that can be fitted to packs that slip in `oil`; None for dry packs."""
    if oil is None:
        return LAWS
    return {**LAWS, **{name: made_for(oil) for name, made_for in _OF_OIL.items()}}


def law(name: str, oil: Oil | None = None) -> Law:
    """Return the law called `name`, kinetic or static, for packs in `oil`.

    Raises
    ------
    FitError
        When there is no such law, or it needs an oil and there is none.
    """
    if oil is None and name in _OF_OIL:
        raise FitError(
            f"the {name} law needs the viscosity of the oil",
            expected="an [oil] table in campaign.toml",
            do="Give the oil, or choose among " + ", ".join(LAWS),
        )
    found = {**laws_for(oil), **STATIC_LAWS}
    if name not in found:
        raise FitError(f"there is no law '{name}'", expected="one of " + ", ".join(found))
    return found[name]
