"""The Hersey law: the Stribeck law over eta v / p, so that warm oil acts like slow slip.

M. D. Hersey (J. Wash. Acad. Sci. 4 (1914) 542) found friction of lubricated
surfaces to follow viscosity times speed over pressure.  Temperature acts through
the viscosity alone; what pressure does beyond the film is left to an exponent.

Only the ratio to the reference condition enters, so kinematic viscosity stands
for dynamic viscosity: the oil's density cancels but for its fall with
temperature, some 4 % over 60 K where viscosity falls by a factor of 5.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache, partial

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.campaign.campaign import Oil, Reference
from rigdata.campaign.viscosity import kinematic_viscosity
from rigdata.friction.conditions import Conditions, ReferenceCondition
from rigdata.friction.laws import stribeck
from rigdata.friction.laws.base import Law, LawParameter

NAME = "hersey"


def hersey(oil: Oil) -> Law:
    """Return the law for a pack that runs in `oil`."""
    return Law(
        name=NAME,
        formula=(
            "mu = [mu_k + (mu_s - mu_k) exp(-(h/h_s)^d) + k h] (p/p0)^c "
            "with h = eta(T) v p0 / (eta(T0) v0 p)"
        ),
        parameters=_PARAMETERS,
        mu=partial(mu, oil),
        jacobian=partial(jacobian, oil),
        starts=partial(starts, oil),
        simpler=stribeck.LAW.simpler,
        plainer=stribeck.LAW.plainer,
    )


def hersey_number(oil: Oil, conditions: Conditions, reference: ReferenceCondition) -> FloatArray:
    """Return ``eta(T) v / p`` relative to the reference condition, (n,)."""
    temperatures = np.append(conditions.temperature_c, reference.temperature_c)
    viscosity = kinematic_viscosity(
        temperatures, oil.kinematic_viscosity_40c_mm2_s, oil.kinematic_viscosity_100c_mm2_s
    )
    speed = conditions.slip_speed_m_s / reference.slip_speed_m_s
    number: FloatArray = (
        viscosity[:-1] / viscosity[-1] * speed * reference.pressure_mpa / conditions.pressure_mpa
    )
    return number


def mu(
    oil: Oil, conditions: Conditions, theta: FloatArray, reference: ReferenceCondition
) -> FloatArray:
    """Return ``[mu_k + (mu_s - mu_k) exp(-(h/h_s)^d) + k h] (p/p0)^c``, (n,)."""
    return stribeck.mu(_over_number(oil, conditions, reference), _with_b(theta), reference)


def jacobian(
    oil: Oil, conditions: Conditions, theta: FloatArray, reference: ReferenceCondition
) -> FloatArray:
    """Return the derivatives with respect to mu_k, mu_s, h_s, d, k, c, (n, 6)."""
    place = _over_number(oil, conditions, reference)
    return stribeck.jacobian(place, _with_b(theta), reference)[:, _KEPT]


def starts(
    oil: Oil, conditions: Conditions, mu: FloatArray, reference: ReferenceCondition
) -> list[FloatArray]:
    """Return the starts of the Stribeck law over the Hersey number."""
    found = stribeck.starts(_over_number(oil, conditions, reference), mu, reference)
    return [theta[_KEPT] for theta in found[:_STARTS]]


def _over_number(oil: Oil, conditions: Conditions, reference: ReferenceCondition) -> Conditions:
    """Return conditions with h in place of slip speed and one temperature for all."""
    return _kept_over_number(
        oil, conditions, reference.slip_speed_m_s, reference.temperature_c, reference.pressure_mpa
    )


@lru_cache(maxsize=8)  # a fit asks for the same conditions, which are read-only, many times
def _kept_over_number(
    oil: Oil, conditions: Conditions, speed: float, temperature: float, pressure: float
) -> Conditions:
    number = hersey_number(oil, conditions, Reference(speed, temperature, pressure))
    return Conditions(number, temperature, conditions.pressure_mpa)


def _with_b(theta: FloatArray) -> FloatArray:
    return np.insert(theta, _B, 0.0, axis=0)


_STARTS = 2
_B = stribeck.LAW.names.index("b")
_KEPT = [i for i, name in enumerate(stribeck.LAW.names) if name != "b"]
_OWN = {
    "v_s": LawParameter(
        "h_s",
        "1",
        "h where the fall has gone 63 % of its way",
        axes=("slip_speed_m_s",),
        low=1e-5,
        high=1e5,
        bound_reason="Hersey numbers a clutch pack can have, against the reference",
        below="slower slips or warmer oil",
        above="faster slips or colder oil",
    ),
    "mu_k": replace(
        stribeck.LAW.parameters[0], meaning="coefficient that the fall with h leads to"
    ),
    "k": LawParameter("k", "1", "viscous rise per h", axes=("slip_speed_m_s",), neutral=0.0),
}
_PARAMETERS = tuple(_OWN.get(p.name, p) for p in stribeck.LAW.parameters if p.name != "b")
