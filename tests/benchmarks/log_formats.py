"""Reading the same rows from logs of every format, over reading them from text with seconds.

python -m tests.benchmarks.log_formats
"""

from __future__ import annotations

import datetime
import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import asammdf
import h5py
import nptdms
import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from rigdata.campaign.rig import LogSettings
from rigdata.logs.frames import ColumnRequest, read_frames

ROWS, COLUMNS, RATE = 500_000, 10, 1000.0
REPEATS = 5
NAMES = [f"c{i}" for i in range(COLUMNS)]


def write_text(path: Path, clock: np.ndarray, values: np.ndarray) -> None:
    rows = [",".join(f"{value:.3f}" for value in row) for row in values]
    lines = [f"{t},{row}" for t, row in zip(clock, rows, strict=True)]
    path.write_text("\n".join([",".join(["Time", *NAMES]), *lines, ""]), encoding="utf-8")


def seconds(path: Path, times: np.ndarray, values: np.ndarray) -> None:
    write_text(path, np.array([f"{t:.3f}" for t in times]), values)


def stamps(path: Path, times: np.ndarray, values: np.ndarray) -> None:
    start = datetime.datetime(2026, 3, 4, 10, 15)
    moments = [start + datetime.timedelta(seconds=float(t)) for t in times]
    write_text(path, np.array([m.isoformat(timespec="milliseconds") for m in moments]), values)


def mdf(path: Path, times: np.ndarray, values: np.ndarray) -> None:
    file = asammdf.MDF()
    columns = zip(NAMES, values.T, strict=True)
    file.append([asammdf.Signal(v.copy(), times, name=name) for name, v in columns])
    file.save(path)
    file.close()


def tdms(path: Path, _times: np.ndarray, values: np.ndarray) -> None:
    waveform = {"wf_increment": 1.0 / RATE, "wf_start_offset": 0.0}
    with nptdms.TdmsWriter(path) as writer:
        for part in np.array_split(values, 20):
            columns = zip(NAMES, part.T, strict=True)
            writer.write_segment(
                [nptdms.ChannelObject("log", name, v.copy(), waveform) for name, v in columns]
            )


def hdf5(path: Path, times: np.ndarray, values: np.ndarray) -> None:
    with h5py.File(path, "w") as file:
        file["Time"] = times
        for name, column in zip(NAMES, values.T, strict=True):
            file[name] = column


def parquet(path: Path, times: np.ndarray, values: np.ndarray) -> None:
    columns = dict(zip(NAMES, values.T, strict=True))
    pq.write_table(pa.table({"Time": times, **columns}), path)


WRITERS: dict[str, Callable[[Path, np.ndarray, np.ndarray], None]] = {
    "seconds.csv": seconds,
    "stamps.csv": stamps,
    "R.mf4": mdf,
    "R.tdms": tdms,
    "R.h5": hdf5,
    "R.parquet": parquet,
}


def main() -> None:
    times = np.arange(ROWS) / RATE
    values = np.round(np.random.default_rng(1).normal(100.0, 5.0, (ROWS, COLUMNS)), 3)
    requests = {name: ColumnRequest(name) for name in NAMES}
    with tempfile.TemporaryDirectory() as folder:
        paths = [Path(folder) / name for name in WRITERS]
        for path in paths:
            WRITERS[path.name](path, times, values)
        taken: dict[str, list[float]] = {path.name: [] for path in paths}
        for _ in range(REPEATS):
            for path in paths:
                start = time.perf_counter()
                read_frames(path, LogSettings("Time"), requests)
                taken[path.name].append(time.perf_counter() - start)
        plain = taken[paths[0].name]
        for path in paths:
            ratio = statistics.median(
                own / other for own, other in zip(taken[path.name], plain, strict=True)
            )
            size, own = path.stat().st_size / 1e6, statistics.median(taken[path.name])
            print(f"{path.name:12} {size:6.0f} MB {own:6.2f} s {ratio:6.2f}")


if __name__ == "__main__":
    main()
