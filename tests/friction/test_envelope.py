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


def breakaways() -> Conditions:
    """Short dwells hot and long ones cold, at one pressure."""
    return Conditions(0.0, [100.0, 101.0, 40.0, 41.0], 1.5, [1.0, 2.0, 20.0, 50.0])


def test_an_envelope_of_breakaways_holds_their_dwell():
    envelope = envelope_of(breakaways())
    assert envelope.axes == ("slip_speed_m_s", "temperature_c", "pressure_mpa", "dwell_s")
    assert envelope.low.tolist() == [0.0, 40.0, 1.5, 1.0]
    inside = envelope.contains(Conditions(0.0, [70.0, 100.0, 41.0], 1.5, [5.5, 1.1, 55.0]))
    assert inside.all()
    outside = Conditions(
        [0.0, 0.0, 0.0, 0.05], [100.0, 41.0, 70.0, 70.0], 1.5, [30.0, 70.0, np.nan, 5.5]
    )
    assert not envelope.contains(outside).any()


def test_an_envelope_of_breakaways_survives_json():
    envelope = envelope_of(breakaways())
    data = json.loads(json.dumps(envelope.to_dict()))
    assert data["box"]["dwell_s"] == [1.0, 50.0]
    back = Envelope.from_dict(data)
    for name in ("low", "high", "normals", "offsets"):
        assert np.array_equal(getattr(back, name), getattr(envelope, name))
    # A file from a version with half the room in every quantity holds the same hull.
    other = Envelope.from_dict(
        {
            **data,
            "unit": [u / 2 for u in data["unit"]],
            "offsets": [2 * o for o in data["offsets"]],
        }
    )
    assert np.allclose(other.offsets, envelope.offsets, rtol=1e-12)


def test_the_nearest_breakaway_stands_still():
    found = nearest([envelope_of(breakaways())], Conditions(0.1, 120.0, 1.5, 0.2))
    assert found is not None
    assert found.slip_speed_m_s[0] == 0.0
    assert found.temperature_c[0] == pytest.approx(100.0, abs=1.5)
    assert found.dwell_s[0] == pytest.approx(1.0, rel=0.05)


def test_breakaways_without_a_dwell_have_three_quantities():
    envelope = envelope_of(Conditions(0.0, [40.0, 100.0], 1.5, [2.0, np.nan]))
    assert envelope.axes == ("slip_speed_m_s", "temperature_c", "pressure_mpa")


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
