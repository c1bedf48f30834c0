"""Twelve figures of a report drawn together, over the same drawn one by one.

Run it with ``python -m tests.benchmarks figures``, on two idle cores.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Iterator
from dataclasses import replace

from rigdata.campaign.campaign import read_campaign
from rigdata.figures.picture import Picture
from rigdata.figures.together import draw_all
from rigdata.pipeline.reporting import report_from_folder
from rigdata.pipeline.run import run_campaign
from rigdata.report.page import sections
from rigdata.simulation.demo import write_example
from tests.benchmarks.ratios import Ratio, Size

COUNT = 12


def ratios(size: Size) -> Iterator[Ratio]:
    folder = size.folder / "figures"
    if not folder.is_dir():
        write_example(folder, size="small")
        run_campaign(folder, laws=["log-speed", "dwell"])
    report, _ = report_from_folder(read_campaign(folder / "campaign.toml"))
    rounds = []
    for _ in range(size.repeats):
        alone, together = _pictures(report), _pictures(report)
        one_by_one = _seconds(alone, processes=1)
        rounds.append(_seconds(together, processes=None) / one_by_one)
        assert [p.inline for p in alone] == [p.inline for p in together]
    yield Ratio(f"{COUNT} figures together over one by one", statistics.median(rounds), most=0.65)


def _pictures(report) -> list[Picture]:
    found = [p for own in sections(report).values() for one in own for p in one.pictures]
    return [replace(picture) for picture in found[:COUNT]]


def _seconds(pictures: list[Picture], processes: int | None) -> float:
    start = time.perf_counter()
    draw_all(pictures, processes=processes)
    return time.perf_counter() - start
