"""What the arithmetic between text and points costs, over one copy of the samples in memory.

The samples are those of five channels at 10 kHz.  A copy is `numpy.copyto` between
arrays that exist, of all of them.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from rigdata.calibration.channels import to_signals
from rigdata.campaign.campaign import Campaign, read_campaign
from rigdata.logs.frames import ColumnRequest, Frames, read_frames
from rigdata.logs.judge import judged
from rigdata.logs.spikes import spikes
from rigdata.logs.stream import Cuts, Stream
from rigdata.reduction.corrections import correct
from rigdata.reduction.windows import steady_windows
from tests.benchmarks.big_log import RATE_HZ, long_campaign
from tests.benchmarks.ratios import Ratio, Size, median_ratio

ROWS, BLOCK, FRAME_S = 2_000_000, 25_000, 0.005
COLUMNS = {"torque": "torque", "clamp_load": "load", "slip_speed": "speed",
           "plate_temperature": "plate", "oil_temperature": "oil"}  # fmt: skip


@dataclass(frozen=True)
class Samples:
    """Samples of all channels, in the blocks in which a log hands them over."""

    time_s: np.ndarray
    frames: np.ndarray
    values: Mapping[str, np.ndarray]

    @property
    def blocks(self) -> list[slice]:
        return [slice(at, at + BLOCK) for at in range(0, self.time_s.size, BLOCK)]


def drawn() -> Samples:
    """Return noise about the levels of a steady run."""
    rng = np.random.default_rng(1)
    time_s = np.arange(ROWS) / RATE_HZ
    levels = {"torque": (362.0, 2.0), "clamp_load": (5.4, 0.01), "slip_speed": (100.0, 0.1),
              "plate_temperature": (90.0, 0.3), "oil_temperature": (80.0, 0.1)}  # fmt: skip
    values = {key: np.round(rng.normal(*level, ROWS), 4) for key, level in levels.items()}
    return Samples(time_s, np.floor(time_s / FRAME_S + 1e-3).astype(np.int64), values)


def copied(samples: Samples, into: Mapping[str, np.ndarray]) -> None:
    for key, values in samples.values.items():
        np.copyto(into[key], values)


def averaged(samples: Samples) -> None:
    """Means alone."""
    for block in samples.blocks:
        cuts = Cuts(samples.frames[block])
        for values in samples.values.values():
            cuts.sums(values[block]) / cuts.n


def flagged(samples: Samples) -> None:
    """Flags alone."""
    for block in samples.blocks:
        time_s = samples.time_s[block]
        gap = np.zeros(time_s.size, np.bool_)
        for key, values in samples.values.items():
            judged(time_s, values[block], gap, ColumnRequest(COLUMNS[key]), spikes)


def streamed(samples: Samples) -> None:
    """Flags and frames, as a log goes through them."""
    requests = {key: ColumnRequest(column) for key, column in COLUMNS.items()}
    stream = Stream(requests, 1.0 / RATE_HZ, -np.inf, np.inf, 1)
    for block in samples.blocks:
        values = {key: column[block] for key, column in samples.values.items()}
        stream.push(samples.time_s[block], samples.frames[block], values)
    stream.finish()


def corrected(campaign: Campaign, frames: Frames) -> None:
    """Calibrate and correct the frames of a run, and find its windows."""
    run, rig = campaign.runs[0], campaign.rig
    signals = to_signals(frames, rig, run=run.id)
    steady_windows(correct(signals, run, campaign.packs[run.pack], rig, None, None))


def frames_of(folder: Path) -> tuple[Campaign, Frames]:
    """Return a campaign with as many rows as there are samples, and the frames of its log."""
    campaign = read_campaign(long_campaign(folder, ROWS).parent)
    requests = {key: ColumnRequest(column) for key, column in COLUMNS.items()}
    return campaign, read_frames(campaign.runs[0].log, campaign.rig.log, requests)


def seconds(work: Callable[[], object]) -> float:
    """Processor time."""
    start = time.process_time()
    work()
    return time.process_time() - start


def ratios(size: Size) -> Iterator[Ratio]:
    samples = drawn()
    campaign, frames = frames_of(size.folder)
    into = {key: np.empty_like(values) for key, values in samples.values.items()}
    works: dict[str, Callable[[], object]] = {
        "copy": lambda: [copied(samples, into) for _ in range(5)],
        "windows": lambda: averaged(samples),
        "flags": lambda: flagged(samples),
        "stream": lambda: streamed(samples),
        "correct": lambda: corrected(campaign, frames),
    }
    for work in works.values():
        work()
    rounds = [
        {name: seconds(work) for name, work in works.items()} for _ in range(2 * size.repeats)
    ]

    def copies(*names: str) -> float:
        return median_ratio([(sum(r[name] for name in names), r["copy"] / 5) for r in rounds])

    yield Ratio("window statistics, in copies", copies("windows"), most=2.5)
    yield Ratio("calibrate, correct and windows, in copies", copies("windows", "correct"), most=12)
    yield Ratio("flags alone, in copies", copies("flags"))
    yield Ratio("flags, windows, calibrate, correct, in copies", copies("stream", "correct"))
