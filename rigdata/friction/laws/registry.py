"""The laws that can be fitted, simplest first."""

from __future__ import annotations

from types import MappingProxyType

from rigdata.errors import FitError
from rigdata.friction.laws import constant, log_speed, quadratic, stribeck
from rigdata.friction.laws.base import Law

_ALL = (constant.LAW, log_speed.LAW, stribeck.LAW, quadratic.LAW)
LAWS = MappingProxyType({law.name: law for law in _ALL})


def law(name: str) -> Law:
    """Return the law called `name`.

    Raises
    ------
    FitError
        When there is no such law.
    """
    if name not in LAWS:
        raise FitError(f"there is no law '{name}'", expected="one of " + ", ".join(LAWS))
    return LAWS[name]
