"""Calibration records: applied against indicated values of one sensor."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import numpy as np

from rigdata.arrays import FloatArray, TextArray, frozen
from rigdata.campaign.certificate import ROLES, certificate_values
from rigdata.campaign.files import Place, TomlFile, read_toml, shown
from rigdata.campaign.keys import NAME, NAME_WORDS, Key, Kind
from rigdata.campaign.reading import check_pair, read_values
from rigdata.campaign.record_points import read_points
from rigdata.errors import CampaignError, Notice
from rigdata.quantities import CHANNELS, QUANTITIES, UNITS, unit_named
from rigdata.storage.files import sha256_bytes

# A record is of one channel's quantity, or of what its sensor senses.
RECORD_QUANTITIES = tuple(
    dict.fromkeys((*CHANNELS, *(QUANTITIES[name].dimension for name in CHANNELS)))
)


@dataclass(frozen=True, eq=False)
class CalibrationRecord:
    """One calibration of one sensor, in the units of its file.

    Attributes
    ----------
    path : Path
        The record's TOML file.
    sha256 : str
        Its hash.
    series : (n,) str
        Which passage over the range a point belongs to.
    direction : (n,) str
        ``up`` or ``down``.
    applied : (n,) float
        What the reference standard gave. [applied_unit]
    indicated : (n,) float
        What the sensor showed. [indicated_unit]
    points : Path or None
        The CSV file of the points, or the certificate that holds them.
    points_sha256 : str
        Its hash.
    u_applied : (n,) float or None
        Standard uncertainty of each applied value that it shares with no other
        point, from the optional column of that name. [applied_unit]
    mounting : (n,) str or None
        How the sensor sat in the calibration machine, from the optional column
        of that name; without it every series is taken as of one mounting.
    reference_u : (n,) float or None
        Standard uncertainty of each applied value that is common to all points,
        as a certificate states it; None where `reference_expanded_u_percent`
        says it. [applied_unit]
    notices : tuple of Notice
        What reading it gave cause to say.

    The other attributes are the keys of the file.
    """

    path: Path
    sha256: str
    id: Annotated[
        str,
        Key("Number of the record.", pattern=NAME, pattern_words=NAME_WORDS),
    ]
    sensor: Annotated[str, Key("Make, type and serial number of the sensor.")]
    quantity: Annotated[
        str,
        Key("Channel that the sensor serves, or what it senses.", choices=RECORD_QUANTITIES),
    ]
    applied_unit: Annotated[str, Key("Unit of the applied values.", choices=tuple(UNITS))]
    indicated_unit: Annotated[str, Key("Unit of the indicated values.", choices=tuple(UNITS))]
    date: Annotated[datetime.date, Key("Day of the calibration.")]
    valid_until: Annotated[datetime.date, Key("Last day on which the record holds.")]
    reference_expanded_u_percent: Annotated[
        float,
        Key("Expanded uncertainty of the reference standard.", unit="% of value", above=0, high=50),
    ]
    coverage_factor: Annotated[
        float, Key("Coverage factor of that expanded uncertainty.", low=1, high=15)
    ]
    temperature_c: Annotated[
        float, Key("Temperature during the calibration.", unit="degC", above=-273.15)
    ]
    degree: Annotated[int, Key("Degree of the calibration curve.", low=1, high=3)]
    series: TextArray
    direction: TextArray
    applied: FloatArray
    indicated: FloatArray
    points: Annotated[
        Path | None,
        Key(
            "CSV file with the columns series, direction, applied and indicated, and if known "
            "u_applied (own standard uncertainty of each applied value) and mounting; the zero "
            "readings stay in. In its place certificate may name a digital calibration "
            "certificate.",
            kind=Kind.FILE,
            required=True,
        ),
    ] = None
    points_sha256: str = ""
    role: Annotated[
        str,
        Key(
            "Whether the sensor was calibrated as found, before any work on it, or as left.",
            choices=ROLES,
        ),
    ] = "as-left"
    indicated_after_30s: Annotated[
        float | None,
        Key("Reading 30 s after the largest load was reached and held, in the indicated unit."),
    ] = None
    indicated_after_300s: Annotated[
        float | None, Key("Reading 300 s after the largest load was reached and held.")
    ] = None
    u_applied: FloatArray | None = None
    mounting: TextArray | None = None
    reference_u: FloatArray | None = None
    notices: tuple[Notice, ...] = ()

    @property
    def content_sha256(self) -> str:
        """Hash of the record and its points together."""
        return sha256_bytes((self.sha256 + self.points_sha256).encode())

    def __post_init__(self) -> None:
        for name in ("series", "direction", "mounting"):
            self._freeze(name, np.str_)
        for name in ("applied", "indicated", "u_applied", "reference_u"):
            self._freeze(name, np.float64)

    def _freeze(self, name: str, dtype: type) -> None:
        values = getattr(self, name)
        object.__setattr__(self, name, None if values is None else frozen(values, dtype))

    @property
    def dimension(self) -> str:
        """Dimension of the applied values, such as ``force``."""
        known = QUANTITIES.get(self.quantity)
        return known.dimension if known else self.quantity


def read_record(path: Path) -> CalibrationRecord:
    """Read a calibration record and its points.

    Parameters
    ----------
    path : Path
        The record's TOML file.  It names its points, a CSV file, or the digital
        calibration certificate that holds them.  The certificate itself, an
        XML file, may be named too: then the TOML file of the same name beside
        it is read, which must name that certificate.

    Returns
    -------
    CalibrationRecord
        The record, in the units of its file.

    Raises
    ------
    CampaignError
        When a key or a point is missing or may not have its value, when the units
        do not measure the quantity, when there are fewer distinct loads than
        the degree needs (degree + 2), or when a certificate is at fault (see
        `rigdata.campaign.dcc`).
    """
    file = read_toml(_beside(path))
    if "certificate" in file.table:
        values = certificate_values(file.table, file.place)
        if path.suffix.casefold() == ".xml" and values["points"] != path:
            raise file.place.fault(
                f"is {values['points'].name}", key="certificate", expected=path.name
            )
    else:
        values = read_values(CalibrationRecord, file.table, file.place)
        check_pair(values, "indicated_after_30s", "indicated_after_300s", file.place)
        points = read_points(values["points"])
        values |= {
            "series": points.series,
            "direction": points.direction,
            "applied": points.applied,
            "indicated": points.indicated,
            "u_applied": points.u_applied,
            "mounting": points.mounting,
            "points_sha256": points.sha256,
        }
    record = CalibrationRecord(path=file.place.file, sha256=file.sha256, **values)
    _check(record, file)
    return record


def _beside(path: Path) -> Path:
    """Return the TOML file of a record; a certificate's lies beside it."""
    if path.suffix.casefold() != ".xml":
        return path
    companion = Place(path).resolve("", path.with_suffix(".toml").name)
    if not companion.is_file():
        raise CampaignError(
            f"a certificate needs {companion.name} beside it",
            where=shown(path),
            expected="what a certificate cannot know: degree and valid_until",
            do=f'Write {companion.name} with format = 1, certificate = "{path.name}", degree and '
            "valid_until",
        )
    return companion


def _check(record: CalibrationRecord, file: TomlFile) -> None:
    place = file.place
    unit_named(record.applied_unit, record.dimension, where=f"{shown(record.path)}, applied_unit")
    if record.valid_until < record.date:
        raise place.fault(
            f"{record.valid_until} is before the calibration",
            key="valid_until",
            expected=f"{record.date} or later",
        )
    if record.mounting is not None:
        pairs = set(zip(record.series.tolist(), record.mounting.tolist(), strict=True))
        if len(pairs) > np.unique(record.series).size:
            raise place.fault("a series has two mountings", key="points", expected="one each")
    loads, needed = np.unique(record.applied).size, record.degree + 2
    if loads < needed:
        raise place.fault(
            f"the points hold {loads} distinct applied values",
            key="points",
            expected=f"at least {needed} for degree {record.degree}",
            do="Add loads or lower the degree",
        )
