"""Quantities of a digital calibration certificate: D-SI elements to numbers.

Elements are found by their names without namespace, which is the same for all
versions.  Two spellings of an uncertainty are in use and both are read:
``expandedUnc`` up to D-SI 2.1, ``measurementUncertaintyUnivariate`` from 2.2 on;
each has ``XMLList`` behind its names where it stands in a list.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from dataclasses import dataclass

import numpy as np

from rigdata.arrays import FloatArray, frozen
from rigdata.campaign.csv_file import is_usable
from rigdata.errors import CampaignError

# D-SI unit to a unit of rigdata and the factor on the way.
DSI_UNITS: dict[str, tuple[str, float]] = {
    r"\newton\metre": ("N*m", 1.0),
    r"\kilo\newton\metre": ("kN*m", 1.0),
    r"\newton": ("N", 1.0),
    r"\kilo\newton": ("kN", 1.0),
    r"\radian\per\second": ("rad/s", 1.0),
    r"\radian\second\tothe{-1}": ("rad/s", 1.0),
    r"\degreecelsius": ("degC", 1.0),
    r"\kelvin": ("K", 1.0),
    r"\volt": ("V", 1.0),
    r"\milli\volt": ("mV", 1.0),
    r"\milli\volt\per\volt": ("mV/V", 1.0),
    r"\milli\volt\volt\tothe{-1}": ("mV/V", 1.0),
    r"\metre": ("mm", 1e3),
    r"\milli\metre": ("mm", 1.0),
    r"\micro\metre": ("um", 1.0),
    r"\pascal": ("MPa", 1e-6),
    r"\kilo\pascal": ("MPa", 1e-3),
    r"\mega\pascal": ("MPa", 1.0),
    r"\bar": ("bar", 1.0),
    r"\one": ("1", 1.0),
}


@dataclass(frozen=True, eq=False)
class Listed:
    """One quantity of a certificate.

    Attributes
    ----------
    unit : str
        Unit, as in `rigdata.quantities.UNITS`.
    values : (n,) float
        The values. [unit]
    u : (n,) float or None
        Standard uncertainty ``U / k`` of each [unit]; None where none is stated.
    k : (n,) float or None
        Coverage factor as stated.
    """

    unit: str
    values: FloatArray
    u: FloatArray | None
    k: FloatArray | None

    def __post_init__(self) -> None:
        for name in ("values", "u", "k"):
            numbers = getattr(self, name)
            object.__setattr__(self, name, None if numbers is None else frozen(numbers))


def read_quantity(quantity: ET.Element, where: str) -> Listed:
    """Read the numbers of one quantity.

    Parameters
    ----------
    quantity : Element
        A quantity with one ``real`` or ``realListXMLList``, or a ``hybrid`` of
        them: the same quantity in several units, of which the first with a
        unit of `DSI_UNITS` counts.
    where : str
        What it is, for messages.

    Raises
    ------
    CampaignError
        When it holds no numbers, a unit is not one of `DSI_UNITS`, a number is
        not finite, a list has the wrong length, or an uncertainty comes without
        a coverage factor above 0.
    """
    forms = _forms(quantity)
    if not forms:
        raise CampaignError("holds no real numbers", where=where)
    known = [form for form in forms if _known(form)]
    if not known:
        units = ", ".join(dict.fromkeys(text for e in forms for text in _unit_texts(e)))
        raise CampaignError(
            f"unit '{units}' is not read", where=where, expected="one of " + ", ".join(DSI_UNITS)
        )
    return _listed(known[0], where)


def _forms(quantity: ET.Element) -> list[ET.Element]:
    return [
        form
        for holder in (quantity, *children(quantity, "hybrid"))
        for form in holder
        if local(form) in ("real", "realListXMLList")
    ]


def _known(form: ET.Element) -> bool:
    units = _unit_texts(form)
    return bool(units) and set(units) <= set(DSI_UNITS)


def _listed(form: ET.Element, where: str) -> Listed:
    units = _unit_texts(form)
    if len(set(units)) > 1:
        raise CampaignError("a list mixes units", where=where, expected="one unit for all values")
    unit, factor = DSI_UNITS[units[0]]
    values = factor * _numbers(form, "value", where)
    if len(units) not in (1, values.size):
        raise CampaignError(
            f"{len(units)} units for {values.size} values", where=where, expected="1, or one each"
        )
    old = children(form, "expandedUnc")
    new = [e for part in children(form, "measurementUncertaintyUnivariate") for e in part]
    expanded = old + [e for e in new if plain(e) == "expandedMU"]
    if not expanded:
        if new:
            raise CampaignError(
                f"states its uncertainty as {local(new[0])}, which is not read",
                where=where,
                expected="an expanded uncertainty with its coverage factor",
            )
        return Listed(unit, values, None, None)
    name = "uncertainty" if old else "valueExpandedMU"
    size = values.size
    wide = _spread(_numbers(expanded[0], name, where), size, "uncertainties", where)
    k = _spread(_numbers(expanded[0], "coverageFactor", where), size, "coverage factors", where)
    if np.any(k <= 0.0):
        raise CampaignError("a coverage factor is not above 0", where=where)
    if np.any(wide < 0.0):
        raise CampaignError("an uncertainty is negative", where=where)
    with np.errstate(over="ignore"):
        u = factor * wide / k
    if not np.all(np.isfinite(u)):
        raise CampaignError("an uncertainty is beyond every number", where=where)
    return Listed(unit, values, u, k)


def _spread(numbers: FloatArray, size: int, what: str, where: str) -> FloatArray:
    """Return one number for each value; a single one stands for all."""
    if numbers.size not in (1, size):
        raise CampaignError(
            f"{numbers.size} {what} for {size} values", where=where, expected="1, or one each"
        )
    return np.broadcast_to(numbers, (size,))


def _numbers(parent: ET.Element, name: str, where: str) -> FloatArray:
    found = children(parent, name)
    texts = (found[0].text or "").split() if found else []
    if not texts:
        raise CampaignError(f"has no {name}", where=where, expected=f"numbers in {name}")
    for text in texts:
        if not is_usable(text):
            raise CampaignError(f"{name} is '{text[:40]}'", where=where, expected="finite numbers")
    return np.array([float(text) for text in texts])


def _unit_texts(form: ET.Element) -> list[str]:
    return [text for unit in children(form, "unit") for text in (unit.text or "").split()]


def ref_types(quantity: ET.Element) -> tuple[str, ...]:
    """Return the reference types of a quantity, which say what it is."""
    return tuple(quantity.get("refType", "").split())


def has_known_unit(quantity: ET.Element) -> bool:
    """Tell whether a quantity, or one form of a hybrid, has a unit of `DSI_UNITS`."""
    return any(_known(form) for form in _forms(quantity))


def has_relative_uncertainty(quantity: ET.Element) -> bool:
    """Tell whether a quantity states a relative uncertainty, which is not read."""
    return bool(children(quantity, "relativeUncertainty"))


def local(element: ET.Element) -> str:
    """Return the name of an element without its namespace."""
    return str(element.tag).rsplit("}", 1)[-1]


def plain(element: ET.Element) -> str:
    """Return the name of an element, the same in a list and alone."""
    return local(element).removesuffix("XMLList")


def children(parent: ET.Element, name: str) -> list[ET.Element]:
    """Return the elements `name` directly in `parent`, in a list or alone."""
    return [child for child in parent if plain(child) == name]
