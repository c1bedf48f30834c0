"""The formulas that a drag surface is chosen from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.campaign.campaign import Oil
from rigdata.campaign.viscosity import kinematic_viscosity

_VARIED_K = 5.0  # of the oil, from which on its temperature may enter


@dataclass(frozen=True)
class DragForm:
    """A sum of terms, each a product of factors; data alone, so that it can travel.

    Attributes
    ----------
    terms : tuple of tuple of str
        Factors of each term: ``sgn w``, ``w``, ``w |w|``, ``t`` and ``nu`` (its place
        is taken by ``t^2`` where the oil is not known).
    middle : float
        Temperature of the oil at which ``t`` is 0 and ``nu`` is 1. [degC]
    rest : float
        Slip speed that standstill noise reaches. [rad/s]
    oil : Oil or None
    """

    terms: tuple[tuple[str, ...], ...]
    middle: float
    rest: float
    oil: Oil | None

    def __call__(self, speed: FloatArray, oil_temperature: FloatArray) -> FloatArray:
        """(k, n) terms at n speeds [rad/s] and temperatures of the oil [degC]."""
        factors = {name: self._factor(name, speed, oil_temperature) for name in self._names}
        return np.stack([np.prod([factors[name] for name in term], axis=0) for term in self.terms])

    def __str__(self) -> str:
        """Return the formula, as ``sgn w + w nu``."""
        nu = "nu" if self.oil is not None else "t^2"
        return " + ".join(_words(term).replace("nu", nu) for term in self.terms)

    @property
    def _names(self) -> set[str]:
        return {name for term in self.terms for name in term}

    def _factor(self, name: str, w: FloatArray, t: FloatArray) -> FloatArray:
        if name == "sgn w":  # without the sign of the noise at standstill
            return np.clip(w / self.rest, -1.0, 1.0)
        if name == "w":
            return w
        if name == "w |w|":
            return w * np.abs(w)
        if name == "t":
            return (t - self.middle) / 50.0
        if self.oil is None:
            return ((t - self.middle) / 50.0) ** 2
        pair = (self.oil.kinematic_viscosity_40c_mm2_s, self.oil.kinematic_viscosity_100c_mm2_s)
        at_middle = kinematic_viscosity(np.array([self.middle]), *pair)[0]
        ratio: FloatArray = kinematic_viscosity(t, *pair) / at_middle
        return ratio


def _words(term: Sequence[str]) -> str:
    return "|w| w nu" if tuple(term) == _BENT_NU else " ".join(term)


_TURN, _W, _BENT = ("sgn w",), ("w",), ("w |w|",)
_W_NU, _W_T, _TURN_T, _BENT_NU = ("w", "nu"), ("w", "t"), ("sgn w", "t"), ("w |w|", "nu")
_ANY = ((_TURN, _W), (_TURN, _W, _BENT))
_WARMED = (
    (_TURN, _W_NU),
    (_TURN, _W, _W_NU),
    (_TURN, _W_NU, _BENT_NU),
    (_TURN, _W, _W_NU, _BENT_NU),
    (_TURN, _W, _W_NU, _BENT),
    (_TURN, _W, _W_T, _BENT),
    (_TURN, _W, _W_NU, _BENT, _BENT_NU),
    (_TURN, _W, _W_NU, _W_T, _BENT, _BENT_NU),
    (_TURN, _W, _W_NU, _W_T, _TURN_T, _BENT, _BENT_NU),
)


def candidates(oil_temperature: FloatArray, rest: float, oil: Oil | None) -> list[DragForm]:
    """Return the formulas to try on cells at these temperatures of the oil."""
    varied = float(np.ptp(oil_temperature)) > _VARIED_K
    middle = float(np.mean(oil_temperature))
    return [DragForm(f, middle, rest, oil) for f in (*_ANY, *(_WARMED if varied else ()))]
