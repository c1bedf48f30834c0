"""Plates on the measuring bench: thickness, mass and roughness against service hours."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from rigdata.arrays import BoolArray, FloatArray, IntArray, TextArray, frozen
from rigdata.campaign.campaign import INSPECTIONS, Campaign
from rigdata.campaign.csv_file import CsvFile, fault_in_line, number_in, read_csv_file
from rigdata.campaign.files import Place
from rigdata.campaign.reading import nearest

MEMBERS = ("friction", "mating")
MEASURED = ("thickness_mm", "mass_g", "roughness_ra_um")
COLUMNS = ("pack", "service_hours", "plate", "member", *MEASURED, "note")


@dataclass(frozen=True, eq=False)
class Inspections:
    """Readings of n plates; a plate that was read again at the same hours has several rows.

    Attributes
    ----------
    pack, plate, member : (n,) str
        Whose plate it is, its name in the pack, and ``friction`` or ``mating``.
    service_hours : (n,) float
        Service time of the pack at the reading. [h]
    thickness_mm, mass_g, roughness_ra_um : (n,) float
        What was measured; NaN where it was not. [mm, g, um]
    note : (n,) str
        Remark; empty for none.
    """

    pack: TextArray
    plate: TextArray
    member: TextArray
    service_hours: FloatArray
    thickness_mm: FloatArray
    mass_g: FloatArray
    roughness_ra_um: FloatArray
    note: TextArray

    def __post_init__(self) -> None:
        for name in ("pack", "plate", "member", "note"):
            object.__setattr__(self, name, frozen(getattr(self, name), np.str_))
        for name in ("service_hours", *MEASURED):
            object.__setattr__(self, name, frozen(getattr(self, name)))

    def __len__(self) -> int:
        return int(self.pack.size)

    def select(self, chosen: BoolArray | IntArray) -> Inspections:
        """Return the readings chosen by a mask or by indices."""
        arrays = ("pack", "plate", "member", "service_hours", *MEASURED, "note")
        return Inspections(**{name: getattr(self, name)[chosen] for name in arrays})


def inspections_of(campaign: Campaign) -> Inspections | None:
    """Return the inspections beside a campaign, None where there is no such file.

    Raises
    ------
    CampaignError
        As `read_inspections`.
    """
    path = Place(campaign.path).resolve("", INSPECTIONS)
    return read_inspections(path, campaign.packs) if path.is_file() else None


def read_inspections(path: Path, packs: Iterable[str]) -> Inspections:
    """Read an inspections.csv.

    Parameters
    ----------
    path : Path
        CSV with the columns of `COLUMNS`, in any order.  A blank cell under
        `MEASURED` means that it was not measured.
    packs : iterable of str
        Names of the packs that there are.

    Raises
    ------
    CampaignError
        With file and line: when a column, a cell or a number is not as it must
        be, a pack is unknown, or one plate is called friction and mating.
    """
    file = read_csv_file(path, COLUMNS[:-1], COLUMNS[-1:])
    known = list(packs)
    members: dict[tuple[str, str], str] = {}
    for row, line in zip(file.rows, file.lines, strict=True):
        _check_row(row, path, line, known)
        named = members.setdefault((row["pack"], row["plate"]), row["member"])
        if named != row["member"]:
            what = f"plate {row['plate']} of pack {row['pack']} is {row['member']} here"
            raise fault_in_line(path, line, what, f"{named}, as in the lines above")
    return Inspections(
        pack=np.array(file.column("pack"), dtype=np.str_),
        plate=np.array(file.column("plate"), dtype=np.str_),
        member=np.array(file.column("member"), dtype=np.str_),
        service_hours=np.array([float(cell) for cell in file.column("service_hours")]),
        **{name: _measured(file, name) for name in MEASURED},
        note=np.array([row.get("note", "") for row in file.rows], dtype=np.str_),
    )


def _measured(file: CsvFile, name: str) -> FloatArray:
    return np.array([float(cell) if cell else np.nan for cell in file.column(name)])


def _check_row(row: dict[str, str], path: Path, line: int, packs: list[str]) -> None:
    if row["pack"] not in packs:
        near = nearest(row["pack"], packs)
        do = f"Did you mean {near}?" if near else ""
        what = f"there is no pack '{row['pack']}'"
        raise fault_in_line(path, line, what, "one of " + ", ".join(packs), do)
    if not row["plate"]:
        raise fault_in_line(path, line, "plate is empty", "the name of the plate in its pack")
    if row["member"] not in MEMBERS:
        raise fault_in_line(path, line, f"member is '{row['member']}'", " or ".join(MEMBERS))
    if number_in(path, line, "service_hours", row["service_hours"]) < 0.0:
        raise fault_in_line(path, line, "service_hours is below 0", "hours since the pack was new")
    for name in MEASURED:
        if row[name] and number_in(path, line, name, row[name]) <= 0.0:
            raise fault_in_line(path, line, f"{name} is {row[name]}", "a number above 0, or blank")
    if not any(row[name] for name in MEASURED):
        raise fault_in_line(path, line, "nothing was measured", "one of " + ", ".join(MEASURED))
