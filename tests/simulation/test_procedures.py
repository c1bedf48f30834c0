import numpy as np
import pytest

from rigdata.simulation import procedures
from rigdata.simulation.scenario import LONG, SHORT, standard_profile
from rigdata.simulation.spec import PackDesign

PACK = PackDesign("A1", "rough-on-steel")
TESTS = {
    "zero": "zero",
    "drag": "drag",
    "bedding": "bedding",
    "sweep-light": "speed-sweep",
    "sweep-middle": "speed-sweep",
    "sweep-heavy": "speed-sweep",
    "load": "load-sweep",
    "temperature": "temperature-sweep",
    "steady": "steady",
    "breakaway": "breakaway",
    "breakaway-cold": "breakaway",
    "breakaway-heavy": "breakaway",
    "stint": "stint",
}


@pytest.mark.parametrize("pace", [LONG, SHORT])
@pytest.mark.parametrize(("test", "procedure"), TESTS.items())
def test_every_profile_begins_and_ends_at_rest(test, procedure, pace):
    profile = standard_profile(test, PACK, pace)
    assert profile.procedure == procedure
    rest = round(3.9 * profile.rate_hz)
    for ends in (slice(0, rest), slice(-rest, None)):
        assert np.all(profile.load_n[ends] == 0.0)
        assert np.all(profile.speed_m_s[ends] == 0.0)
    assert np.allclose(np.diff(profile.time_s), profile.step_s)
    assert 0.0 <= profile.load_n.min() <= profile.load_n.max() < 24e3
    assert 0.0 <= profile.speed_m_s.min() <= profile.speed_m_s.max() <= 1.6


def test_unknown_test_is_refused():
    with pytest.raises(KeyError):
        standard_profile("no such test", PACK, SHORT)


def test_speed_sweep_is_exponential_up_and_back():
    sweep = procedures.speed_sweep(load_n=5e3, oil_c=80.0, way_s=20.0, rate_hz=50.0)
    time, speed = sweep.time_s, sweep.speed_m_s
    up = (time > 6.0 + 0.1) & (time < 26.0 - 0.1)
    rates = np.diff(np.log(speed[up])) * 50.0
    assert rates == pytest.approx(np.log(1.5 / 0.002) / 20.0)
    assert speed.max() == pytest.approx(1.5)
    middle = np.argmax(speed)
    assert speed[middle + 200] == pytest.approx(speed[middle - 200])


def test_load_sweep_covers_one_to_six():
    load = standard_profile("load", PACK, SHORT)
    moving = load.speed_m_s == load.speed_m_s.max()
    assert load.load_n[moving].max() / load.load_n[moving].min() >= 6.0


def test_breakaway_waits_and_then_turns_the_drive():
    run = procedures.breakaway(load_n=5e3, oil_c=90.0, dwells_s=(1.0, 4.0), rate_hz=500.0)
    assert run.compliant
    starts = np.flatnonzero((run.speed_m_s[1:] > 0.0) & (run.speed_m_s[:-1] == 0.0))
    loads = np.flatnonzero((run.load_n[1:] >= 5e3) & (run.load_n[:-1] < 5e3))
    assert (starts - loads) / 500.0 == pytest.approx([1.0, 4.0], abs=0.01)


def test_drag_run_meets_two_oil_temperatures_at_every_stair():
    run = standard_profile("drag", PACK, LONG)
    assert np.all(run.load_n == 0.0)
    for speed in np.unique(run.speed_m_s[run.speed_m_s > 0.0])[-1:]:
        oils = run.oil_c[run.speed_m_s == speed]
        assert oils.min() == 30.0
        assert oils.max() == 150.0
