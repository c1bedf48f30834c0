"""A clutch pack and a table made by hand."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from hand_tables import made_table

from rigdata.lockup.description import LockPack, Plates, Preload, Ramps
from rigdata.tables.table import CoefficientTable


@pytest.fixture
def pack() -> LockPack:
    """Two rings, 4 faces a side, ramps of 45 and 60 deg with friction."""
    return LockPack(
        "made by hand",
        Plates(outer_radius_mm=55.0, inner_radius_mm=40.0, faces_per_side=4, mass_kg=1.1),
        Preload(force_n=5000.0, u_n=150.0),
        Ramps(drive_deg=45.0, coast_deg=60.0, radius_mm=40.0, friction=0.09, friction_u=0.02),
        faces=4,
    )


@pytest.fixture
def table() -> CoefficientTable:
    return made_table(a=0.03, b=-0.001, c=-0.05)
