"""The virtual rig: what its papers say of it, and the errors it hides."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.quantities import UNITS
from rigdata.simulation.calibrate import Standard
from rigdata.simulation.noise import ar1, stream
from rigdata.simulation.runs import Bench, TrueRun
from rigdata.simulation.sensors import DirectSensor, Logger, StrainCell
from rigdata.simulation.thermocouple import meter_mv

_ROOM_C = 24.0


@dataclass(frozen=True)
class CellOnRecord:
    """A strain-gauge cell and the calibration it went through.

    Attributes
    ----------
    cell : StrainCell
        The cell as it really is.
    standard : Standard
        What it was calibrated against.
    record : str
        Id of the calibration record, also its file name.
    sensor, quantity, unit : str
        Serial number, channel and unit of the calibration.
    """

    cell: StrainCell
    standard: Standard
    record: str
    sensor: str
    quantity: str
    unit: str


_TORQUE = CellOnRecord(
    cell=StrainCell(
        full_scale=1800.0,
        span_mv_v=1.8,
        bow=0.0015,
        zero_mv_v=0.0124,
        zero_sd_mv_v=6e-4,
        drift_sd_mv_v=2e-4,
        white_sd_mv_v=8e-4,
    ),
    standard=Standard(0.3),
    record="TQ-2025-02",
    sensor="T-4471",
    quantity="torque",
    unit="N*m",
)
_CLAMP_LOAD = CellOnRecord(
    cell=StrainCell(
        full_scale=24.0,
        span_mv_v=2.0,
        bow=-0.0010,
        zero_mv_v=-0.0081,
        zero_sd_mv_v=1e-3,
        drift_sd_mv_v=4e-4,
        white_sd_mv_v=8e-4,
        lag_s=0.040,
    ),
    standard=Standard(0.4),
    record="CL-2025-02",
    sensor="L-0938",
    quantity="clamp_load",
    unit="kN",
)
_SLIP_SPEED = DirectSensor(u=0.01, white_sd=0.02, lag_s=0.020)
_OIL = DirectSensor(u=0.25, white_sd=0.05)
_JUNCTION = DirectSensor(u=0.30, white_sd=0.03)
_PLATE = DirectSensor(u=0.60, white_sd=0.15, time_constant_s=1.2)


@dataclass(frozen=True)
class RigDesign:
    """A rig as its papers describe it.

    Attributes
    ----------
    name : str
        Name of the rig.
    inertia_kg_m2, inertia_u_kg_m2 : float
        Stated rotating inertia and its standard uncertainty. [kg*m^2]
    bench : Bench
        The bench; its inertia is redrawn about the stated one.
    torque, clamp_load : CellOnRecord
        The two cells.
    slip_speed, oil, junction, plate : DirectSensor
        Speed pickup [rpm], oil and reference junction sensors [degC], and the
        plate thermocouple [degC before it becomes mV].
    lag_error_s : float
        Standard deviation of what the stated dead times miss. [s]
    time_constant_error : float
        Relative standard deviation of what the stated time constant misses.
    calibrated, valid_until : datetime.date
        Dates on the records.
    logs_height : bool
        Whether the pack height is logged as well.
    """

    name: str = "twin-shaft plate bench"
    inertia_kg_m2: float = 0.120
    inertia_u_kg_m2: float = 0.003
    bench: Bench = field(default_factory=Bench)
    torque: CellOnRecord = _TORQUE
    clamp_load: CellOnRecord = _CLAMP_LOAD
    slip_speed: DirectSensor = _SLIP_SPEED
    oil: DirectSensor = _OIL
    junction: DirectSensor = _JUNCTION
    plate: DirectSensor = _PLATE
    lag_error_s: float = 0.004
    time_constant_error: float = 0.08
    calibrated: datetime.date = datetime.date(2025, 2, 11)
    valid_until: datetime.date = datetime.date(2026, 2, 10)
    logs_height: bool = False


@dataclass(frozen=True)
class VirtualRig:
    """A rig with its hidden errors drawn, once for the whole campaign.

    Attributes
    ----------
    design : RigDesign
        What the papers say.
    bench : Bench
        The bench with its true inertia.
    torque, clamp_load : StrainCell
        The cells with their true lags.
    slip_speed, oil, junction, plate : DirectSensor
        The other sensors with their lasting errors.
    errors : mapping of str to float
        Every hidden error by name; those of the standards are relative.
    """

    design: RigDesign
    bench: Bench
    torque: StrainCell
    clamp_load: StrainCell
    slip_speed: DirectSensor
    oil: DirectSensor
    junction: DirectSensor
    plate: DirectSensor
    errors: Mapping[str, float]

    def observe(
        self, run: TrueRun, logger: Logger, rng: np.random.Generator, *, pack_height_mm: float
    ) -> dict[str, FloatArray]:
        """Return what the logger writes down for one run.

        Parameters
        ----------
        run : TrueRun
            What happened.
        logger : Logger
            Its faults.
        rng : numpy.random.Generator
            Source of randomness.
        pack_height_mm : float
            Height of the unloaded pack at room temperature. [mm]

        Returns
        -------
        dict of str to (n,) array
            Readings by channel, in the units of `LOGGED_UNITS`; NaN for a blank.
        """
        step, count = run.step_s, run.load_n.size
        room = _ROOM_C + ar1(rng, count, sd=0.6, correlation_s=300.0, step_s=step)
        hot = self.plate.read(run.plate_c, rng, step)
        to_rpm = 1.0 / UNITS["rpm"].factor
        readings = {
            "torque": self.torque.read(run.line_nm, rng, step),
            "clamp_load": self.clamp_load.read(run.load_n / 1e3, rng, step),
            "slip_speed": self.slip_speed.read(run.speed_rad_s * to_rpm, rng, step),
            "plate_temperature": meter_mv(hot, room),
            "reference_junction_temperature": self.junction.read(room, rng, step),
            "oil_temperature": self.oil.read(run.oil_c, rng, step),
        }
        if self.design.logs_height:
            growth = 12e-6 * pack_height_mm * (run.plate_c - _ROOM_C)
            height = pack_height_mm + growth - 3e-6 * run.load_n
            readings["pack_height"] = height + rng.normal(0.0, 1e-3, count)
        return {
            name: logger.spoil(values, rng, spikes=name == "torque")
            for name, values in readings.items()
        }


LOGGED_UNITS = {
    "torque": "mV/V",
    "clamp_load": "mV/V",
    "slip_speed": "rpm",
    "plate_temperature": "mV",
    "reference_junction_temperature": "degC",
    "oil_temperature": "degC",
    "pack_height": "mm",
}


def build_rig(design: RigDesign, seed: int) -> VirtualRig:
    """Draw the hidden errors of a rig."""
    rng = stream(seed, "rig", design.name)
    errors = {
        "torque_reference": design.torque.standard.hidden_error(rng),
        "clamp_load_reference": design.clamp_load.standard.hidden_error(rng),
        "inertia_kg_m2": float(rng.normal(0.0, design.inertia_u_kg_m2)),
        "plate_time_constant": float(rng.normal(0.0, design.time_constant_error)),
    }
    for name in ("slip_speed", "oil", "junction", "plate"):
        errors[name] = float(rng.normal(0.0, getattr(design, name).u))
    for name in ("clamp_load", "slip_speed"):
        errors[f"{name}_lag_s"] = float(rng.normal(0.0, design.lag_error_s))

    def late(stated_s: float, name: str) -> float:
        return max(stated_s + errors[f"{name}_lag_s"], 0.0)

    speed, load = design.slip_speed, design.clamp_load.cell
    slow = design.plate.time_constant_s * (1.0 + errors["plate_time_constant"])
    return VirtualRig(
        design=design,
        bench=replace(design.bench, inertia_kg_m2=design.inertia_kg_m2 + errors["inertia_kg_m2"]),
        torque=design.torque.cell,
        clamp_load=replace(load, lag_s=late(load.lag_s, "clamp_load")),
        slip_speed=replace(
            speed, error=errors["slip_speed"], lag_s=late(speed.lag_s, "slip_speed")
        ),
        oil=replace(design.oil, error=errors["oil"]),
        junction=replace(design.junction, error=errors["junction"]),
        plate=replace(design.plate, error=errors["plate"], time_constant_s=slow),
        errors=errors,
    )
