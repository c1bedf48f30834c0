"""What is decided about a campaign before chance has its say."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, field

from rigdata.simulation.logfile import PLAIN, Dialect
from rigdata.simulation.plates import Annulus
from rigdata.simulation.procedures import Profile
from rigdata.simulation.rig import RigDesign
from rigdata.simulation.sensors import Logger
from rigdata.simulation.truth import Material


@dataclass(frozen=True)
class PackDesign:
    """A pack as the campaign file describes it.

    Attributes
    ----------
    name, material, batch, state : str
        As they go into campaign.toml.
    service_hours : float
        Service time so far. [h]
    friction_faces : int
        Number of friction faces.
    outer_radius_mm, inner_radius_mm, radius_u_mm : float
        Nominal radii and the standard uncertainty of each. [mm]
    contact_area_fraction : float
        Part of the annulus that touches.
    pressure_law : str
        ``uniform-pressure`` or ``uniform-wear``, as the campaign assumes.
    wear_mixture : (low, high)
        Range from which the true mixture of the two laws is drawn (0 is uniform
        pressure, 1 uniform wear).
    spline_radius_mm, spline_friction : float or None
        Splines that hold back clamp load; None for none. [mm, 1]
    duty : str or None
        What its service hours were spent on.
    """

    name: str
    material: str
    batch: str = "1"
    state: str = "new"
    service_hours: float = 0.0
    friction_faces: int = 10
    outer_radius_mm: float = 55.0
    inner_radius_mm: float = 40.0
    radius_u_mm: float = 0.05
    contact_area_fraction: float = 0.80
    pressure_law: str = "uniform-pressure"
    wear_mixture: tuple[float, float] = (0.0, 0.4)
    spline_radius_mm: float | None = None
    spline_friction: float | None = None
    duty: str | None = None

    @property
    def area_mm2(self) -> float:
        """Nominal contact area of one face. [mm^2]"""
        return 1e6 * self._annulus(0.0).area_m2

    @property
    def radius_m(self) -> float:
        """Nominal effective radius under the assumed pressure law. [m]"""
        return self._annulus(float(self.pressure_law == "uniform-wear")).mean_radius_m

    def load_n(self, pressure_mpa: float) -> float:
        """Clamp load for a face pressure. [N]"""
        return pressure_mpa * self.area_mm2

    def _annulus(self, wear_mixture: float) -> Annulus:
        return Annulus(
            self.friction_faces,
            self.outer_radius_mm / 1e3,
            self.inner_radius_mm / 1e3,
            self.contact_area_fraction,
            wear_mixture,
        )


@dataclass(frozen=True)
class DutyDesign:
    """What packs go through in service.

    Attributes
    ----------
    name : str
        As in campaign.toml.
    sliding_power_w, clamp_load_n : float
        Means over service time, of the whole pack. [W, N]
    hours_per_year : float or None
        Service hours in a year. [h]
    note : str
        Anything worth knowing.
    """

    name: str
    sliding_power_w: float
    clamp_load_n: float
    hours_per_year: float | None = None
    note: str = ""


@dataclass(frozen=True)
class RunDesign:
    """One run to be made.

    Attributes
    ----------
    id, pack : str
        Name of the run and of its pack.
    commands : Profile
        What the bench is told to do.
    date : datetime.date or None
        Day of the run.
    remark, exclude : str
        Notes for campaign.toml; `exclude` says why the run is not to be used.
    """

    id: str
    pack: str
    commands: Profile
    date: datetime.date | None = None
    remark: str = ""
    exclude: str = ""


@dataclass(frozen=True)
class CampaignSpec:
    """A campaign as it is planned.

    Attributes
    ----------
    name, baseline : str
        Name of the campaign and the material that others are compared to.
    rig : RigDesign
        The rig.
    materials, packs, runs : tuple
        What is tested; the runs of a pack come in the order they are made.
    reference : (slip_speed_m_s, temperature_c, pressure_mpa)
        Where single numbers are quoted.
    date : datetime.date or None
        Day of the campaign.
    oil : mapping of str to (str or float)
        The ``[oil]`` table; empty for none.
    dialect : Dialect
        How logs are written.
    logger : Logger
        Faults of the logger.
    duties : tuple of DutyDesign
        What packs go through in service.
    batch_factors : mapping of str to float
        Coefficient of a batch relative to its material; 1 for batches not named.
    inspections : bool
        Whether plates are measured as well (inspections.csv).
    """

    name: str
    baseline: str
    rig: RigDesign
    materials: tuple[Material, ...]
    packs: tuple[PackDesign, ...]
    runs: tuple[RunDesign, ...]
    reference: tuple[float, float, float] = (0.1, 90.0, 1.5)
    date: datetime.date | None = None
    oil: Mapping[str, str | float] = field(default_factory=dict)
    dialect: Dialect = PLAIN
    logger: Logger = field(default_factory=Logger)
    duties: tuple[DutyDesign, ...] = ()
    batch_factors: Mapping[str, float] = field(default_factory=dict)
    inspections: bool = False
