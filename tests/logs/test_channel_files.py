"""Files of channels, written by the packages of their formats, give frames like text."""

import contextlib
import datetime
import random
import sys
from collections.abc import Callable
from pathlib import Path

import asammdf
import h5py
import nptdms
import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from rigdata.campaign.rig import LogSettings
from rigdata.errors import LogError
from rigdata.logs import parquet
from rigdata.logs.block import Tally
from rigdata.logs.frames import ColumnRequest, read_frames
from rigdata.logs.readers import READERS, open_log

RATE, SLOW_RATE, SPAN = 1000.0, 10.0, 6.0
SETTINGS = LogSettings("Time")


def fast_times() -> np.ndarray:
    return np.arange(int(SPAN * RATE)) / RATE


def torque_at(time: np.ndarray) -> np.ndarray:
    return np.round(100.0 + 10.0 * np.sin(time) + 0.01 * np.cos(700.0 * time), 6)


def oil_at(time: np.ndarray) -> np.ndarray:
    return 60.0 + 2.0 * time


def slow_times(start: float = 0.5) -> np.ndarray:
    return start + np.arange(int((SPAN - start) * SLOW_RATE)) / SLOW_RATE


def write_mdf(path: Path, torque=None) -> None:
    mdf = asammdf.MDF(version="4.10")
    time, slow = fast_times(), slow_times()
    values = torque_at(time) if torque is None else torque
    mdf.append(
        [
            asammdf.Signal(values, time, name="Torque", unit="Nm"),
            asammdf.Signal(np.arange(time.size, dtype="u2"), time, name="Count"),
        ]
    )
    mdf.append([asammdf.Signal(oil_at(slow), slow, name="Oil", unit="degC")])
    mdf.save(path, overwrite=True)
    mdf.close()


def write_tdms(path: Path, torque=None) -> None:
    time, slow = fast_times(), slow_times()
    values = torque_at(time) if torque is None else torque
    start = np.datetime64("2026-03-04T10:15:00.000000")
    late = start + np.timedelta64(500_000, "us")
    fast = {"wf_increment": 1.0 / RATE, "wf_start_time": start, "wf_start_offset": 0.0}
    with nptdms.TdmsWriter(path) as writer:
        writer.write_segment(
            [
                nptdms.ChannelObject("Cell", "Torque", values, fast | {"unit_string": "Nm"}),
                nptdms.ChannelObject("Cell", "Count", np.arange(time.size, dtype="u2"), fast),
                nptdms.ChannelObject(
                    "Bath",
                    "Oil",
                    oil_at(slow),
                    {
                        "wf_increment": 1.0 / SLOW_RATE,
                        "wf_start_time": late,
                        "wf_start_offset": 0.0,
                        "unit_string": "degC",
                    },
                ),
            ]
        )


def write_hdf5(path: Path, torque=None) -> None:
    time, slow = fast_times(), slow_times()
    values = torque_at(time) if torque is None else torque
    with h5py.File(path, "w") as file:
        file["Time"] = time
        file["Time"].attrs["units"] = "s"
        file["cell/Torque"] = values
        file["cell/Torque"].attrs["unit"] = "Nm"
        file["cell/Count"] = np.arange(time.size, dtype="u2").reshape(1, -1)
        file["bath/Time"] = 1e3 * slow
        file["bath/Time"].attrs["units"] = np.bytes_("ms")
        file["bath/Oil"] = oil_at(slow)
        file["bath/Oil"].attrs["unit"] = "degC"


def write_parquet(path: Path, torque=None) -> None:
    time, slow = fast_times(), slow_times()
    values = torque_at(time) if torque is None else torque
    oil = np.full(time.size, np.nan)
    oil[np.round(slow * RATE).astype(int)] = oil_at(slow)
    schema = pa.schema(
        [
            pa.field("Time", pa.float64(), metadata={"unit": "s"}),
            pa.field("Torque", pa.float64(), metadata={"unit": "Nm"}),
            pa.field("Count", pa.uint16()),
            pa.field("Oil", pa.float64(), metadata={b"units": b"degC"}),
        ]
    )
    arrays = [time, values, np.arange(time.size, dtype="u2"), oil]
    columns = [pa.array(a, from_pandas=True) for a in arrays]
    pq.write_table(pa.table(columns, schema=schema), path, row_group_size=1700)


WRITERS: dict[str, Callable[..., None]] = {
    ".mf4": write_mdf,
    ".tdms": write_tdms,
    ".h5": write_hdf5,
    ".parquet": write_parquet,
}
PACKAGES = {
    ".mf4": ("asammdf", "mdf"),
    ".mdf": ("asammdf", "mdf"),
    ".tdms": ("nptdms", "tdms"),
    ".h5": ("h5py", "hdf5"),
    ".hdf5": ("h5py", "hdf5"),
    ".parquet": ("pyarrow.parquet", "parquet"),
}
each_format = pytest.mark.parametrize("ending", WRITERS)


@pytest.fixture(scope="module")
def files(tmp_path_factory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("channels")
    for ending, write in WRITERS.items():
        write(folder / f"R001{ending}")
    return {ending: folder / f"R001{ending}" for ending in WRITERS}


def read(path, *names, settings=SETTINGS, **options):
    columns = {name: ColumnRequest(name, may_stick=True) for name in names}
    return read_frames(path, settings, columns, **options)


@each_format
def test_one_rate_gives_the_frames_of_the_text_log(files, ending, tmp_path):
    found = read(files[ending], "Torque", "Count")
    time = fast_times()
    rows = zip(time, torque_at(time), range(time.size), strict=True)
    text = "".join(f"{t:.3f},{torque:.6f},{count}\n" for t, torque, count in rows)
    (tmp_path / "R001.csv").write_text("Time [s],Torque [Nm],Count\n" + text)
    same = read(tmp_path / "R001.csv", "Torque", "Count")
    np.testing.assert_allclose(found.time_s, same.time_s, rtol=1e-12)
    for name in ("Torque", "Count"):
        np.testing.assert_allclose(found.values[name], same.values[name], rtol=1e-12)
        np.testing.assert_array_equal(found.flags[name], same.flags[name])
    assert (found.n_rows, found.frame_s) == (time.size, same.frame_s)
    assert found.units == {"Torque": "Nm", "Count": None}
    assert found.dialect is None
    assert len(found.sha256) == 64


@each_format
def test_two_rates_come_onto_one_grid(files, ending):
    found = read(files[ending], "Torque", "Oil")
    assert found.periods["Oil"] == pytest.approx(0.1)
    assert found.units["Oil"] == "degC"
    inside = (found.time_s > 0.5) & (found.time_s < slow_times()[-1])
    np.testing.assert_allclose(
        found.values["Oil"][inside], oil_at(found.time_s[inside]), atol=0.011
    )
    # Nothing is held backwards to before the first sample.
    assert np.isnan(found.values["Oil"][found.time_s < 0.49]).all()
    np.testing.assert_allclose(found.values["Torque"], torque_at(found.time_s), atol=0.03)


@each_format
@pytest.mark.parametrize("block_bytes", [1, 30_000])
def test_the_size_of_the_blocks_changes_nothing(files, ending, block_bytes):
    whole = read(files[ending], "Torque", "Oil")
    parts = read(files[ending], "Torque", "Oil", block_bytes=block_bytes)
    np.testing.assert_array_equal(parts.time_s, whole.time_s)
    for name in ("Torque", "Oil"):
        np.testing.assert_array_equal(parts.values[name], whole.values[name])
        np.testing.assert_array_equal(parts.flags[name], whole.flags[name])


@each_format
def test_a_log_comes_in_blocks(files, ending):
    log = open_log(files[ending], SETTINGS, {"a": "Torque"}, 16_000)
    sizes = [block.time_s.size for block in log.blocks(Tally())]
    assert sum(sizes) == fast_times().size
    assert len(sizes) >= 4
    last, count = log.extent()
    assert last == pytest.approx(fast_times()[-1])
    assert count == fast_times().size


@each_format
def test_a_part_of_the_log(files, ending):
    found = read(files[ending], "Torque", start_s=2.0, end_s=3.0)
    assert found.time_s[0] == pytest.approx(2.002)
    assert found.time_s[-1] <= 3.0


@each_format
def test_a_channel_that_is_not_there_is_named_with_the_nearest(files, ending):
    with pytest.raises(LogError, match=r"there is no column 'Torqe'.*perhaps 'Torque'"):
        read(files[ending], "Torqe")


@each_format
def test_what_a_log_offers(files, ending):
    log = open_log(files[ending], SETTINGS, {}, 2**20)
    offered = {listed.name.split("/")[-1]: listed for listed in log.listing}
    assert {"Torque", "Count", "Oil"} <= offered.keys()
    assert offered["Torque"].unit == "Nm"
    assert all(offered[name].is_number for name in ("Torque", "Count", "Oil"))


@each_format
def test_missing_values_and_those_beyond_the_range(ending, tmp_path):
    torque = torque_at(fast_times())
    torque[1000], torque[2000], torque[3000] = np.nan, -9999.0, 9.9e37
    WRITERS[ending](tmp_path / f"R{ending}", torque)
    counts = read(tmp_path / f"R{ending}", "Torque").counts["Torque"]
    assert {flag.name: count for flag, count in counts.items()} == {"MISSING": 2, "SATURATED": 1}


@each_format
@pytest.mark.parametrize("share", [0.02, 0.6, 0.999])
def test_a_file_cut_short_is_one_clear_message_or_told(files, ending, share, tmp_path):
    data = files[ending].read_bytes()
    path = tmp_path / f"R001{ending}"
    path.write_bytes(data[: int(share * len(data))])
    said = []
    try:
        said += read(path, "Torque").notices
    except LogError as error:
        said.append(error)
    assert any(str(path) in str(words) for words in said)
    assert any("cannot be read" in str(w) or "ends inside" in str(w) for w in said)


@each_format
@pytest.mark.parametrize("seed", range(25))
def test_a_damaged_file_gives_frames_or_one_clear_error(files, ending, seed, tmp_path):
    rng = random.Random(seed)
    data = bytearray(files[ending].read_bytes())
    for _ in range(rng.choice([1, 3, 30])):
        # Near the ends, where the structure lies, as often as in the samples.
        span = rng.choice([600, len(data)])
        at = rng.randrange(span) if rng.random() < 0.5 else len(data) - 1 - rng.randrange(span)
        if rng.random() < 0.7:
            data[at] = rng.randrange(256)
        else:
            del data[at : at + rng.randint(1, 40)]
    path = tmp_path / f"R001{ending}"
    path.write_bytes(data)
    with contextlib.suppress(LogError):  # any other error fails the test
        found = read(path, "Torque")
        assert np.all(np.diff(found.time_s) > 0.0)


@each_format
@pytest.mark.parametrize("content", [b"", b"Time,Torque\n0,1\n1,2\n", bytes(range(256)) * 20])
def test_another_file_under_that_name_is_one_clear_message(ending, content, tmp_path):
    path = tmp_path / f"R001{ending}"
    path.write_bytes(content)
    with pytest.raises(LogError, match=rf"R001{ending}.*cannot be read as an? "):
        read(path, "Torque")


@each_format
def test_a_file_under_the_name_of_a_text_log(files, ending, tmp_path):
    path = tmp_path / "R001.csv"
    path.write_bytes(files[ending].read_bytes())
    with pytest.raises(LogError, match=r"not a text log.*Give its name the ending"):
        read(path, "Torque")


@pytest.mark.parametrize("ending", PACKAGES)
def test_a_missing_package_is_named_with_its_extra(ending, tmp_path, monkeypatch):
    package, extra = PACKAGES[ending]
    monkeypatch.setitem(sys.modules, package, None)
    path = tmp_path / f"R001{ending}"
    path.write_bytes(b"")
    with pytest.raises(LogError, match=rf"not installed.*rigdata\[{extra}\]"):
        read(path, "Torque")
    assert ending in READERS


@each_format
def test_opening_leaves_the_file_as_it_is(files, ending):
    before = files[ending].read_bytes()
    read(files[ending], "Torque", "Oil")
    assert files[ending].read_bytes() == before


# --- MDF


def test_mdf_one_name_in_two_groups(tmp_path):
    mdf, time = asammdf.MDF(), np.arange(20) / 10.0
    for unit, factor in (("N.m", 1.0), ("lbf.ft", 2.0)):
        mdf.append([asammdf.Signal(factor * time, time, name="Torque", unit=unit)])
    mdf.save(tmp_path / "R.mf4")
    mdf.close()
    with pytest.raises(LogError, match=r"2 times.*'0/Torque' \[N\.m\], '1/Torque' \[lbf\.ft\]"):
        read(tmp_path / "R.mf4", "Torque")
    found = read(tmp_path / "R.mf4", "1/Torque")
    np.testing.assert_allclose(found.values["1/Torque"], 2.0 * time)
    assert found.units == {"1/Torque": "lbf.ft"}


def test_mdf_samples_marked_invalid_are_missing(tmp_path):
    mdf, time = asammdf.MDF(), np.arange(40) / 10.0
    invalid = np.zeros(40, bool)
    invalid[7] = True
    signal = asammdf.Signal(np.arange(40.0), time, name="Torque", invalidation_bits=invalid)
    mdf.append([signal])
    mdf.save(tmp_path / "R.mf4")
    mdf.close()
    found = read(tmp_path / "R.mf4", "Torque")
    assert np.isnan(found.values["Torque"][7])
    assert np.count_nonzero(np.isnan(found.values["Torque"])) == 1


def test_mdf_text_is_no_number(tmp_path):
    mdf, time = asammdf.MDF(), np.arange(5) / 10.0
    mdf.append([asammdf.Signal(np.array([b"on"] * 5), time, name="State", encoding="utf-8")])
    mdf.save(tmp_path / "R.mf4")
    mdf.close()
    with pytest.raises(LogError, match="'0/State': holds no numbers"):
        read(tmp_path / "R.mf4", "State")


def test_mdf_a_time_that_is_a_channel(tmp_path):
    mdf, time = asammdf.MDF(), np.arange(20) / 10.0
    signals = [
        asammdf.Signal(1e3 * time + 5.0, time, name="Stamp", unit="ms"),
        asammdf.Signal(time, time, name="Torque"),
    ]
    mdf.append(signals)
    mdf.save(tmp_path / "R.mf4")
    mdf.close()
    (tmp_path / "R.mf4").rename(tmp_path / "R.mdf")
    found = read(tmp_path / "R.mdf", "Torque", settings=LogSettings("Stamp"))
    np.testing.assert_allclose(found.time_s, time + 0.005)
    assert found.notices == ()
    own = read(tmp_path / "R.mdf", "Torque")
    np.testing.assert_allclose(own.time_s, time)
    assert "no channel 'Time': the file's own times" in str(own.notices[0])


def test_mdf_an_unfinished_file_is_told(files, tmp_path):
    data = bytearray(files[".mf4"].read_bytes())
    data[:8] = b"UnFinMF "
    data[60] = 1  # the numbers of samples need an update
    (tmp_path / "R.mf4").write_bytes(data)
    found = read(tmp_path / "R.mf4", "Torque")
    assert found.n_rows == fast_times().size
    assert "the logger was interrupted" in str(found.notices[0])


def test_mdf_a_channel_outside_of_its_records(files, tmp_path):
    mdf = asammdf.MDF(files[".mf4"])
    torque = mdf.groups[0].channels[1]
    at, stated = torque.address, torque.byte_offset
    mdf.close()
    data = bytearray(files[".mf4"].read_bytes())
    place = data.index(stated.to_bytes(4, "little"), at + 88)
    data[place : place + 4] = (10**6).to_bytes(4, "little")
    (tmp_path / "R.mf4").write_bytes(data)
    with pytest.raises(LogError, match=r"cannot be read as an MDF file \(a channel lies outside"):
        read(tmp_path / "R.mf4", "Torque")


# --- TDMS


def test_tdms_an_unfinished_last_segment_is_told(tmp_path, files):
    data = files[".tdms"].read_bytes()
    path = tmp_path / "R.tdms"
    path.write_bytes(data + data[: int(0.7 * len(data))])
    found = read(path, "Torque")
    assert "the file ends inside its last segment" in str(found.notices[0])
    assert fast_times().size <= found.n_rows < 2 * fast_times().size


def test_tdms_a_time_channel_in_the_group(tmp_path):
    time = np.arange(30) / 10.0
    stamps = np.datetime64("2026-03-04T10:15:07.250000") + (1e6 * time).astype("m8[us]")
    with nptdms.TdmsWriter(tmp_path / "R.tdms") as writer:
        writer.write_segment(
            [
                nptdms.ChannelObject("Log", "Time", stamps),
                nptdms.ChannelObject("Log", "Torque", time),
                nptdms.ChannelObject("Other", "Load", time),
            ]
        )
    found = read(tmp_path / "R.tdms", "Torque")
    np.testing.assert_allclose(found.time_s, 0.25 + time)
    with pytest.raises(LogError, match="'Other/Load' has no time: no 'Time' belongs to it"):
        read(tmp_path / "R.tdms", "Load")


# --- HDF5


def test_hdf5_names_with_their_path_and_fields_of_a_table(tmp_path):
    table = np.zeros(50, [("clock", "f8"), ("torque", "f4"), ("state", "S4")])
    table["clock"], table["torque"] = np.arange(50) / 10.0, np.arange(50)
    with h5py.File(tmp_path / "R.h5", "w") as file:
        file["run/table"] = table
        file["run/matrix"] = np.zeros((50, 3))
        file["other/torque"] = np.zeros(7)
    settings = LogSettings("clock")
    found = read(tmp_path / "R.h5", "/run/table/torque", settings=settings)
    np.testing.assert_array_equal(found.values["/run/table/torque"], np.arange(50))
    log = open_log(tmp_path / "R.h5", settings, {}, 2**20)
    assert [listed.name for listed in log.listing if not listed.is_number] == ["state"]
    assert not any("matrix" in listed.name for listed in log.listing)


def test_hdf5_a_time_of_another_length(tmp_path):
    with h5py.File(tmp_path / "R.h5", "w") as file:
        file["Time"], file["Torque"] = np.arange(9.0), np.arange(10.0)
    with pytest.raises(LogError, match="has 10 samples and its time 'Time' 9"):
        read(tmp_path / "R.h5", "Torque")


def test_hdf5_links_to_other_files_are_not_followed(tmp_path):
    with h5py.File(tmp_path / "secret.h5", "w") as file:
        file["Torque"] = np.arange(10.0)
    (tmp_path / "raw.bin").write_bytes(np.arange(10.0).tobytes())
    with h5py.File(tmp_path / "R.h5", "w") as file:
        file["Time"] = np.arange(10.0)
        file["Torque"] = h5py.ExternalLink("secret.h5", "Torque")
        outside = [(str(tmp_path / "raw.bin"), 0, 80)]
        file.create_dataset("Load", (10,), "f8", external=outside)
    for name in ("Torque", "Load"):
        with pytest.raises(LogError, match=f"no column '{name}'"):
            read(tmp_path / "R.h5", name)


def test_hdf5_a_dataset_made_to_fill_a_disk(tmp_path):
    with h5py.File(tmp_path / "R.h5", "w") as file:
        for name in ("Time", "Torque"):
            file.create_dataset(name, (10**12,), "f8", chunks=(10**6,))
    with pytest.raises(LogError, match="expands to more than 200 times its size"):
        read(tmp_path / "R.h5", "Torque")


def test_hdf5_an_attribute_that_is_no_unit(tmp_path):
    with h5py.File(tmp_path / "R.h5", "w") as file:
        file["Time"], file["Torque"] = np.arange(9.0), np.arange(9.0)
        file["Torque"].attrs["unit"] = "x" * 5000
        file["Torque"].attrs["units"] = 7
    assert read(tmp_path / "R.h5", "Torque").units == {"Torque": None}


# --- Parquet


def test_parquet_stamps_nulls_and_decimals(tmp_path):
    start = datetime.datetime(2026, 3, 4, 10, 15, 0, 500_000)
    times = [start + datetime.timedelta(seconds=i / 10) for i in range(30)]
    torque = pa.array([None if i == 4 else i for i in range(30)], pa.int32())
    load = pa.array(range(30), pa.int64()).cast(pa.decimal128(24, 3))
    table = pa.table({"Time": pa.array(times), "Torque [Nm]": torque, "Load": load})
    pq.write_table(table, tmp_path / "R.parquet")
    found = read(tmp_path / "R.parquet", "Torque", "Load")
    np.testing.assert_allclose(found.time_s, 0.5 + np.arange(30) / 10.0)
    assert np.isnan(found.values["Torque"][4])
    assert found.units["Torque"] == "Nm"
    np.testing.assert_allclose(found.values["Load"], np.arange(30.0))


def test_parquet_a_time_of_text_is_refused(tmp_path):
    table = pa.table({"Time": ["a", "b", "c"], "Torque": [1.0, 2.0, 3.0]})
    pq.write_table(table, tmp_path / "R.parquet")
    with pytest.raises(LogError, match="'Time': holds no numbers and no dates"):
        read(tmp_path / "R.parquet", "Torque")
    with pytest.raises(LogError, match="has no time: no 'Clock' belongs to it"):
        read(tmp_path / "R.parquet", "Torque", settings=LogSettings("Clock"))


def test_parquet_batches_are_no_larger_than_asked_for(files, monkeypatch):
    sizes = []
    plain = parquet._ParquetFile.pieces

    def watched(self, numbers, step):
        for piece in plain(self, numbers, step):
            sizes.append(len(piece[0]))
            yield piece

    monkeypatch.setattr(parquet._ParquetFile, "pieces", watched)
    read(files[".parquet"], "Torque", block_bytes=16_000)
    assert max(sizes) <= 1000


# --- merging


def test_times_that_differ_by_rounding_are_one_row(tmp_path):
    time = np.arange(3000) / 1000.0
    with h5py.File(tmp_path / "R.h5", "w") as file:
        file["a/Time"], file["a/Torque"] = time, torque_at(time)
        file["b/Time"], file["b/Load"] = np.cumsum(np.full(3000, 1e-3)) - 1e-3, time
    found = read(tmp_path / "R.h5", "Torque", "Load")
    assert found.n_rows == 3000
    assert found.periods["Load"] == pytest.approx(1e-3)


def test_channels_of_one_sample_each(tmp_path):
    with h5py.File(tmp_path / "R.h5", "w") as file:
        for group, time in (("a", 1.0), ("b", 2.0)):
            file[f"{group}/Time"], file[f"{group}/{group}"] = [time], [3.0 * time]
    log = open_log(tmp_path / "R.h5", SETTINGS, {"a": "a", "b": "b"}, 2**20)
    (block,) = log.blocks(Tally())
    np.testing.assert_array_equal(block.time_s, [1.0, 2.0])
    np.testing.assert_array_equal(block.values["a"], [3.0, np.nan])
    np.testing.assert_array_equal(block.values["b"], [np.nan, 6.0])


def test_a_base_whose_time_goes_back_loses_those_rows_and_says_so(tmp_path):
    time = np.arange(300) / 100.0
    bent = time.copy()
    bent[100:110] -= 0.5
    with h5py.File(tmp_path / "R.h5", "w") as file:
        file["a/Time"], file["a/Torque"] = time, time
        file["b/Time"], file["b/Load"] = bent, time
    found = read(tmp_path / "R.h5", "Torque", "Load")
    assert "10 rows left out because their time does not rise" in str(found.notices[-1])
