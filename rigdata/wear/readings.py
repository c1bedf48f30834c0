"""Plate readings with the sliding work behind them, and how well the gauges repeat."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from rigdata.arrays import BoolArray, FloatArray, IntArray, TextArray, frozen
from rigdata.campaign.campaign import Campaign, Pack
from rigdata.campaign.inspections import MEASURED, Inspections
from rigdata.campaign.service import Duty

_MJ_PER_WH = 3.6e-3


@dataclass(frozen=True)
class Repeatability:
    """How far one gauge's readings of one plate differ.

    Attributes
    ----------
    quantity : str
        A member of `MEASURED`.
    sd : float
        Standard deviation of one reading, in the unit of the quantity.
    dof : int
        Degrees of freedom: readings less plates read.
    """

    quantity: str
    sd: float
    dof: int


@dataclass(frozen=True, eq=False)
class Plates:
    """Mean readings of the plates of one member of one material, n of them.

    Attributes
    ----------
    material, member : str
    pack, plate : (n,) str
        Pack, and plate with its pack's name.
    hours : (n,) float
        Service time. [h]
    work_mj : (n,) float
        Friction work of the pack by then; NaN where it is not known. [MJ]
    thickness_mm, mass_g, roughness_ra_um : (n,) float
        Means of repeated readings; NaN where there is none.
    n_readings : (n,) int
        Thickness readings in the mean.
    """

    material: str
    member: str
    pack: TextArray
    plate: TextArray
    hours: FloatArray
    work_mj: FloatArray
    thickness_mm: FloatArray
    mass_g: FloatArray
    roughness_ra_um: FloatArray
    n_readings: IntArray

    def __post_init__(self) -> None:
        for name in ("pack", "plate"):
            object.__setattr__(self, name, frozen(getattr(self, name), np.str_))
        for name in ("hours", "work_mj", *MEASURED):
            object.__setattr__(self, name, frozen(getattr(self, name)))
        object.__setattr__(self, "n_readings", frozen(self.n_readings, np.int64))

    def __len__(self) -> int:
        return int(self.plate.size)

    @property
    def followed(self) -> BoolArray:
        """(n,) whether the plate's thickness was read at two or more service times."""
        read = np.isfinite(self.thickness_mm)
        counts = {name: int(np.sum(read & (self.plate == name))) for name in set(self.plate)}
        more: BoolArray = np.array([counts[name] > 1 for name in self.plate], dtype=bool)
        return read & more

    def select(self, chosen: BoolArray | IntArray) -> Plates:
        """Return the rows chosen by a mask or by indices."""
        arrays = ("pack", "plate", "hours", "work_mj", *MEASURED, "n_readings")
        kept = {name: getattr(self, name)[chosen] for name in arrays}
        return Plates(self.material, self.member, **kept)


def plates_of(found: Inspections, campaign: Campaign) -> dict[tuple[str, str], Plates]:
    """Return the mean readings of every material and member, in order of appearance."""
    material = np.array([campaign.packs[name].material for name in found.pack.tolist()])
    kinds = dict.fromkeys(zip(material.tolist(), found.member.tolist(), strict=True))
    return {
        (name, member): _means(
            found.select((material == name) & (found.member == member)), name, member, campaign
        )
        for name, member in kinds
    }


def repeatability(found: Inspections) -> tuple[Repeatability, ...]:
    """Return the repeatability of each quantity that was read twice or more at one time.

    The variances of the readings of one plate at one service time are pooled with
    their degrees of freedom (the repeatability condition of ISO 5725-1).
    """
    result = []
    for quantity in MEASURED:
        values = getattr(found, quantity)
        squares, dof = 0.0, 0
        for rows in _repeats(found):
            read = values[rows][np.isfinite(values[rows])]
            if read.size > 1:
                squares += float(np.sum((read - read.mean()) ** 2))
                dof += read.size - 1
        if dof:
            result.append(Repeatability(quantity, float(np.sqrt(squares / dof)), dof))
    return tuple(result)


def sliding_work_mj(pack: Pack, hours: float, duties: Mapping[str, Duty]) -> float:
    """Return the friction work of a pack after `hours` of its service; NaN where not known.

    A stated ``sliding_work_mj`` is spread evenly over the pack's service hours;
    otherwise its duty's power counts.
    """
    if hours == 0.0:
        return 0.0
    if pack.sliding_work_mj is not None and pack.service_hours > 0.0:
        return pack.sliding_work_mj * hours / pack.service_hours
    if pack.duty is not None:
        return work_per_hour_mj(duties[pack.duty]) * hours
    return np.nan


def work_per_hour_mj(duty: Duty) -> float:
    """Return the friction work of a duty. [MJ/h]"""
    return duty.sliding_power_w * _MJ_PER_WH


def _repeats(found: Inspections) -> list[IntArray]:
    """Return the rows of each plate at each service time, in order of appearance."""
    keys = zip(found.pack.tolist(), found.plate.tolist(), found.service_hours.tolist(), strict=True)
    rows: dict[tuple[str, str, float], list[int]] = {}
    for i, key in enumerate(keys):
        rows.setdefault(key, []).append(i)
    return [np.array(own, dtype=np.int64) for own in rows.values()]


def _means(found: Inspections, material: str, member: str, campaign: Campaign) -> Plates:
    groups = _repeats(found)
    first = np.array([rows[0] for rows in groups])
    hours = found.service_hours[first]
    packs = [campaign.packs[name] for name in found.pack[first].tolist()]
    work = [
        sliding_work_mj(pack, t, campaign.duties)
        for pack, t in zip(packs, hours.tolist(), strict=True)
    ]
    read = [np.isfinite(found.thickness_mm[rows]) for rows in groups]
    return Plates(
        material=material,
        member=member,
        pack=found.pack[first],
        plate=np.array(
            [f"{p} {q}" for p, q in zip(found.pack[first], found.plate[first], strict=True)]
        ),
        hours=hours,
        work_mj=np.array(work),
        **{name: _mean(getattr(found, name), groups) for name in MEASURED},
        n_readings=np.array([int(np.sum(own)) for own in read]),
    )


def _mean(values: FloatArray, groups: list[IntArray]) -> FloatArray:
    found = []
    for rows in groups:
        read = values[rows][np.isfinite(values[rows])]
        found.append(float(read.mean()) if read.size else np.nan)
    return np.array(found)
