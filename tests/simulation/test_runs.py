from dataclasses import replace

import numpy as np
import pytest

from rigdata.simulation import procedures
from rigdata.simulation.bench import OilDrag, Servo
from rigdata.simulation.plates import Annulus
from rigdata.simulation.runs import Bench, MountedPack, run_on_bench
from rigdata.simulation.scenario import ROUGH, STEEL

PLATES = Annulus(10, 0.055, 0.040, 0.8)
QUIET = Bench(servo=Servo(load_ripple=0.0, speed_ripple=0.0, oil_wander_k=0.0), flutter=0.0)


def run(profile, material=ROUGH, bench=QUIET, **pack):
    pack.setdefault("work_j_mm2", 1e3)
    mounted = MountedPack(PLATES, PLATES.mean_radius_m, material, **pack)
    return run_on_bench(bench, mounted, profile, np.random.default_rng(1))


@pytest.mark.parametrize("material", [ROUGH, STEEL])
def test_sweep_follows_the_law_at_its_own_temperature(material):
    sweep = procedures.speed_sweep(load_n=5e3, oil_c=80.0)
    seen = run(sweep, material, factor=1.03)
    slipping = (sweep.speed_m_s > 0.002) & (seen.load_n > 4990.0)
    radius = PLATES.mean_radius_m
    mu = (seen.friction_nm / (10 * radius * np.maximum(seen.load_n, 1.0)))[slipping]
    law = material.kinetic(
        seen.speed_rad_s * radius, seen.plate_c, seen.load_n / PLATES.area_m2 / 1e6
    )[slipping]
    assert mu == pytest.approx(1.03 * law, rel=5e-4)


def test_cell_sees_friction_drag_and_inertia():
    seen = run(procedures.stint(loads_n=[5e3], speeds_m_s=[0.6], oil_c=90.0))
    drag = OilDrag().torque(seen.speed_rad_s, seen.oil_c)
    spin = 0.12 * np.gradient(seen.speed_rad_s, seen.step_s)
    assert np.abs(spin).max() > 4.0
    assert seen.line_nm == pytest.approx(seen.friction_nm + drag + spin)


def test_plates_heat_by_the_friction_work():
    seen = run(procedures.bedding(load_n=5e3, speed_m_s=0.5, oil_c=70.0))
    power = seen.friction_nm * seen.speed_rad_s
    lost = 70.0 * (seen.plate_c - seen.oil_c)

    def over_time(values):
        return np.sum((values[1:] + values[:-1]) / 2.0) * seen.step_s

    kept = 900.0 * (seen.plate_c[-1] - seen.plate_c[0])
    assert over_time(power) == pytest.approx(kept + over_time(lost), rel=1e-3)
    assert seen.plate_c.max() > 85.0


def test_bedding_run_beds_a_new_pack_in():
    seen = run(procedures.bedding(load_n=5e3, speed_m_s=0.5, oil_c=70.0), work_j_mm2=0.0)
    left = ROUGH.bedding_factor(seen.work_j_mm2)
    assert left[0] == pytest.approx(0.90)
    assert left[-1] > 0.995


def test_breakaway_peak_is_the_static_coefficient():
    profile = procedures.breakaway(load_n=5e3, oil_c=90.0, dwells_s=(1.0, 4.0, 16.0))
    seen = run(profile)
    starts = np.flatnonzero((seen.speed_rad_s[1:] > 0.0) & (seen.speed_rad_s[:-1] == 0.0))
    peaks = [seen.line_nm[start - 5 : start + 2].max() for start in starts[:3]]
    mu = np.array(peaks) / (10 * PLATES.mean_radius_m * 5e3)
    loaded = np.flatnonzero((profile.load_n[1:] > 0.0) & (profile.load_n[:-1] == 0.0))
    dwell = (starts[:3] - loaded) * profile.step_s
    law = ROUGH.static(dwell, 90.0, 5e3 / PLATES.area_m2 / 1e6)
    assert mu == pytest.approx(law, rel=1e-3)
    assert np.all(np.diff(mu) > 0.0)


def test_at_rest_and_unloaded_nothing_pulls():
    for profile in (procedures.breakaway(load_n=5e3, oil_c=90.0), procedures.zero(oil_c=60.0)):
        seen = run(profile, bench=Bench())
        ends = np.r_[0:200, -200:0]
        assert np.all(seen.line_nm[ends] == 0.0)
        assert np.all(seen.speed_rad_s[ends] == 0.0)


def test_drag_falls_as_the_oil_warms():
    cold, hot = (OilDrag().torque(np.array([20.0]), np.array([t]))[0] for t in (40.0, 120.0))
    assert cold > 2.0 * hot > 0.0


SOFT = replace(QUIET, line_stiffness_nm_rad=2500.0, line_damping_nm_s_rad=6.0)
SWEEP = procedures.speed_sweep(load_n=5e3, oil_c=80.0, top_m_s=1.2, way_s=8.0, rate_hz=200.0)


def part(seen, low_m_s, high_m_s, *, rising=True):
    """Samples of the sweep whose drive turns at these speeds."""
    half = np.arange(seen.speed_rad_s.size) < seen.speed_rad_s.size / 2
    inside = (SWEEP.speed_m_s > low_m_s) & (SWEEP.speed_m_s < high_m_s)
    return inside & (half == rising) & (SWEEP.load_n > 4990.0)


def test_a_soft_line_lets_falling_friction_stick_and_slip():
    seen = run(SWEEP, STEEL, SOFT)
    slow, fast = part(seen, 0.01, 0.04), part(seen, 0.4, 1.1)
    assert 0.1 < np.mean(seen.speed_rad_s[slow] == 0.0) < 0.9
    assert np.all(seen.speed_rad_s[fast] > 0.0)
    radius = PLATES.mean_radius_m
    assert seen.speed_rad_s[fast] == pytest.approx(SWEEP.speed_m_s[fast] / radius, rel=0.02)
    # Over whole cycles the plates go as far as their drive.
    assert seen.speed_rad_s[slow].mean() == pytest.approx(
        SWEEP.speed_m_s[slow].mean() / radius, rel=0.1
    )


def test_it_swings_at_the_frequency_of_line_and_inertia():
    seen = run(SWEEP, STEEL, SOFT)
    speed = seen.speed_rad_s[part(seen, 0.05, 0.09)]
    spectrum = np.abs(np.fft.rfft((speed - speed.mean()) * np.hanning(speed.size)))
    hz = np.fft.rfftfreq(speed.size, 1 / 200.0)[np.argmax(spectrum)]
    assert hz == pytest.approx(np.sqrt(2500.0 / 0.12) / (2 * np.pi), rel=0.2)


def test_rising_friction_slips_steadily_behind_the_same_line():
    seen, stiff = run(SWEEP, ROUGH, SOFT), run(SWEEP, ROUGH)
    steady = part(seen, 0.02, 1.1)
    assert np.all(seen.speed_rad_s[steady] > 0.0)
    assert seen.line_nm[steady] == pytest.approx(stiff.line_nm[steady], rel=0.01)


def test_no_load_no_line():
    drag = procedures.drag(cold_c=60.0, hot_c=90.0, top_m_s=1.0, hold_s=1.0, heating_s=2.0)
    soft, stiff = run(drag, STEEL, SOFT), run(drag, STEEL)
    assert np.array_equal(soft.line_nm, stiff.line_nm)
