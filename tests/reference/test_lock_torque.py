"""Torque of a disc clutch against the textbook result.

Any textbook of machine design, chapter on disc clutches, from memory: uniform wear,
``T = n mu F (D + d) / 4``; uniform pressure, ``T = n mu F (D^3 - d^3) / (3 (D^2 - d^2))``.
The numbers are ours, worked by hand: D 300 mm, d 200 mm, 2 faces, mu 0.25, F 9000 N.
"""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "lockup"))

from hand_tables import made_table

from rigdata.lockup.description import LockPack, Plates, Preload, Ramps
from rigdata.lockup.torque import lock_torque


@pytest.mark.parametrize(
    ("law", "torque"),
    [
        # 2 x 0.25 x 9000 x (0.3 + 0.2) / 4 = 562.5
        ("uniform-wear", 562.5),
        # 2 x 0.25 x 9000 x (0.027 - 0.008) / (3 x (0.09 - 0.04)) = 570.0
        ("uniform-pressure", 570.0),
    ],
)
def test_disc_clutch(law, torque):
    """A pack of one friction face a side has two faces in all, as the clutch."""
    plates = Plates(150.0, 100.0, faces_per_side=1, pressure_law=law)
    pack = LockPack("disc clutch", plates, Preload(9000.0), Ramps(90.0, 90.0, 50.0), faces=1)
    found = lock_torque(pack, made_table(0.25), 0.0, 80.0)
    assert found.lock_nm[0] == pytest.approx(torque, rel=1e-9)
