"""Runs in small matrices against the projection written out."""

import numpy as np
import pytest
from friction_points import REFERENCE, Truth, drawn

from rigdata.friction.design import Block
from rigdata.friction.joint import joint_fit
from rigdata.friction.laws.registry import law
from rigdata.friction.run_space import RunSpace

LAYOUTS = {
    "even": ((6, 6, 6), (6, 6, 6), (6, 6, 6)),
    "one run in a pack": ((5,), (4, 7), (6, 3, 8, 5)),
    "one pack": ((6, 4, 7, 5),),
}


@pytest.mark.parametrize(
    ("layout", "kind"),
    [(layout, kind) for layout in LAYOUTS for kind in ("run", "pack")][:-1],  # one pack: no scatter
)
def test_shifts_of_runs_and_packs_are_those_of_the_projection(layout, kind):
    points = drawn(Truth(layout=LAYOUTS[layout]), np.random.default_rng(4))
    fit = joint_fit([Block("x", points, law("log-speed"), {})], REFERENCE)
    names, first, member = np.unique(
        points.run if kind == "run" else points.pack, return_index=True, return_inverse=True
    )
    pack_of = np.unique(points.pack, return_inverse=True)[1][first]
    space = RunSpace.of(fit.profile, kind, fit.estimate.variances, pack_of)
    shifts = fit.curve[:, None] * (member[:, None] == np.arange(names.size))
    gram = shifts.T @ fit.profile.project(shifts)
    assert space.gram == pytest.approx(gram, rel=1e-8, abs=1e-10 * np.abs(gram).max())
    assert space.pull == pytest.approx(shifts.T @ fit.profile.projected, rel=1e-8)
    held = (shifts**2).T @ fit.profile.inverse_diagonal
    assert space.least == pytest.approx(1e-6 * held, rel=1e-10)
