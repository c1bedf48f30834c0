"""A corrected run made by hand, so that each step is tested without a log."""

from types import SimpleNamespace

import numpy as np
import pytest

from rigdata.calibration.signals import Signal
from rigdata.reduction.corrections import CorrectedRun
from rigdata.reduction.geometry import pack_geometry
from rigdata.reduction.stretches import Stretch
from rigdata.reduction.zero import Idle
from rigdata.uncertainty.sources import Effect, Scope, Source

GAIN = Source("torque:T1:slope", Scope.RIG, Effect.PROPORTIONAL, "torque gain")
LOAD_GAIN = Source("clamp-load:L1:slope", Scope.RIG, Effect.PROPORTIONAL, "load gain")
SPEED = Source("slip-speed:direct", Scope.RIG, Effect.ADDITIVE, "stated uncertainty")
WARMTH = Source("plate-temperature:thermocouple", Scope.RIG, Effect.ADDITIVE, "thermocouple")


def hand_pack(**changes):
    pack = {
        "name": "P1",
        "material": "rough",
        "batch": "1",
        "state": "new",
        "service_hours": 0.0,
        "friction_faces": 8,
        "outer_radius_mm": 55.0,
        "inner_radius_mm": 40.0,
        "radius_u_mm": 0.05,
        "contact_area_fraction": 0.8,
        "pressure_law": "uniform-pressure",
        "spline_radius_mm": None,
        "spline_friction": None,
        "plate_thickness_mm": None,
        "thermocouple_depth_mm": None,
        "plate_conductivity_w_mk": None,
    }
    return SimpleNamespace(**{**pack, **changes})


@pytest.fixture
def make_run():
    """Return a function that builds a corrected run from torque, load and speed over time."""

    def make(time, torque, load, speed, *, temperature=80.0, procedure="steady", idle_s=0.0):
        time = np.asarray(time, float)
        torque, load, speed = (
            np.broadcast_to(np.asarray(x, float), time.shape) for x in (torque, load, speed)
        )
        good = np.ones(time.size, bool)
        pack = hand_pack()
        idle = int(np.searchsorted(time, time[0] + idle_s))
        return CorrectedRun(
            run=SimpleNamespace(id="R1", procedure=procedure, pack="P1"),
            pack=pack,
            geometry=pack_geometry(pack),
            time_s=time,
            usable=good,
            n_samples=np.ones(time.size, np.int64),
            torque=Signal("torque", torque, good, (GAIN,), 0.005 * torque[None, :]),
            tared_torque=torque,
            load=Signal("clamp_load", load, good, (LOAD_GAIN,), 0.003 * load[None, :]),
            speed=Signal("slip_speed", speed, good, (SPEED,), np.full((1, time.size), 0.01)),
            temperature=Signal(
                "plate_temperature",
                np.broadcast_to(np.asarray(temperature, float), time.shape),
                good,
                (WARMTH,),
                np.full((1, time.size), 0.6),
            ),
            oil_temperature=np.full(time.size, 70.0),
            idle=Idle(Stretch(0, idle) if idle else None, None),
            zeros=None,
            notices=(),
        )

    return make
