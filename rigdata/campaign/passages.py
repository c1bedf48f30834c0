"""The passages over the range that a certificate holds: lists that belong together."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from rigdata.arrays import FloatArray, TextArray
from rigdata.campaign.dcc import groups
from rigdata.campaign.dsi import (
    Listed,
    has_known_unit,
    has_relative_uncertainty,
    read_quantity,
    ref_types,
)
from rigdata.errors import CampaignError
from rigdata.quantities import UNITS

ERROR_TYPE = "basic_measurementError"


@dataclass(frozen=True, eq=False)
class Passage:
    """Applied and indicated values of equal length.

    Attributes
    ----------
    applied, indicated : Listed
        The values.
    errors : tuple of Listed
        Measurement errors in a known unit that stand beside them, for their
        uncertainty.
    relative : bool
        Whether one of them states a relative uncertainty, which is not read.
    """

    applied: Listed
    indicated: Listed
    errors: tuple[Listed, ...]
    relative: bool

    @property
    def largest_u(self) -> tuple[FloatArray, FloatArray] | None:
        """The largest stated standard uncertainty (n,) in the applied unit, and its k (n,).

        That of the applied value, of the indicated one turned into the applied
        unit by the mean slope, or of the measurement error; None where none is
        stated.
        """
        unit = UNITS[self.applied.unit]
        rows = []
        for listed in (self.applied, self.indicated, *self.errors):
            if listed.u is None or listed.k is None:
                continue
            own = UNITS[listed.unit]
            if own.dimension == unit.dimension:
                rows.append((listed.u * own.factor / unit.factor, listed.k))
            elif listed.unit == self.indicated.unit and np.ptp(self.indicated.values) > 0.0:
                slope = np.ptp(self.applied.values) / np.ptp(self.indicated.values)
                rows.append((listed.u * slope, listed.k))
        if not rows:
            return None
        u, k = (np.stack(columns) for columns in zip(*rows, strict=True))
        best = np.argmax(u, axis=0)[None, :]
        return np.take_along_axis(u, best, axis=0)[0], np.take_along_axis(k, best, axis=0)[0]


def find_passages(
    measurement: ET.Element, applied: str | float, indicated: str | float, where: str
) -> list[Passage]:
    """Pair the lists of applied and indicated values of one measurement result.

    Parameters
    ----------
    measurement : Element
        The measurement result.
    applied, indicated : str or float
        Each a reference type, looked for in every list or data block on its
        own, or the number of a quantity, counted from 1 through all of them.
    where : str
        The certificate, for messages.

    Raises
    ------
    CampaignError
        When there is no pair, lists differ in length, a pairing is ambiguous,
        or units differ from passage to passage.
    """
    blocks = list(groups(measurement))
    quantities = tuple(quantity for block in blocks for quantity in block)
    if not (isinstance(applied, str) and isinstance(indicated, str)):
        blocks = [quantities]
    found = []
    for block in blocks:
        first = _chosen(block, applied, "applied", where)
        second = _chosen(block, indicated, "indicated", where)
        first = first * len(second) if len(first) == 1 else first
        if len(first) != len(second):
            raise CampaignError(
                f"{len(first)} lists of '{applied}' stand beside {len(second)} of '{indicated}'",
                where=where,
                expected="one applied list for all indicated ones, or one for each",
            )
        errors = [q for q in block if ERROR_TYPE in ref_types(q) and has_known_unit(q)]
        found += [_passage(a, i, errors, where) for a, i in zip(first, second, strict=True)]
    if not found:
        seen = sorted({name for quantity in quantities for name in ref_types(quantity)})
        raise CampaignError(
            f"holds no quantities '{applied}' and '{indicated}' side by side",
            where=where,
            expected="keys applied and indicated that name two of: " + (", ".join(seen) or "none"),
        )
    for name in ("applied", "indicated"):
        units = {getattr(passage, name).unit for passage in found}
        if len(units) > 1:
            raise CampaignError(
                f"the {name} values come in {', '.join(sorted(units))}",
                where=where,
                expected="one unit for all",
            )
    return found


def _chosen(
    block: Sequence[ET.Element], wanted: str | float, key: str, where: str
) -> list[ET.Element]:
    """Return the quantities of a block that a reference type or a number means."""
    if isinstance(wanted, str):
        return [quantity for quantity in block if wanted in ref_types(quantity)]
    if wanted != int(wanted) or not 1 <= wanted <= len(block):
        raise CampaignError(
            f"{key} is quantity {wanted:g} of {len(block)}",
            where=where,
            expected="the number of a quantity, counted from 1 through all results",
        )
    return [block[int(wanted) - 1]]


def _passage(
    applied: ET.Element, indicated: ET.Element, errors: list[ET.Element], where: str
) -> Passage:
    a = read_quantity(applied, f"{where}, applied values")
    i = read_quantity(indicated, f"{where}, indicated values")
    if a.values.size != i.values.size:
        raise CampaignError(
            f"{a.values.size} applied values for {i.values.size} indicated ones",
            where=where,
            expected="lists of equal length",
        )
    others = (read_quantity(quantity, f"{where}, {ERROR_TYPE}") for quantity in errors)
    fitting = tuple(other for other in others if other.values.size == a.values.size)
    relative = any(has_relative_uncertainty(q) for q in (applied, indicated, *errors))
    return Passage(a, i, fitting, relative)


def series_and_direction(passages: Sequence[Passage]) -> tuple[TextArray, TextArray]:
    """Return series (n,) and direction (n,) of all points, passage by passage.

    The direction is ``up`` where the applied value rises and ``down`` where it
    falls (away from zero where none is positive); a repeated value keeps that
    of the one before.  Where it rises again after a fall, the next series
    begins.  Passages of one value each are one passage together.
    """
    parts = [passage.applied.values for passage in passages]
    if all(part.size == 1 for part in parts):
        parts = [np.concatenate(parts)]
    series: list[str] = []
    direction: list[str] = []
    number = 0
    for values in parts:
        number += 1
        before = ""
        for way in _ways(values):
            number += before == "down" and way == "up"
            before = way
            series.append(str(number))
            direction.append(way)
    return np.array(series), np.array(direction)


def _ways(applied: FloatArray) -> Iterator[str]:
    """Yield the direction in which each value was reached."""
    steps = np.diff(-applied if np.all(applied <= 0.0) else applied)
    moving = steps[steps != 0.0]
    way = "down" if moving.size and moving[0] < 0.0 else "up"
    yield way
    for step in steps:
        if step != 0.0:
            way = "up" if step > 0.0 else "down"
        yield way
