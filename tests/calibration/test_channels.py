import datetime
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from rigdata.calibration.channels import to_signals
from rigdata.calibration.resistance import resistance
from rigdata.calibration.signals import Signal, Signals
from rigdata.calibration.thermocouple import seebeck, voltage
from rigdata.campaign.records import CalibrationRecord
from rigdata.campaign.rig import Channel, LogSettings, Rig
from rigdata.errors import CalibrationError, CampaignError, LogError, Severity
from rigdata.logs.flags import Flag
from rigdata.uncertainty.sources import Effect, Scope

N = 200
TIME = 0.1 * np.arange(N)
RAMP = np.linspace(0.0, 1.0, N)
STEPS = np.array([0.0, 50.0, 100.0, 150.0, 200.0, 150.0, 100.0, 50.0, 0.0])
RIPPLE = 1e-4 * np.array([1.0, -2.0, 0.5, 1.0, -1.0, 2.0, -0.5, 1.0, -2.0])


def torque_record(**changes: Any) -> CalibrationRecord:
    base = CalibrationRecord(
        path=Path("records/TC-1.toml"),
        sha256="",
        id="TC-1",
        sensor="torque cell",
        quantity="torque",
        applied_unit="N*m",
        indicated_unit="mV/V",
        date=datetime.date(2025, 3, 1),
        valid_until=datetime.date(2026, 3, 1),
        reference_expanded_u_percent=0.1,
        coverage_factor=2.0,
        temperature_c=21.0,
        degree=1,
        series=np.full(9, "1"),
        direction=np.array(["up"] * 5 + ["down"] * 4),
        applied=STEPS,
        indicated=0.01 * STEPS + RIPPLE,
    )
    return replace(base, **changes)


def read(
    channels: Mapping[str, Channel],
    logged: Mapping[str, np.ndarray],
    *,
    flags: Mapping[str, np.ndarray] | None = None,
    units: Mapping[str, str | None] | None = None,
    date: datetime.date | None = None,
    spread: Mapping[str, np.ndarray] | None = None,
) -> Signals:
    rig = Rig(
        path=Path("rig.toml"),
        name="rig",
        inertia_kg_m2=0.1,
        inertia_u_kg_m2=0.01,
        log=LogSettings(time_column="time"),
        channels=channels,
    )
    frames: Any = SimpleNamespace(
        time_s=TIME,
        frame_s=0.1,
        n_samples=np.full(N, 10),
        values=logged,
        spread=dict(spread or {}),
        flags={name: np.zeros(N, np.uint8) for name in logged} | dict(flags or {}),
        counts={name: {} for name in logged},
        units=dict.fromkeys(logged) | dict(units or {}),
        n_rows=10 * N,
        sample_s=0.01,
        notices=(),
        sha256="ab" * 32,
    )
    return to_signals(frames, rig, run="R1", date=date)


def row(signal: Signal, source: str) -> np.ndarray:
    return signal.sensitivity[[s.id for s in signal.sources].index(source)]


class TestDirect:
    speed = Channel("slip_speed", column="n", unit="rpm", u=0.3)

    def test_si_values_and_one_source(self) -> None:
        signal = read({"slip_speed": self.speed}, {"slip_speed": 60.0 * RAMP}).channels[
            "slip_speed"
        ]
        assert signal.values == pytest.approx(2 * np.pi * RAMP)
        (source,) = signal.sources
        assert (source.id, source.scope) == ("slip-speed:direct", Scope.RIG)
        assert signal.sensitivity == pytest.approx(np.full((1, N), 0.3 * 2 * np.pi / 60))
        assert signal.u == pytest.approx(0.3 * 2 * np.pi / 60)

    def test_fahrenheit_has_an_offset_that_its_uncertainty_has_not(self) -> None:
        oil = Channel("oil_temperature", column="T", unit="degF", u=1.8)
        signal = read({"oil_temperature": oil}, {"oil_temperature": np.full(N, 212.0)}).channels[
            "oil_temperature"
        ]
        assert signal.values == pytest.approx(100.0)
        assert signal.sensitivity == pytest.approx(1.0)

    def test_missing_uncertainty_is_an_error(self) -> None:
        with pytest.raises(CampaignError, match="no uncertainty"):
            read({"slip_speed": replace(self.speed, u=None)}, {"slip_speed": RAMP})

    def test_missing_unit_is_an_error(self) -> None:
        bare = replace(self.speed, unit=None)
        with pytest.raises(CampaignError, match="no unit"):
            read({"slip_speed": bare}, {"slip_speed": RAMP})
        known = read({"slip_speed": bare}, {"slip_speed": RAMP}, units={"slip_speed": "[1/min]"})
        assert known.channels["slip_speed"].values[-1] == pytest.approx(2 * np.pi / 60)

    def test_log_and_rig_must_agree_on_the_unit(self) -> None:
        with pytest.raises(LogError, match="units row of the log says rad/s"):
            read({"slip_speed": self.speed}, {"slip_speed": RAMP}, units={"slip_speed": "rad/s"})

    def test_unit_of_something_else(self) -> None:
        with pytest.raises(CampaignError, match="is not a angular speed"):
            read({"slip_speed": replace(self.speed, unit="mm")}, {"slip_speed": RAMP})

    def test_column_that_was_not_read(self) -> None:
        with pytest.raises(LogError, match="slip_speed was not read"):
            read({"slip_speed": self.speed}, {})


def test_constant_channel() -> None:
    load = Channel("clamp_load", unit="kN", constant=2.0, u=0.01)
    signal = read({"clamp_load": load}, {}).channels["clamp_load"]
    assert (signal.values == 2000.0).all()
    assert signal.good.all()
    assert [s.id for s in signal.sources] == ["clamp-load:direct"]
    assert signal.sensitivity == pytest.approx(10.0)


class TestCalibrated:
    torque = Channel("torque", column="bridge", unit="mV/V", calibration=torque_record())

    def test_curve_and_sources(self) -> None:
        signals = read({"torque": self.torque}, {"torque": 2.0 * RAMP})
        signal = signals.channels["torque"]
        assert signal.values == pytest.approx(200.0 * RAMP, abs=0.05)
        assert [s.id for s in signal.sources] == [
            "torque:TC-1:level",
            "torque:TC-1:slope",
            "torque:TC-1:reference",
            "torque:TC-1:residual:R1",
        ]
        assert row(signal, "torque:TC-1:reference") == pytest.approx(0.0005 * signal.values)
        assert signals.notices == ()

    def test_logged_unit_may_differ_from_the_record(self) -> None:
        volts = torque_record(indicated_unit="V")
        millivolts = replace(self.torque, unit="mV", calibration=volts)
        signal = read({"torque": millivolts}, {"torque": 2000.0 * RAMP}).channels["torque"]
        assert signal.values == pytest.approx(200.0 * RAMP, abs=0.05)

    def test_record_of_another_indication(self) -> None:
        with pytest.raises(CalibrationError, match="the record is in mV/V, the log in V"):
            read({"torque": replace(self.torque, unit="V")}, {"torque": RAMP})

    def test_record_of_another_quantity(self) -> None:
        force = replace(self.torque, calibration=torque_record(applied_unit="N"))
        with pytest.raises(CampaignError, match="'N' is not a torque"):
            read({"torque": force}, {"torque": RAMP})

    def test_beyond_the_record_is_a_warning(self) -> None:
        signals = read({"torque": self.torque}, {"torque": 2.3 * RAMP})
        (notice,) = signals.notices
        assert notice.severity is Severity.WARNING
        assert "TC-1 (0 to 200 N*m), as far as 230 N*m" in notice.what
        beyond = np.count_nonzero(signals.channels["torque"].values > 210.0)
        assert notice.what.startswith(f"{beyond} of {N} frames")
        assert "run R1" in notice.where
        assert read({"torque": self.torque}, {"torque": 2.09 * RAMP}).notices == ()

    def test_frames_that_are_not_good_do_not_warn(self) -> None:
        flags = np.where(RAMP > 0.9, Flag.SATURATED, 0).astype(np.uint8)
        signals = read({"torque": self.torque}, {"torque": 2.3 * RAMP}, flags={"torque": flags})
        assert signals.notices == ()

    def test_force_on_a_lever(self) -> None:
        channel = replace(
            self.torque,
            calibration=torque_record(id="FC-1", quantity="force", applied_unit="N"),
            lever_arm_mm=250.0,
            lever_arm_u_mm=0.5,
        )
        signal = read({"torque": channel}, {"torque": 2.0 * RAMP}).channels["torque"]
        assert signal.values == pytest.approx(50.0 * RAMP, abs=0.02)
        assert row(signal, "lever-arm") == pytest.approx(signal.values * 0.5 / 250.0)
        assert row(signal, "torque:FC-1:reference") == pytest.approx(0.0005 * signal.values)
        lever = signal.sources[-1]
        assert (lever.scope, lever.effect) == (Scope.RIG, Effect.PROPORTIONAL)
        with pytest.raises(CampaignError, match="lever arm has no uncertainty"):
            read({"torque": replace(channel, lever_arm_u_mm=None)}, {"torque": RAMP})

    def test_the_day_of_the_run_chooses_among_records(self) -> None:
        later = torque_record(
            id="TC-2", date=datetime.date(2025, 3, 11), indicated=0.0101 * STEPS + RIPPLE
        )
        channel = replace(self.torque, calibration=later, earlier=(torque_record(),))
        logged = {"torque": 2.0 * RAMP}
        with pytest.raises(CalibrationError, match="run R1: the run has no date"):
            read({"torque": channel}, logged)
        days = (datetime.date(2025, 3, d) for d in (1, 6, 11))
        first, half, last = (
            read({"torque": channel}, logged, date=day).channels["torque"] for day in days
        )
        assert half.values == pytest.approx((first.values + last.values) / 2)
        assert last.values == pytest.approx(200.0 * RAMP / 1.01, abs=0.05)
        assert row(half, "torque:TC-1:drift") == pytest.approx(
            (last.values - first.values) / np.sqrt(12)
        )
        assert "torque:TC-2:residual:R1" in [source.id for source in last.sources]
        volts = replace(channel, earlier=(torque_record(indicated_unit="V"),))
        with pytest.raises(CalibrationError, match="the record is in V"):
            read({"torque": volts}, logged, date=datetime.date(2025, 3, 20))

    def test_one_sd_of_each_source_is_what_the_row_says(self) -> None:
        # Move the fit by one standard deviation of its slope and read again.
        logged = {"torque": 2.0 * RAMP}
        signal = read({"torque": self.torque}, logged).channels["torque"]
        record = torque_record()
        shift = row(signal, "torque:TC-1:slope")
        at_points = np.interp(record.indicated, logged["torque"], shift)
        moved = replace(self.torque, calibration=torque_record(applied=record.applied + at_points))
        again = read({"torque": moved}, logged).channels["torque"]
        assert again.values - signal.values == pytest.approx(shift, abs=1e-4)


class TestPiston:
    pressure = Channel(
        "cylinder_pressure",
        column="p",
        unit="bar",
        u=0.1,
        piston_area_mm2=5000.0,
        piston_area_u_mm2=10.0,
    )

    def test_load_from_pressure(self) -> None:
        signals = read({"cylinder_pressure": self.pressure}, {"cylinder_pressure": 20.0 * RAMP})
        load = signals.channels["clamp_load"]
        assert load.name == "clamp_load"
        assert load.values == pytest.approx(1e4 * RAMP)
        assert row(load, "piston-area") == pytest.approx(20.0 * RAMP)
        assert row(load, "cylinder-pressure:direct") == pytest.approx(50.0)
        assert signals.channels["cylinder_pressure"].values == pytest.approx(2e6 * RAMP)

    def test_a_load_cell_goes_first(self) -> None:
        cell = Channel("clamp_load", column="F", unit="N", u=5.0)
        signals = read(
            {"cylinder_pressure": self.pressure, "clamp_load": cell},
            {"cylinder_pressure": RAMP, "clamp_load": 100.0 * RAMP},
        )
        assert [s.id for s in signals.channels["clamp_load"].sources] == ["clamp-load:direct"]

    def test_no_area(self) -> None:
        bare = replace(self.pressure, piston_area_mm2=None)
        with pytest.raises(CampaignError, match="no piston area"):
            read({"cylinder_pressure": bare}, {"cylinder_pressure": RAMP})


class TestThermocouple:
    plate = Channel(
        "plate_temperature",
        column="tc",
        unit="mV",
        thermocouple="K",
        reference_junction="reference_junction_temperature",
    )
    cold = Channel("reference_junction_temperature", column="cjc", unit="degC", u=0.4)
    warm = 80.0 + 100.0 * RAMP
    junction = 25.0 + 5.0 * RAMP
    logged: Mapping[str, np.ndarray] = {
        "plate_temperature": voltage("K", warm) - voltage("K", junction),
        "reference_junction_temperature": junction,
    }

    def channels(self, **changes: Any) -> dict[str, Channel]:
        return {
            "plate_temperature": replace(self.plate, **changes),
            "reference_junction_temperature": self.cold,
        }

    def test_temperature_and_junction_by_channel_or_column(self) -> None:
        for name in ("reference_junction_temperature", "cjc"):
            signals = read(self.channels(reference_junction=name, u=0.8), self.logged)
            signal = signals.channels["plate_temperature"]
            assert signal.values == pytest.approx(self.warm, abs=1e-7)
            assert signals.notices == ()
            passed_on = seebeck("K", self.junction) / seebeck("K", self.warm)
            assert row(signal, "reference-junction-temperature:direct") == pytest.approx(
                0.4 * passed_on, rel=1e-6
            )
            assert row(signal, "plate-temperature:thermocouple") == pytest.approx(0.8)

    def test_logged_in_volts(self) -> None:
        logged = dict(self.logged) | {"plate_temperature": 1e-3 * self.logged["plate_temperature"]}
        signal = read(self.channels(unit="V", u=0.8), logged).channels["plate_temperature"]
        assert signal.values == pytest.approx(self.warm, abs=1e-7)

    def test_default_tolerance_is_said(self) -> None:
        signals = read(self.channels(), self.logged)
        signal = signals.channels["plate_temperature"]
        assert row(signal, "plate-temperature:thermocouple") == pytest.approx(2.5 / np.sqrt(3))
        (notice,) = signals.notices
        assert notice.severity is Severity.NOTE
        assert "from memory" in notice.what

    def test_constant_junction(self) -> None:
        logged = {"plate_temperature": voltage("K", self.warm) - voltage("K", 25.0)}
        plate = replace(self.plate, reference_junction=25.0)
        signals = read({"plate_temperature": plate}, logged)
        signal = signals.channels["plate_temperature"]
        assert signal.values == pytest.approx(self.warm, abs=1e-7)
        assert row(signal, "plate-temperature:junction") == pytest.approx(
            2.0 / np.sqrt(3) * seebeck("K", 25.0) / seebeck("K", self.warm), rel=1e-6
        )
        assert "constant reference junction" in signals.notices[0].what
        # A stated uncertainty covers the constant junction too.
        stated = read({"plate_temperature": replace(plate, u=1.0)}, logged)
        assert [s.id for s in stated.channels["plate_temperature"].sources] == [
            "plate-temperature:thermocouple"
        ]

    def test_bad_junction_frames_are_bad(self) -> None:
        flags = np.zeros(N, np.uint8)
        flags[7] = Flag.MISSING
        signals = read(
            self.channels(u=1.0), self.logged, flags={"reference_junction_temperature": flags}
        )
        assert np.flatnonzero(~signals.channels["plate_temperature"].good).tolist() == [7]

    def test_voltage_outside_the_type(self) -> None:
        logged = dict(self.logged)
        logged["plate_temperature"] = logged["plate_temperature"].copy()
        logged["plate_temperature"][3:6] = 80.0
        signals = read(self.channels(u=1.0), logged)
        assert np.flatnonzero(~signals.channels["plate_temperature"].good).tolist() == [3, 4, 5]
        assert signals.notices[0].what.startswith("3 frames have a voltage outside")

    @pytest.mark.parametrize("junction", [None, "nothing", "plate_temperature"])
    def test_junction_that_is_none(self, junction: str | None) -> None:
        with pytest.raises(CampaignError, match="reference junction"):
            read(self.channels(reference_junction=junction), self.logged)

    def test_a_thermocouple_gives_a_voltage(self) -> None:
        with pytest.raises(CampaignError, match="'degC' is not a voltage"):
            read(self.channels(unit="degC"), self.logged)


class TestResistanceThermometer:
    oil = Channel("oil_temperature", column="oil", unit="ohm", resistance_thermometer="Pt100")
    warm = -20.0 + 150.0 * RAMP
    logged: Mapping[str, np.ndarray] = {"oil_temperature": resistance("Pt100", warm)}

    def test_temperature_with_its_stated_uncertainty(self) -> None:
        signals = read({"oil_temperature": replace(self.oil, u=0.2)}, self.logged)
        signal = signals.channels["oil_temperature"]
        assert signal.values == pytest.approx(self.warm, abs=1e-9)
        assert signal.good.all()
        (source,) = signal.sources
        assert (source.id, source.scope) == ("oil-temperature:resistance-thermometer", Scope.RIG)
        assert signal.sensitivity == pytest.approx(np.full((1, N), 0.2))
        assert signals.notices == ()

    def test_default_tolerance_is_said(self) -> None:
        signals = read({"oil_temperature": self.oil}, self.logged)
        assert row(
            signals.channels["oil_temperature"], "oil-temperature:resistance-thermometer"
        ) == pytest.approx((0.30 + 0.005 * np.abs(self.warm)) / np.sqrt(3))
        (notice,) = signals.notices
        assert notice.severity is Severity.NOTE
        assert "0.30 K + 0.005 |t|" in notice.what
        assert "from memory" in notice.what

    def test_the_kind_tells_the_resistance(self) -> None:
        larger = replace(self.oil, resistance_thermometer="Pt1000", u=0.2)
        logged = {"oil_temperature": 10.0 * self.logged["oil_temperature"]}
        signal = read({"oil_temperature": larger}, logged).channels["oil_temperature"]
        assert signal.values == pytest.approx(self.warm, abs=1e-9)

    def test_an_open_thermometer_is_not_used(self) -> None:
        ohms = self.logged["oil_temperature"].copy()
        ohms[3:6] = 1e6
        signals = read({"oil_temperature": replace(self.oil, u=0.2)}, {"oil_temperature": ohms})
        assert np.flatnonzero(~signals.channels["oil_temperature"].good).tolist() == [3, 4, 5]
        (notice,) = signals.notices
        assert notice.severity is Severity.WARNING
        assert notice.what.startswith("3 frames have a resistance outside")

    def test_it_gives_a_resistance(self) -> None:
        with pytest.raises(CampaignError, match="'mV' is not a resistance"):
            read({"oil_temperature": replace(self.oil, unit="mV")}, self.logged)

    def test_as_the_junction_of_a_thermocouple(self) -> None:
        warm, junction = 80.0 + 100.0 * RAMP, 25.0 + 5.0 * RAMP
        name = "reference_junction_temperature"
        plate = Channel(
            "plate_temperature",
            column="tc",
            unit="mV",
            thermocouple="K",
            reference_junction=name,
            u=0.8,
        )
        cold = replace(self.oil, name=name, column="cjc")
        logged = {
            "plate_temperature": voltage("K", warm) - voltage("K", junction),
            name: resistance("Pt100", junction),
        }
        flags = np.zeros(N, np.uint8)
        flags[7] = Flag.MISSING
        # The thermocouple stands first: the order of the file must not matter.
        signals = read({"plate_temperature": plate, name: cold}, logged, flags={name: flags})
        signal = signals.channels["plate_temperature"]
        assert signal.values[signal.good] == pytest.approx(warm[signal.good], abs=1e-7)
        assert np.flatnonzero(~signal.good).tolist() == [7]
        passed_on = seebeck("K", junction) / seebeck("K", warm)
        tolerance = (0.30 + 0.005 * junction) / np.sqrt(3)
        assert row(
            signal, "reference-junction-temperature:resistance-thermometer"
        ) == pytest.approx(tolerance * passed_on, rel=1e-6)
        assert row(signal, "plate-temperature:thermocouple") == pytest.approx(0.8)
        (notice,) = signals.notices
        assert notice.where == f"channel {name}"


class TestTime:
    speed = Channel("slip_speed", column="n", unit="rad/s", u=0.1)
    plate = Channel("plate_temperature", column="T", unit="degC", u=1.0, time_constant_s=2.0)

    def test_a_late_channel_is_moved_back(self) -> None:
        late = replace(self.speed, lag_s=0.3)
        signal = read({"slip_speed": late}, {"slip_speed": np.sin(TIME - 0.3)}).channels[
            "slip_speed"
        ]
        assert signal.values[signal.good] == pytest.approx(np.sin(TIME[signal.good]), abs=1e-9)
        assert signal.good.sum() == N - 3

    def test_a_slow_thermometer_is_quickened(self) -> None:
        shown = 20.0 + 3.0 * (TIME - 2.0)  # long after the start of a ramp of 3 K/s
        signals = read({"plate_temperature": self.plate}, {"plate_temperature": shown})
        signal = signals.channels["plate_temperature"]
        assert signal.values == pytest.approx(20.0 + 3.0 * TIME, rel=1e-9)
        assert row(signal, "plate-temperature:direct") == pytest.approx(1.0)
        assert row(signal, "plate-temperature:time-constant") == pytest.approx(0.2 * 6.0)
        (notice,) = signals.notices
        assert notice.severity is Severity.NOTE
        assert "2 s" in notice.what


class TestSpread:
    def test_it_goes_through_unit_and_lever_arm_with_the_readings(self) -> None:
        force = Channel(
            "torque", column="F", unit="kN", u=0.01, lever_arm_mm=200.0, lever_arm_u_mm=0.5
        )
        spread = {"torque": 0.01 * (1.0 + np.cos(TIME))}
        signal = read({"torque": force}, {"torque": -RAMP}, spread=spread).channels["torque"]
        assert signal.spread == pytest.approx(200.0 * spread["torque"], rel=1e-9)

    def test_it_moves_with_a_late_channel(self) -> None:
        late = Channel("torque", column="T", unit="N*m", u=0.1, lag_s=0.3)
        spread = {"torque": np.where(TIME >= 1.0, 2.0, 1.0)}
        signal = read({"torque": late}, {"torque": RAMP}, spread=spread).channels["torque"]
        assert signal.spread is not None
        assert signal.spread[signal.good] == pytest.approx(
            np.where(TIME[signal.good] >= 0.65, 2.0, 1.0)
        )

    def test_a_channel_read_without_it_has_none(self) -> None:
        assert (
            read({"slip_speed": TestTime.speed}, {"slip_speed": RAMP}).channels["slip_speed"].spread
            is None
        )

    def test_it_must_fit_the_frames(self) -> None:
        with pytest.raises(ValueError, match="unequal length"):
            Signal("torque", RAMP, RAMP > 0, (), np.empty((0, N)), spread=RAMP[1:])


class TestGoodFrames:
    speed = Channel("slip_speed", column="n", unit="rad/s", u=0.1)

    @pytest.mark.parametrize(
        ("flag", "good"),
        [
            (Flag.MISSING, False),
            (Flag.SATURATED, False),
            (Flag.GAP, False),
            (Flag.SPIKE, True),
            (Flag.STUCK, True),
            (Flag.STUCK | Flag.GAP, False),
        ],
    )
    def test_flags(self, flag: Flag, good: bool) -> None:
        flags = np.zeros(N, np.uint8)
        flags[11] = flag
        signals = read(
            {"slip_speed": self.speed}, {"slip_speed": RAMP}, flags={"slip_speed": flags}
        )
        assert signals.channels["slip_speed"].good[11] == good
        assert signals.channels["slip_speed"].good.sum() == N - (not good)

    def test_nan_is_not_good(self) -> None:
        values = RAMP.copy()
        values[4] = np.nan
        signal = read({"slip_speed": self.speed}, {"slip_speed": values}).channels["slip_speed"]
        assert np.flatnonzero(~signal.good).tolist() == [4]

    def test_what_the_log_said_is_passed_on(self) -> None:
        signals = read({"slip_speed": self.speed}, {"slip_speed": RAMP})
        assert (signals.run, signals.n_rows, signals.sample_s) == ("R1", 10 * N, 0.01)
        assert signals.sha256 == "ab" * 32
        assert (signals.n_samples == 10).all()
        with pytest.raises(ValueError, match="read-only"):
            signals.channels["slip_speed"].values[0] = 1.0
        with pytest.raises(TypeError):
            signals.channels["torque"] = signals.channels["slip_speed"]  # type: ignore[index]


def test_signal_arrays_must_fit() -> None:
    with pytest.raises(ValueError, match="unequal length"):
        Signal("torque", RAMP, np.ones(N, np.bool_), (), np.zeros((1, N)))
