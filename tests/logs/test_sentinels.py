"""Numbers that stand for no reading are missing, told, and never over range."""

import tomllib

import numpy as np
import pytest

from rigdata.campaign.files import Place
from rigdata.campaign.reading import read_values
from rigdata.campaign.rig import LogSettings
from rigdata.errors import CampaignError
from rigdata.logs.flags import Flag


def log(cells):
    return "Time [s];Torque\n" + "".join(f"{i / 10};{cell}\n" for i, cell in enumerate(cells))


@pytest.mark.parametrize("cell", ["-9999", "-9999.0", "-99999", "-9.99999E5"])
def test_the_usual_numbers_are_missing(read, cell):
    frames = read(log([1, 2, 3, cell, 5, 6]))
    assert np.isnan(frames.values["torque"][3])
    assert dict(frames.counts["torque"]) == {Flag.MISSING: 1}
    assert (
        f"1 cells taken as missing because their number stands for no reading ({float(cell):g})"
        in str(frames.notices[0])
    )


@pytest.mark.parametrize(("cell", "flag"), [("9.9E37", Flag.SATURATED), ("9.91E37", Flag.MISSING)])
def test_over_range_is_told_apart(read, cell, flag):
    frames = read(log([1, 2, 3, cell, 5, 6]))
    assert dict(frames.counts["torque"]) == {flag: 1}
    assert frames.notices == ()


def test_stated_numbers_take_the_place_of_the_usual_ones(read):
    cells = [1, 2, 3, -9999, 5, 777, 7, 8]
    frames = read(log(cells), None, LogSettings("Time", missing_values=(777.0,)))
    assert np.isnan(frames.values["torque"][5])
    assert not frames.flags["torque"][3] & Flag.MISSING
    every = read(log(cells), None, LogSettings("Time", missing_values=()))
    assert Flag.MISSING not in every.counts["torque"]


def test_a_reading_near_such_a_number_is_one(read):
    frames = read(log([-9998.5, -9999.5, -9998.0, -10000.0, -9999.25]))
    assert Flag.MISSING not in frames.counts["torque"]


def test_a_slower_channel_filled_up_with_a_number(read):
    cells = [f"{i / 20:.3f}" if i % 10 == 0 else "-9999" for i in range(400)]
    frames = read(log(cells))
    assert frames.periods["torque"] == pytest.approx(1.0)
    inner = slice(0, 391)
    np.testing.assert_allclose(
        frames.values["torque"][inner], frames.time_s[inner] / 2.0, atol=1e-9
    )


@pytest.mark.parametrize("text", ["-9999", '"-9999"', "[true]", '["a"]', "[nan]"])
def test_the_key_holds_a_list_of_numbers(tmp_path, text):
    table = tomllib.loads(f'time_column = "t"\nmissing_values = {text}\n')
    with pytest.raises(CampaignError, match="missing_values"):
        read_values(LogSettings, table, Place(tmp_path / "rig.toml", "log"))
    table["missing_values"] = [-1, 2.5]
    values = read_values(LogSettings, table, Place(tmp_path / "rig.toml", "log"))
    assert values["missing_values"] == (-1.0, 2.5)
