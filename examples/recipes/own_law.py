"""Does a law of my own describe the plates better than those that are there?

Run it as python examples/recipes/own_law.py RESULTS.
To have it in every fit, put it in rigdata/friction/laws and name it in registry.py.
"""

import sys
from pathlib import Path

import numpy as np

import rigdata
from rigdata.friction.candidates import candidates
from rigdata.friction.laws.base import COEFFICIENT_AT_REFERENCE, Law, LawParameter
from rigdata.friction.laws.registry import LAWS


def mu(where, theta, reference):
    return theta[0] * (where.slip_speed_m_s / reference.slip_speed_m_s) ** theta[1]


def jacobian(where, theta, reference):
    value, share = mu(where, theta, reference), where.slip_speed_m_s / reference.slip_speed_m_s
    return np.stack([value / theta[0], value * np.log(share)], axis=-1)


def starts(_where, values, _reference):
    return [np.array([np.mean(values), 0.0])]


n = LawParameter("n", "1", "exponent of the slip speed", axes=("slip_speed_m_s",))
power = Law("power", "mu = mu0 (v/v0)^n", (COEFFICIENT_AT_REFERENCE, n), mu, jacobian, starts)

results = Path(sys.argv[1])
points = rigdata.read_points(results / "points.csv", results / "budget.csv")
wanted = (points.state == "new") & (points.material == "rough-on-steel")
points = points.select(wanted & points.used & (points.kind == "kinetic"))
reference = rigdata.read_campaign(results.parent).reference
for tried in candidates("rough-on-steel", points, [*LAWS.values(), power], reference):
    print(f"{tried.law.name:10} AICc {tried.score.aicc:.1f} {tried.score.remark}")
