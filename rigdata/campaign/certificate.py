"""A digital calibration certificate and the few keys it cannot know, as one record.

A certificate says neither the degree of the curve nor how long it holds, so a
small TOML file beside it does: ``certificate = "cert.xml"`` in place of
``points``.  Everything else is taken from the certificate.
"""

from __future__ import annotations

import datetime
import re
import xml.etree.ElementTree as ET
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any

import numpy as np

from rigdata.campaign.dcc import Certificate, ambient_temperatures, read_certificate
from rigdata.campaign.files import Place, shown
from rigdata.campaign.keys import NAME, NAME_WORDS, Key
from rigdata.campaign.passages import Passage, find_passages, series_and_direction
from rigdata.campaign.reading import check_pair, read_values
from rigdata.errors import CampaignError, Notice, Severity
from rigdata.quantities import UNITS

ROLES = ("as-left", "as-found")


@dataclass(frozen=True)
class CertificateKeys:
    """The keys of a record whose points stand in a digital calibration certificate."""

    certificate: Annotated[
        Path, Key("Digital calibration certificate (DCC, XML) that holds the points.")
    ]
    valid_until: Annotated[datetime.date, Key("Last day on which the record holds.")]
    degree: Annotated[int, Key("Degree of the calibration curve.", low=1, high=3)]
    role: Annotated[
        str,
        Key("Whether the sensor was calibrated as found or as left after work.", choices=ROLES),
    ] = "as-left"
    id: Annotated[
        str | None,
        Key(
            "Number of the record, if not the certificate's.",
            pattern=NAME,
            pattern_words=NAME_WORDS,
        ),
    ] = None
    sensor: Annotated[str | None, Key("The sensor, if not as the certificate names it.")] = None
    temperature_c: Annotated[
        float | None,
        Key("Temperature, if the certificate states none.", unit="degC", above=-273.15),
    ] = None
    applied: Annotated[
        str | float,
        Key("Applied quantity: its reference type, or its number in the certificate.", above=0),
    ] = "basic_referenceValue"
    indicated: Annotated[
        str | float,
        Key("Indicated quantity: its reference type, or its number in the certificate.", above=0),
    ] = "basic_measuredValue"
    measurement: Annotated[
        int | None, Key("Number of the measurement result, where there are several.", low=1)
    ] = None
    reference_expanded_u_percent: Annotated[
        float | None,
        Key(
            "Expanded uncertainty of the reference, if the certificate states none that is read.",
            unit="% of value",
            above=0,
            high=50,
        ),
    ] = None
    coverage_factor: Annotated[
        float | None, Key("Coverage factor of that expanded uncertainty.", low=1, high=15)
    ] = None


def certificate_values(table: dict[str, Any], place: Place) -> dict[str, Any]:
    """Return the fields of a calibration record that a certificate gives.

    Parameters
    ----------
    table : dict
        The TOML table, with the key ``certificate``.
    place : Place
        Where it is.

    Returns
    -------
    dict
        Fields of `rigdata.campaign.records.CalibrationRecord`, but for `path`
        and `sha256`.

    Raises
    ------
    CampaignError
        When a key or the certificate is at fault, see `rigdata.campaign.dcc`;
        when the quantities are not found or do not go together; or when a
        number that a record needs is neither in the certificate nor a key.

    Notes
    -----
    The standard uncertainty of each point is the largest that the certificate
    states for it, see `rigdata.campaign.passages.Passage.largest_u`.  It is
    taken as wholly common to all points, since a certificate does not say how
    much of it is.
    """
    values = read_values(CertificateKeys, table, place)
    check_pair(values, "reference_expanded_u_percent", "coverage_factor", place)
    keys = CertificateKeys(**values)
    certificate = read_certificate(keys.certificate)
    measurement = _measurement(certificate, keys, place)
    passages = find_passages(measurement, keys.applied, keys.indicated, shown(certificate.path))
    series, direction = series_and_direction(passages)
    return {
        **_identity(certificate, keys, measurement, place),
        **_uncertainty(passages, keys, place),
        "quantity": UNITS[passages[0].applied.unit].dimension,
        "applied_unit": passages[0].applied.unit,
        "indicated_unit": passages[0].indicated.unit,
        "valid_until": keys.valid_until,
        "degree": keys.degree,
        "role": keys.role,
        "series": series,
        "direction": direction,
        "applied": np.concatenate([passage.applied.values for passage in passages]),
        "indicated": np.concatenate([passage.indicated.values for passage in passages]),
        "points": certificate.path,
        "points_sha256": certificate.sha256,
        "notices": _notices(certificate, place),
    }


def _notices(certificate: Certificate, place: Place) -> tuple[Notice, ...]:
    if not certificate.signed:
        return ()
    return (
        Notice(
            Severity.NOTE,
            place.file.name,
            f"certificate {certificate.path.name} carries a signature, which was not verified",
            "Verify it with a tool that holds the certificate of its signer",
        ),
    )


def _identity(
    certificate: Certificate, keys: CertificateKeys, measurement: ET.Element, place: Place
) -> dict[str, Any]:
    """Return what the record is called, and when and how warm it was made."""
    name = keys.id or certificate.identifier
    if not re.fullmatch(NAME, name):
        raise place.fault(
            f"the certificate's identifier '{name[:80]}' does not serve as an id",
            key="id",
            expected=NAME_WORDS,
            do="Write id in this file",
        )
    sensor = keys.sensor or certificate.sensor
    if not sensor:
        raise place.fault("the certificate names no item", key="sensor", do="Write sensor here")
    try:
        day = datetime.date.fromisoformat(certificate.date[:10])  # XML dates may carry a zone
    except ValueError:
        raise CampaignError(
            f"the day of the calibration is '{certificate.date[:40]}'",
            where=shown(certificate.path),
            expected="endPerformanceDate or beginPerformanceDate as 2026-03-01",
        ) from None
    stated = ambient_temperatures(measurement)
    if keys.temperature_c is None and not stated.size:
        raise place.fault(
            "the certificate states no temperature (basic_temperature)",
            key="temperature_c",
            expected="a number [degC]",
            do="Write temperature_c in this file",
        )
    warm = keys.temperature_c if keys.temperature_c is not None else float(stated.mean())
    return {"id": name, "sensor": sensor, "date": day, "temperature_c": warm}


def _measurement(certificate: Certificate, keys: CertificateKeys, place: Place) -> ET.Element:
    """Return the measurement result to read."""
    count = len(certificate.measurements)
    if count == 0:
        raise CampaignError("holds no measurementResult", where=shown(certificate.path))
    number = keys.measurement or 1
    if number > count or (count > 1 and keys.measurement is None):
        raise place.fault(
            f"the certificate holds {count} measurement results",
            key="measurement",
            expected=f"1 to {count}",
            do="Write the number of the one to use, counted in the order of the file",
        )
    return certificate.measurements[number - 1]


def _uncertainty(
    passages: Sequence[Passage], keys: CertificateKeys, place: Place
) -> dict[str, Any]:
    """Return the uncertainty of the reference, by point and at the largest value."""
    wanted = "reference_expanded_u_percent"
    stated = [passage.largest_u for passage in passages]
    known = [pair for pair in stated if pair is not None]
    if keys.reference_expanded_u_percent is not None:
        if known:
            raise place.fault(
                "the certificate states its uncertainty itself", key=wanted, do="Remove the key"
            )
        return {
            wanted: keys.reference_expanded_u_percent,
            "coverage_factor": keys.coverage_factor,
        }
    if len(known) < len(passages):
        relative = " but a relative one" if any(p.relative for p in passages) else ""
        raise place.fault(
            f"the certificate states no expanded uncertainty{relative}",
            key=wanted,
            expected="reference_expanded_u_percent and coverage_factor",
            do="Write both in this file; a missing uncertainty is not taken as zero",
        )
    applied = np.concatenate([passage.applied.values for passage in passages])
    u = np.concatenate([pair[0] for pair in known])
    k = np.concatenate([pair[1] for pair in known])
    if np.any((u == 0.0) & (applied != 0.0)):
        raise place.fault("the certificate states an uncertainty of 0", key="certificate")
    top = int(np.argmax(np.abs(applied)))
    return {
        wanted: float(100.0 * k[top] * u[top] / abs(applied[top])),
        "coverage_factor": float(k[top]),
        "reference_u": u,
    }
