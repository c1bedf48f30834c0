"""Channels: each way of saying where values come from."""

import numpy as np
import pytest

from rigdata.campaign.rig import read_rig
from rigdata.errors import CampaignError

R, K, P = "rig/rig.toml", "rig/records/TC-1.toml", "rig/records/TC-1.csv"


def rig_of(bench):
    return read_rig(bench.path(R))


def test_every_way_of_giving_a_channel_arrives(bench):
    rig = rig_of(bench)
    assert (rig.name, rig.inertia_kg_m2, rig.inertia_u_kg_m2) == ("bench 2", 0.012, 0.001)
    assert rig.log.time_column == "Time [s]"
    assert rig.log.delimiter is None
    torque = rig.channels["torque"]
    assert (torque.name, torque.column, torque.unit) == ("torque", "Torque", "mV/V")
    assert torque.calibration.id == "TC-1"
    assert torque.range == (-3.0, 3.0)
    assert torque.u is None
    load = rig.channels["clamp_load"]
    assert (load.unit, load.u, load.lag_s, load.time_constant_s) == ("kN", 0.02, 0.0, 0.0)
    assert rig.channels["slip_speed"].lag_s == 0.01
    plate = rig.channels["plate_temperature"]
    assert (plate.thermocouple, plate.u) == ("K", None)
    assert plate.reference_junction == "reference_junction_temperature"
    assert rig.histories == {"torque": (torque.calibration,)}


def test_the_log_dialect_arrives(bench):
    keys = 'delimiter = "\\t"\ndecimal = ","\nencoding = "cp1252"\nskip_lines = 3\nunits_line = 5\n'
    bench.spoil(R, "[log]\n", f"[log]\n{keys}")
    log = rig_of(bench).log
    assert (log.delimiter, log.decimal, log.encoding) == ("\t", ",", "cp1252")
    assert (log.skip_lines, log.units_line) == (3, 5)


def test_a_constant_plate_temperature_is_enough(bench):
    bench.spoil(
        R,
        'column = "Plate TC"\nunit = "mV"\nthermocouple = "K"\n'
        'reference_junction = "reference_junction_temperature"',
        'unit = "degF"\nconstant = -40\nu = 9',
    )
    plate = rig_of(bench).channels["plate_temperature"]
    assert (plate.constant, plate.u, plate.column) == (-40.0, 9.0, None)


@pytest.mark.parametrize("junction", ["20", "-5.5", '"Junction"'])
def test_a_reference_junction_is_a_number_or_a_channel_by_its_column(bench, junction):
    bench.spoil(R, '= "reference_junction_temperature"', f"= {junction}")
    found = rig_of(bench).channels["plate_temperature"].reference_junction
    assert found == (junction.strip('"') if '"' in junction else float(junction))


def test_a_thermocouple_may_state_its_own_uncertainty(bench):
    bench.spoil(R, 'thermocouple = "K"', 'thermocouple = "J"\nu = 1.1\ntime_constant_s = 0.8')
    plate = rig_of(bench).channels["plate_temperature"]
    assert (plate.thermocouple, plate.u, plate.time_constant_s) == ("J", 1.1, 0.8)


@pytest.mark.parametrize(("kind", "u"), [("Pt100", ""), ("Pt1000", "u = 0.2\n")])
def test_a_reference_junction_may_be_a_resistance_thermometer(bench, kind, u):
    bench.spoil(
        R,
        'unit = "degC"\nu = 0.3\n',
        f'unit = "ohm"\nresistance_thermometer = "{kind}"\n{u}',
    )
    junction = rig_of(bench).channels["reference_junction_temperature"]
    assert (junction.resistance_thermometer, junction.unit) == (kind, "ohm")
    assert junction.u == (0.2 if u else None)


def test_torque_as_a_force_on_an_arm(bench):
    arm = "\nlever_arm_mm = 250\nlever_arm_u_mm = 0.1"
    bench.spoil(R, 'unit = "mV/V"', 'unit = "mV/V"' + arm)
    bench.spoil(
        K, 'quantity = "torque"\napplied_unit = "N*m"', 'quantity = "force"\napplied_unit = "N"'
    )
    torque = rig_of(bench).channels["torque"]
    assert (torque.lever_arm_mm, torque.lever_arm_u_mm) == (250.0, 0.1)
    direct = 'unit = "N"\nu = 2'
    bench.spoil(R, 'unit = "mV/V"', direct)
    bench.spoil(R, 'calibration = "records/TC-1.toml"\n', "")
    assert rig_of(bench).channels["torque"].unit == "N"
    bench.spoil(R, direct, 'unit = "N*m"\nu = 2')
    with pytest.raises(CampaignError, match=r"channels\.torque\.unit: unit 'N\*m' is not a force"):
        rig_of(bench)


def test_cylinder_pressure_on_a_piston_stands_in_for_the_load(bench):
    bench.spoil(
        R,
        '[channels.clamp_load]\ncolumn = "Load"\nunit = "kN"\n',
        '[channels.cylinder_pressure]\ncolumn = "Oil pressure"\nunit = "bar"\n'
        "piston_area_mm2 = 5000\npiston_area_u_mm2 = 20\n",
    )
    rig = rig_of(bench)
    assert "clamp_load" not in rig.channels
    assert rig.channels["cylinder_pressure"].piston_area_u_mm2 == 20.0


def test_a_record_may_name_the_channel_or_what_its_sensor_senses(bench):
    second = bench.path("rig/records/LC-1.toml")
    text = bench.path(K).read_text().replace("TC-1.csv", "LC-1.csv").replace("TC-1", "LC-1")
    for quantity in ("force", "clamp_load"):
        second.write_text(
            text.replace('quantity = "torque"', f'quantity = "{quantity}"').replace(
                'N*m"\nin', 'kN"\nin'
            )
        )
        bench.path("rig/records/LC-1.csv").write_bytes(bench.path(P).read_bytes())
        if quantity == "force":
            bench.spoil(
                R, 'unit = "kN"\nu = 0.02', 'unit = "mV/V"\ncalibration = "records/LC-1.toml"'
            )
        rig = rig_of(bench)
        assert rig.channels["clamp_load"].calibration.quantity == quantity
        assert rig.channels["clamp_load"].calibration.dimension == "force"
    assert list(rig.histories) == ["torque", "clamp_load"]


def test_two_records_may_not_share_an_id(bench):
    text = bench.path(K).read_text().replace('"torque"', '"force"').replace('"N*m"', '"N"')
    bench.path("rig/records/copy.toml").write_text(text)
    bench.spoil(R, 'unit = "kN"\nu = 0.02', 'unit = "mV/V"\ncalibration = "records/copy.toml"')
    with pytest.raises(CampaignError, match=r"channels\.clamp_load\.calibration: .*TC-1.*torque"):
        rig_of(bench)


def test_a_record_in_volts_serves_a_log_in_millivolts(bench):
    bench.spoil(K, '"mV/V"', '"V"')
    bench.spoil(R, '"mV/V"', '"mV"')
    assert rig_of(bench).channels["torque"].unit == "mV"


def test_the_points_of_a_record_arrive_and_are_frozen(bench):
    record = rig_of(bench).channels["torque"].calibration
    np.testing.assert_array_equal(record.applied, [0, 250, 500, 250, 0])
    np.testing.assert_array_equal(record.indicated, [0.0001, 1.0003, 2.0002, 1.0009, 0.0004])
    assert record.direction.tolist() == ["up", "up", "up", "down", "down"]
    assert record.series.tolist() == ["1"] * 5
    for column in (record.applied, record.indicated, record.direction, record.series):
        with pytest.raises(ValueError, match="read-only"):
            column[0] = column[1]
    assert (record.degree, record.coverage_factor) == (1, 2.0)
    assert record.points == bench.path(P).resolve()


def test_columns_in_any_order_and_blank_lines(bench):
    rows = [line.split(",") for line in bench.path(P).read_text().splitlines()]
    turned = "\n\n".join(f" {i} ,{a},{d},{s}" for s, d, a, i in rows)
    bench.path(P).write_text(turned + "\n,,,\n")
    record = rig_of(bench).channels["torque"].calibration
    np.testing.assert_array_equal(record.applied, [0, 250, 500, 250, 0])
    assert record.indicated[-1] == 0.0004


def test_the_line_of_a_fault_counts_blank_lines(bench):
    text = bench.path(P).read_text().replace("1,up,500,2.0002", "\n\n1,up,500,x")
    bench.path(P).write_text(text)
    with pytest.raises(CampaignError, match=r"TC-1\.csv, line 6: indicated is 'x'"):
        rig_of(bench)


def test_an_empty_points_file_is_told(bench):
    bench.path(P).write_text("")
    with pytest.raises(CampaignError, match=r"TC-1\.csv, line 1: column series is missing"):
        rig_of(bench)
    bench.path(P).write_text("series,direction,applied,indicated\n")
    with pytest.raises(CampaignError, match=r"TC-1\.toml, points: .*0 distinct"):
        rig_of(bench)
