"""What a law is: a formula for mu with named parameters and its derivatives."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.friction.conditions import DWELL, Conditions, ReferenceCondition, shown_axes

# exp() of more than this says nothing about friction and would only overflow.
_EXPONENT_LIMIT = 50.0


@dataclass(frozen=True)
class LawParameter:
    """One parameter of a law.

    Attributes
    ----------
    name : str
        As in the formula and in fits.json.
    unit : str
        Its unit, ``1`` for a number.
    meaning : str
        What it is, in words a test engineer uses.
    axes : tuple of str
        The members of `ALL_AXES` that the data must vary to show it.
    neutral : float or None
        Value held when the data cannot show it: the law then does without it.
        None where the law has no meaning without the parameter.
    low, high : float
        Bounds, infinite where there is none.
    bound_reason : str
        Why the bounds are there.
    below, above : str
        What to test where the data show no lower or no upper limit of it; empty where
        that is only a wider range of its axes.
    """

    name: str
    unit: str
    meaning: str
    axes: tuple[str, ...] = ()
    neutral: float | None = None
    low: float = -np.inf
    high: float = np.inf
    bound_reason: str = "none: either sign is possible"
    below: str = ""
    above: str = ""


@dataclass(frozen=True)
class Smooth:
    """Parameters that stand for the shape of a law and are drawn towards 0 together.

    Attributes
    ----------
    name : str
        What they are, in words a test engineer uses.
    members : tuple of str
        Their names.
    """

    name: str
    members: tuple[str, ...]


LawFunction = Callable[[Conditions, FloatArray, ReferenceCondition], FloatArray]
StartFunction = Callable[[Conditions, FloatArray, ReferenceCondition], list[FloatArray]]
LayoutFunction = Callable[[Conditions], frozenset[str]]


@dataclass(frozen=True)
class Law:
    """A formula for mu, as plain functions of the condition and the parameters.

    Formulas also take parameters of their own at each condition, (p, n).

    Attributes
    ----------
    name : str
        Name used in files and on the command line.
    formula : str
        The formula in one line.
    parameters : tuple of LawParameter
        The p parameters in the order of `theta`.
    mu : function (conditions, theta, reference) -> (n,) array
    jacobian : function (conditions, theta, reference) -> (n, p) array
        Derivatives of mu with respect to the parameters.
    starts : function (conditions, mu, reference) -> list of (p,) arrays
        Start values found from the data, best first.
    simpler : tuple of str
        Parameters that the law is first tried without, most dispensable first:
        the first is freed when the data determine the rest, and the next are held
        too when they do not.
    undetermined : function (conditions) -> frozenset of str
        Parameters that tests laid out like these cannot show although they vary
        all of its axes.
    smooths : tuple of Smooth
        Parameters that take part as normal with mean 0 and one variance for each
        smooth, found from the data; none in a formula.
    plainer : str
        Name of the law to take where the data do not determine this one; empty where
        there is none.
    """

    name: str
    formula: str
    parameters: tuple[LawParameter, ...]
    mu: LawFunction
    jacobian: LawFunction
    starts: StartFunction
    simpler: tuple[str, ...] = ()
    undetermined: LayoutFunction = lambda _: frozenset()
    smooths: tuple[Smooth, ...] = ()
    plainer: str = ""

    @property
    def names(self) -> tuple[str, ...]:
        """Parameter names in the order of `theta`."""
        return tuple(parameter.name for parameter in self.parameters)

    @property
    def drawn(self) -> frozenset[str]:
        """Names of the parameters of smooths."""
        return frozenset(name for smooth in self.smooths for name in smooth.members)


COEFFICIENT_AT_REFERENCE = LawParameter(
    "mu0",
    "1",
    "friction coefficient at the reference condition",
    low=0.0,
    bound_reason="friction opposes slip",
)
TEMPERATURE_COEFFICIENT = LawParameter(
    "b", "1/K", "relative change of mu per kelvin", axes=("temperature_c",), neutral=0.0
)
PRESSURE_EXPONENT = LawParameter(
    "c", "1", "exponent of the face pressure", axes=("pressure_mpa",), neutral=0.0
)


def surroundings(
    conditions: Conditions, b: float, c: float, reference: ReferenceCondition
) -> FloatArray:
    """Return the factor ``exp(b (T - T0)) (p / p0)^c`` that laws share, (n,)."""
    exponent = b * (conditions.temperature_c - reference.temperature_c)
    exponent = exponent + c * log_pressure(conditions, reference)
    return limited_exp(exponent)


def combined(columns: FloatArray, coefficients: FloatArray) -> FloatArray:
    """Return ``columns @ coefficients`` for (n, k) columns, or row by row for (k, n), (n,)."""
    if coefficients.ndim == 1:
        total: FloatArray = columns @ coefficients
    else:
        total = np.sum(columns * coefficients.T, axis=1)
    return total


def surroundings_slopes(
    value: FloatArray, conditions: Conditions, reference: ReferenceCondition
) -> tuple[FloatArray, FloatArray]:
    """Return the derivatives by b and c, each (n,), of a law that is `value` (n,) there."""
    by_temperature = value * (conditions.temperature_c - reference.temperature_c)
    return by_temperature, value * log_pressure(conditions, reference)


def limited_exp(exponent: FloatArray) -> FloatArray:
    """Return ``exp(exponent)``, kept from overflow, (n,)."""
    power: FloatArray = np.exp(np.clip(exponent, -_EXPONENT_LIMIT, _EXPONENT_LIMIT))
    return power


def log_pressure(conditions: Conditions, reference: ReferenceCondition) -> FloatArray:
    """Return ``ln(p / p0)``, (n,)."""
    logarithm: FloatArray = np.log(conditions.pressure_mpa / reference.pressure_mpa)
    return logarithm


def start_surroundings(
    conditions: Conditions, mu: FloatArray, reference: ReferenceCondition
) -> tuple[float, float]:
    """Return start values of b and c from a line in ln mu, 0 where an axis is not shown.

    The slip speed enters as a parabola in ln v and the dwell as a line in ln t, so
    that their effects are not taken for that of a temperature that rises with them.
    """
    shown = shown_axes(conditions)
    columns = [np.ones(mu.shape)]
    if "slip_speed_m_s" in shown:
        speed = np.log(conditions.slip_speed_m_s / reference.slip_speed_m_s)
        columns += [speed, speed**2]
    if DWELL in shown:
        columns.append(np.log(conditions.dwell_s))
    place = {}
    if "temperature_c" in shown:
        place["b"] = len(columns)
        columns.append(conditions.temperature_c - reference.temperature_c)
    if "pressure_mpa" in shown:
        place["c"] = len(columns)
        columns.append(log_pressure(conditions, reference))
    solution = np.linalg.lstsq(np.stack(columns, axis=1), np.log(mu), rcond=None)[0]
    b, c = (float(solution[place[k]]) if k in place else 0.0 for k in "bc")
    return b, c
