"""Calibration records: applied against indicated values of one sensor."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import numpy as np

from rigdata.arrays import FloatArray, TextArray, frozen
from rigdata.campaign.files import TomlFile, read_toml, shown
from rigdata.campaign.keys import NAME, NAME_WORDS, Key, Kind
from rigdata.campaign.reading import read_values
from rigdata.campaign.record_points import read_points
from rigdata.quantities import CHANNELS, QUANTITIES, UNITS, unit_named

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
        The CSV file of the points.
    points_sha256 : str
        Its hash.

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
            "CSV file with the columns series, direction, applied and indicated; the zero "
            "readings stay in.",
            kind=Kind.FILE,
            required=True,
        ),
    ] = None
    points_sha256: str = ""

    def __post_init__(self) -> None:
        for name in ("series", "direction"):
            object.__setattr__(self, name, frozen(getattr(self, name), np.str_))
        for name in ("applied", "indicated"):
            object.__setattr__(self, name, frozen(getattr(self, name)))

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
        The record's TOML file.

    Returns
    -------
    CalibrationRecord
        The record, in the units of its file.

    Raises
    ------
    CampaignError
        When a key or a point is missing or may not have its value, when the units
        do not measure the quantity, or when there are fewer distinct loads than
        the degree needs (degree + 2).
    """
    file = read_toml(path)
    values = read_values(CalibrationRecord, file.table, file.place)
    points = read_points(values["points"])
    record = CalibrationRecord(
        path=path,
        sha256=file.sha256,
        series=points.series,
        direction=points.direction,
        applied=points.applied,
        indicated=points.indicated,
        points_sha256=points.sha256,
        **values,
    )
    _check(record, file)
    return record


def _check(record: CalibrationRecord, file: TomlFile) -> None:
    place = file.place
    unit_named(record.applied_unit, record.dimension, where=f"{shown(record.path)}, applied_unit")
    if record.valid_until < record.date:
        raise place.fault(
            f"{record.valid_until} is before the calibration",
            key="valid_until",
            expected=f"{record.date} or later",
        )
    loads, needed = np.unique(record.applied).size, record.degree + 2
    if loads < needed:
        raise place.fault(
            f"the points hold {loads} distinct applied values",
            key="points",
            expected=f"at least {needed} for degree {record.degree}",
            do="Add loads or lower the degree",
        )
