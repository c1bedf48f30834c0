"""A campaign gives the same friction points whatever the format of its logs."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import asammdf
import h5py
import nptdms
import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from rigdata.campaign.campaign import read_campaign
from rigdata.campaign.rig import LogSettings
from rigdata.logs.block import Tally
from rigdata.logs.readers import open_log
from rigdata.reduction.reduce import reduce_campaign
from rigdata.simulation.campaign import simulate_campaign
from rigdata.simulation.demo import study_spec

Columns = dict[str, np.ndarray]
Units = dict[str, str]


def write_mdf(path: Path, time: str, columns: Columns, units: Units) -> None:
    file = asammdf.MDF()
    clock = columns.pop(time)
    for name, values in columns.items():
        own = ~np.isnan(values)
        file.append([asammdf.Signal(values[own], clock[own], name=name, unit=units[name])])
    file.save(path)
    file.close()


def write_tdms(path: Path, time: str, columns: Columns, units: Units) -> None:
    with nptdms.TdmsWriter(path) as writer:
        for name, values in columns.items():
            if name != time:
                own = ~np.isnan(values)
                clock = nptdms.ChannelObject(name, time, columns[time][own], {"unit_string": "s"})
                unit = {"unit_string": units[name]}
                writer.write_segment([clock, nptdms.ChannelObject(name, name, values[own], unit)])


def write_hdf5(path: Path, time: str, columns: Columns, units: Units) -> None:
    with h5py.File(path, "w") as file:
        for name, values in columns.items():
            file[name] = values
            file[name].attrs["unit"] = units[name]


def write_parquet(path: Path, time: str, columns: Columns, units: Units) -> None:
    fields = [pa.field(name, pa.float64(), metadata={"unit": units[name]}) for name in columns]
    arrays = [pa.array(values, from_pandas=True) for values in columns.values()]
    pq.write_table(pa.table(arrays, schema=pa.schema(fields)), path)


WRITERS: dict[str, Callable[[Path, str, Columns, Units], None]] = {
    ".mf4": write_mdf,
    ".tdms": write_tdms,
    ".h5": write_hdf5,
    ".parquet": write_parquet,
}


@pytest.fixture(scope="module")
def campaign(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("formats") / "study"
    simulate_campaign(study_spec(packs=1, tests=("zero", "drag", "sweep-light", "load")), 7, folder)
    return folder


def converted(log: Path, settings: LogSettings, write: Callable[..., None], ending: str) -> None:
    offered = open_log(log, settings, {}, 2**20)
    time = settings.time_column
    units = {c.name: c.unit or "" for c in offered.listing if c.is_number}
    opened = open_log(log, settings, {name: name for name in units}, 2**20)
    blocks = list(opened.blocks(Tally()))
    columns = {name: np.concatenate([b.values[name] for b in blocks]) for name in units}
    write(log.with_suffix(ending), time, columns, units)


@pytest.mark.parametrize("ending", WRITERS)
def test_points_are_the_same(campaign: Path, ending: str) -> None:
    told = read_campaign(campaign / "campaign.toml")
    as_text = reduce_campaign(told).points
    for log in (campaign / "logs").glob("*.csv"):
        converted(log, told.rig.log, WRITERS[ending], ending)
    text = (campaign / "campaign.toml").read_text(encoding="utf-8").replace(".csv", ending)
    other = campaign / f"campaign{ending}.toml"
    other.write_text(text, encoding="utf-8")
    found = reduce_campaign(read_campaign(other)).points
    assert len(found) == len(as_text) > 10
    np.testing.assert_allclose(found.mu, as_text.mu, rtol=1e-9)
    np.testing.assert_allclose(found.u_mu, as_text.u_mu, rtol=1e-9)
