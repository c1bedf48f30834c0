"""Components of a table's errors against the covariance of the fit behind it."""

from dataclasses import replace

import numpy as np
import pytest
from friction_points import REFERENCE, THETA, Truth, drawn

from rigdata.errors import TableError
from rigdata.friction.conditions import Conditions
from rigdata.friction.fit import fit_campaign
from rigdata.friction.results import Group
from rigdata.reduction.points import concatenate
from rigdata.tables.build import build_table
from rigdata.tables.correlation import shared_errors
from rigdata.tables.json_table import as_json, from_json
from rigdata.uncertainty.identity import Origins

HERE = Origins({"T1": "a" * 64}, "b" * 64, "c" * 64)
GAIN = "torque:T1:slope@" + "a" * 12


@pytest.fixture(scope="module")
def two():
    """Two materials on one rig: points, fits."""
    rng = np.random.default_rng(4)
    gain = rng.normal()
    truths = (
        Truth(material="rough", gain_u=0.02),
        Truth(material="plain", law="stribeck", theta=THETA["stribeck"], gain_u=0.02),
    )
    points = concatenate([drawn(truth, rng, gain) for truth in truths])
    return points, fit_campaign(points, REFERENCE)


def table_of(two, material, origins=HERE):
    points, fits = two
    fit = fits[Group(material, "new")]
    provenance = {"program": "rigdata"}
    return fit, build_table(fit, "kinetic", provenance, shared_errors(fit, points, origins))


def somewhere(fit, count=40):
    """Conditions that were tested."""
    rng = np.random.default_rng(1)
    places = Conditions(
        np.exp(rng.uniform(np.log(0.01), 0.0, 400)),
        rng.uniform(40.0, 120.0, 400),
        rng.uniform(0.5, 2.0, 400),
    )
    return places.select(np.flatnonzero(fit.envelope.contains(places))[:count])


@pytest.mark.parametrize("material", ["rough", "plain"])
def test_components_give_the_covariance_between_conditions(two, material):
    fit, table = table_of(two, material)
    places = somewhere(fit)
    read = table.mu(places.slip_speed_m_s, places.temperature_c, places.pressure_mpa)
    slope = fit.form.jacobian(places, fit.theta, fit.reference)
    exact = slope @ fit.covariance @ slope.T
    found = read.components.T @ read.components
    size = np.sqrt(np.diag(exact))
    assert np.max(np.abs(found - exact) / np.outer(size, size)) < 0.04
    assert len(table.causes) < 12


def test_an_error_of_the_rig_is_named_and_is_what_the_calibration_says(two):
    _, table = table_of(two, "rough")
    place = table.causes.index(GAIN)
    assert table.components[place] == pytest.approx(0.02 * table.field("mu"), rel=0.02)


def test_the_same_error_has_the_same_name_only_under_the_same_record(two):
    other = Origins({"T1": "d" * 64}, "b" * 64, "c" * 64)
    (_, rough), (_, plain) = table_of(two, "rough"), table_of(two, "plain")
    assert GAIN in plain.causes
    assert GAIN not in table_of(two, "plain", other)[1].causes
    shared = set(rough.causes) & set(plain.causes) - {""}
    a, b = (t.mu(0.1, 80.0, 1.0) for t in (rough, plain))
    total = sum(
        a.components[rough.causes.index(name)] * b.components[plain.causes.index(name)]
        for name in shared
    )
    assert total == pytest.approx(0.02**2 * a.mu * b.mu, rel=0.05)


def test_components_survive_json(two):
    _, table = table_of(two, "rough")
    back = from_json(as_json(table), where="here")
    assert back.causes == table.causes
    assert np.array_equal(back.components, table.components)


def test_a_table_without_components_is_still_read(table):
    content = as_json(table)
    del content["kinetic"]["components"]
    back = from_json(content, where="here")
    assert back.mu(0.1, 80.0, 1.0).components.shape == (0, 1)


def test_sizes_that_no_table_holds_are_refused(two):
    _, table = table_of(two, "rough")
    huge = np.where(np.arange(table.nodes.size).reshape(table.nodes.shape) == 0, 1e308, table.nodes)
    with pytest.raises(TableError, match="no coefficient of friction"):
        replace(table, nodes=huge)
    larger = table.components.copy()
    larger[0].flat[0] = 1.001 * table.nodes[1].flat[0]
    with pytest.raises(TableError, match="larger than the uncertainty"):
        replace(table, components=larger)
