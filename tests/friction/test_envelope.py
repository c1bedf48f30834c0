"""The tested region and what counts as inside it."""

import json

import numpy as np
import pytest

from rigdata.friction.conditions import Conditions
from rigdata.friction.envelope import Envelope, envelope_of, nearest


def cloud(seed=1, n=200):
    rng = np.random.default_rng(seed)
    return Conditions(
        np.exp(rng.uniform(np.log(0.01), np.log(1.0), n)),
        rng.uniform(40.0, 120.0, n),
        rng.uniform(0.4, 2.0, n),
    )


def test_every_tested_condition_is_inside():
    assert envelope_of(cloud()).contains(cloud()).all()


def test_conditions_outside_each_axis_are_outside():
    envelope = envelope_of(cloud())
    outside = Conditions(
        [0.008, 1.2, 0.1, 0.1, 0.1, 0.1], [80, 80, 35, 125, 80, 80], [1] * 4 + [0.3, 2.4]
    )
    assert not envelope.contains(outside).any()


def test_an_untested_corner_of_the_box_is_outside():
    """Fast slip was only tested hot, slow slip only cold."""
    speed = np.geomspace(0.01, 1.0, 60)
    temperature = 50 + 20 * np.log10(speed / 0.01)
    rng = np.random.default_rng(0)
    tested = Conditions(speed, temperature + rng.uniform(-4, 4, 60), rng.uniform(0.5, 2.0, 60))
    envelope = envelope_of(tested)
    assert envelope.contains(Conditions(0.1, 70.0, 1.0)).all()
    assert not envelope.contains(Conditions([0.011, 0.9], [88.0, 52.0], 1.0)).any()


def test_an_axis_that_was_not_varied_is_a_band():
    speed = np.geomspace(0.01, 1.0, 30)
    envelope = envelope_of(Conditions(speed, 80.0, 1.0))
    assert envelope.contains(Conditions([0.01, 0.5, 0.5], [81.5, 78.5, 80], [1, 1, 1.04])).all()
    assert not envelope.contains(Conditions([0.5, 0.5, 2.0], [83, 80, 80], [1, 1.1, 1])).any()


@pytest.mark.parametrize("n", [1, 2, 3])
def test_few_points_still_have_an_envelope(n):
    tested = cloud(n=n)
    envelope = envelope_of(tested)
    assert envelope.contains(tested).all()
    assert not envelope.contains(Conditions(5.0, 300.0, 1.0)).any()


def test_it_survives_json_exactly():
    envelope = envelope_of(cloud())
    back = Envelope.from_dict(json.loads(json.dumps(envelope.to_dict(), allow_nan=False)))
    for name in ("low", "high", "normals", "offsets"):
        assert np.array_equal(getattr(back, name), getattr(envelope, name))


def test_units_of_an_older_file_are_converted():
    envelope = envelope_of(cloud())
    data = envelope.to_dict()
    data["unit"] = [2 * u for u in data["unit"]]
    data["offsets"] = [o / 2 for o in data["offsets"]]
    back = Envelope.from_dict(data)
    assert back.normals == pytest.approx(envelope.normals)
    assert back.offsets == pytest.approx(envelope.offsets)


def test_nearest_keeps_a_condition_that_is_inside():
    wanted = Conditions(0.1, 80.0, 1.0)
    found = nearest([envelope_of(cloud())], wanted)
    assert found.slip_speed_m_s == pytest.approx([0.1])
    assert found.temperature_c == pytest.approx([80.0])


def test_nearest_moves_to_the_boundary_and_no_further():
    speed = np.geomspace(0.01, 1.0, 30)
    envelope = envelope_of(Conditions(speed, 80.0, 1.0))
    found = nearest([envelope], Conditions(0.1, 110.0, 1.0))
    assert found.temperature_c == pytest.approx([80.0])
    assert found.slip_speed_m_s == pytest.approx([0.1])


def test_nearest_lies_in_both_envelopes():
    one, two = envelope_of(cloud(1)), envelope_of(Conditions(np.geomspace(0.5, 5, 30), 100.0, 1.0))
    found = nearest([one, two], Conditions(0.05, 60.0, 1.0))
    assert one.contains(found).all()
    assert two.contains(found).all()
    assert found.temperature_c == pytest.approx([100.0], abs=2.0)


def test_nearest_of_envelopes_apart_is_none():
    one = envelope_of(Conditions(np.geomspace(0.01, 0.1, 30), 80.0, 1.0))
    two = envelope_of(Conditions(np.geomspace(0.5, 5, 30), 80.0, 1.0))
    assert nearest([one, two], Conditions(0.2, 80.0, 1.0)) is None
