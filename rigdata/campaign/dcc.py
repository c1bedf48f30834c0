"""Digital calibration certificates (DCC): XML to numbers, without trusting the file.

Reads the open DCC schema, versions 2 and 3; `rigdata.campaign.dsi` reads the
quantities in it.  A certificate comes from outside, so a document type, and with it every entity,
is refused before anything is expanded; size and depth are limited; nothing is
ever fetched.  The schema itself and a signature are not checked.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.campaign.dsi import children, local, read_quantity, ref_types
from rigdata.campaign.files import shown
from rigdata.errors import CampaignError
from rigdata.quantities import UNITS, to_base
from rigdata.storage.files import read_whole, sha256_bytes

MOST_BYTES = 10_000_000
MOST_DEPTH = 100
MOST_ELEMENTS = 200_000
VERSIONS = ("2", "3")
ROOT = "digitalCalibrationCertificate"


@dataclass(frozen=True, eq=False)
class Certificate:
    """What a certificate says, its quantities not yet read.

    Attributes
    ----------
    path : Path
        The XML file.
    sha256 : str
        Hash of its raw bytes.
    identifier, date, sensor : str
        Unique identifier, last day of the calibration (ISO 8601), and maker,
        model and number of the item; empty where not stated.
    measurements : tuple of Element
        The measurement results, in the order of the file.
    signed : bool
        Whether it carries a signature, which is not verified.
    """

    path: Path
    sha256: str
    identifier: str
    date: str
    sensor: str
    measurements: tuple[ET.Element, ...]
    signed: bool


class _RefusedError(ValueError):
    """The file holds what no certificate needs."""


class _NoDoctype(ET.TreeBuilder):
    """Builds the tree; refuses a document type and nesting without end."""

    _depth = _count = 0

    def doctype(self, *_: object) -> None:
        raise _RefusedError("holds a document type, which could bring in other files or swell")

    def start(self, *args: object, **more: object) -> ET.Element:
        self._depth += 1
        self._count += 1
        if self._count > MOST_ELEMENTS:
            raise _RefusedError(f"holds more than {MOST_ELEMENTS} elements")
        if self._depth > MOST_DEPTH:
            raise _RefusedError(f"is nested deeper than {MOST_DEPTH} elements")
        return super().start(*args, **more)  # type: ignore[arg-type]

    def end(self, *args: object, **more: object) -> ET.Element:
        self._depth -= 1
        return super().end(*args, **more)  # type: ignore[arg-type]


def read_certificate(path: Path) -> Certificate:
    """Read a digital calibration certificate.

    Parameters
    ----------
    path : Path
        The XML file.

    Returns
    -------
    Certificate

    Raises
    ------
    CampaignError
        When the file cannot be read, is too large, holds a document type, is
        not XML or not a DCC of version 2 or 3.
    """
    where = shown(path)
    try:
        data = read_whole(path, MOST_BYTES)
    except OSError as error:
        raise CampaignError(
            f"cannot be read as a certificate ({error.strerror})", where=where
        ) from error
    parser = ET.XMLParser(target=_NoDoctype())
    try:
        parser.feed(data)
        root = parser.close()
    except _RefusedError as fault:
        raise CampaignError(
            str(fault),
            where=where,
            expected="the plain XML of a certificate",
            do="Ask the laboratory for the certificate as issued",
        ) from None
    except (ET.ParseError, ValueError, LookupError) as error:
        raise CampaignError(f"is not XML ({error})", where=where) from None
    version = root.get("schemaVersion", "")
    if local(root) != ROOT or version.split(".")[0] not in VERSIONS:
        raise CampaignError(
            f"is not a digital calibration certificate that can be read: <{local(root)}> of "
            f"schema version '{version}'",
            where=where,
            expected=f"<{ROOT}> of schema version 2 or 3",
        )
    day = _text(root, "coreData", "endPerformanceDate")
    return Certificate(
        path=path,
        sha256=sha256_bytes(data),
        identifier=_text(root, "coreData", "uniqueIdentifier"),
        date=day or _text(root, "coreData", "beginPerformanceDate"),
        sensor=_item(root),
        measurements=tuple(e for e in root.iter() if local(e) == "measurementResult"),
        signed=any(local(e) == "Signature" for e in root.iter()),
    )


def groups(measurement: ET.Element) -> Iterator[tuple[ET.Element, ...]]:
    """Yield the quantities that stand together in one list or one data block.

    Only ``results/result/data`` is looked at: quantities of influence
    conditions and of reference data are not results.
    """
    for result in (r for part in children(measurement, "results") for r in part):
        for data in children(result, "data"):
            yield from _together(data)


def _together(block: ET.Element) -> Iterator[tuple[ET.Element, ...]]:
    own = tuple(children(block, "quantity"))
    if own:
        yield own
    for deeper in children(block, "list"):
        yield from _together(deeper)


def ambient_temperatures(measurement: ET.Element) -> FloatArray:
    """Return the temperatures (n,) stated as influence conditions. [degC]

    Conditions with the reference type ``basic_temperature``, or one that begins
    so, are taken; n is 0 where there is none, and 2 where a range is stated.
    """
    found: list[float] = []
    for condition in (c for part in children(measurement, "influenceConditions") for c in part):
        if not any(name.startswith("basic_temperature") for name in ref_types(condition)):
            continue
        for quantity in (e for e in condition.iter() if local(e) == "quantity"):
            listed = read_quantity(quantity, "influence condition")
            if listed.unit in ("K", "degC"):
                found += list(to_base(listed.values, UNITS[listed.unit]))
    return np.array(found, dtype=np.float64)


def _text(root: ET.Element, holder: str, *names: str) -> str:
    """Return the text down the path `names` below the first `holder`; empty where it breaks off."""
    at = next((e for e in root.iter() if local(e) == holder), None)
    for name in names:
        at = next(iter(children(at, name)), None) if at is not None else None
    return " ".join("".join(at.itertext()).split()) if at is not None else ""


def _item(root: ET.Element) -> str:
    """Return maker, model and number of the item that was calibrated, as far as stated."""
    parts = (
        _text(root, "item", "manufacturer", "name", "content"),
        _text(root, "item", "model"),
        _text(root, "item", "identifications", "identification", "value"),
    )
    return ", ".join(part for part in parts if part)
