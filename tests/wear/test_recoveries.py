"""What heat took for good stands beside the wear, for every group that was asked."""

import sys
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "studies"))

from friction_points import REFERENCE, Truth, drawn

from rigdata.friction.fit import fit_campaign
from rigdata.friction.pack_levels import pack_levels
from rigdata.friction.results import Group
from rigdata.reduction.points import concatenate
from rigdata.wear.assess import assess_wear
from rigdata.wear.wear_file import wear_to_dict

HEATED = Truth(
    runs=(4, 4), points=(8, 8), settings=((80.0, 1.0), (150.0, 1.0), (82.0, 1.1), (80.0, 0.9))
)


def test_groups_that_were_hot_in_between_say_what_came_back():
    rng = np.random.default_rng(5)
    cool = replace(HEATED, material="plain", settings=((80.0, 1.0), (85.0, 1.1)))
    points = concatenate([drawn(HEATED, rng), drawn(cool, rng)])
    fits = fit_campaign(points, REFERENCE, laws=["log-speed"])
    bare = SimpleNamespace(packs={}, materials={}, duties={})
    wear = assess_wear(bare, None, pack_levels(points, fits), fits)
    (group,) = wear.recoveries
    assert group == Group("rough", "new")
    (told,) = wear_to_dict(wear)["after_heat"]
    assert told["material"] == "rough"
    assert told["low"] < 0.0 < told["high"]
