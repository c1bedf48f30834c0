"""The order of the runs: blocks, drift checks, and chance where order must not matter."""

from __future__ import annotations

import string
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rigdata.errors import CampaignError
from rigdata.planning.candidates import PlannedTest, basis, breakaway, speed_sweep
from rigdata.planning.description import Group, Request

REFERENCES = 3  # reference runs of a block: first, middle and last
CHECK = "reference"


@dataclass(frozen=True, eq=False)
class PlannedRun:
    """One line of the run sheet.

    Attributes
    ----------
    id, pack : str
        As in campaign.toml.
    test : PlannedTest
    purpose : str
        What it is for where that is not plain from the procedure; may be empty.
    """

    id: str
    pack: str
    test: PlannedTest
    purpose: str


@dataclass(frozen=True, eq=False)
class Block:
    """A pack on a day.

    Attributes
    ----------
    pack : str
    group : Group
    day : int
        Counted from 1.
    runs : tuple of PlannedRun
        In the order to make them.
    minutes : float
        What it takes, mounting included. [min]
    """

    pack: str
    group: Group
    day: int
    runs: tuple[PlannedRun, ...]
    minutes: float


def first_tests(request: Request) -> list[PlannedTest]:
    """Return what a pack begins with."""
    new = request.pack.state == "new"
    return basis(request.region, request.reference, request.minutes, bedding=new)


def reference_run(request: Request) -> PlannedTest:
    """Return the run that is repeated through the day."""
    where = request.reference
    return speed_sweep(request.region, where.temperature_c, where.pressure_mpa, request.minutes)


def programme(request: Request, chosen: Sequence[PlannedTest]) -> list[PlannedTest]:
    """Return all tests of one pack, in no order."""
    rest = breakaway(request.region, request.reference, request.minutes)
    ends = [] if rest is None else [rest]
    return [*first_tests(request), *[reference_run(request)] * REFERENCES, *chosen, *ends]


def block_minutes(request: Request, chosen: Sequence[PlannedTest]) -> float:
    """Return what one block takes, mounting included. [min]"""
    return request.minutes.mount + sum(test.minutes for test in programme(request, chosen))


def laid_out(request: Request, chosen: Sequence[PlannedTest], packs: int) -> tuple[Block, ...]:
    """Return the blocks in order.

    Parameters
    ----------
    request : Request
    chosen : sequence of PlannedTest
        Tests of each pack beside zero, drag, bedding, reference and breakaway.
    packs : int
        Packs of each group.

    Raises
    ------
    CampaignError
        When a block takes longer than a day.

    Notes
    -----
    Packs are mounted in rounds: each round has one pack of every group, their order drawn
    anew, so that whatever the rig does from week to week meets all groups alike (randomised
    complete blocks: R. A. Fisher, The Design of Experiments, 1935).  Within a block zero,
    drag and bedding come first and the tests follow in an order drawn for that block; the
    reference stands before, amid and after them.
    """
    needed = block_minutes(request, chosen)
    if needed > 60.0 * request.hours_per_day:
        raise CampaignError(
            f"a pack takes {needed / 60:.1f} h, longer than a day of {request.hours_per_day:g} h",
            where=f"{request.path.name}, hours_per_day",
            do="Ask for fewer tests, or correct hours_per_day and [minutes]",
        )
    rng = np.random.default_rng(request.seed)
    a_day = int(60.0 * request.hours_per_day / needed)
    blocks: list[Block] = []
    number = 0
    for turn in range(packs):
        for i in rng.permutation(len(request.groups)).tolist():
            pack = f"{_letters(i)}{turn + 1}"
            tests = _ordered(request, chosen, rng)
            runs = tuple(
                PlannedRun(f"R{number + k + 1:03d}", pack, test, purpose)
                for k, (test, purpose) in enumerate(tests)
            )
            number += len(runs)
            blocks.append(Block(pack, request.groups[i], len(blocks) // a_day + 1, runs, needed))
    return tuple(blocks)


def _ordered(
    request: Request, chosen: Sequence[PlannedTest], rng: np.random.Generator
) -> list[tuple[PlannedTest, str]]:
    rest = breakaway(request.region, request.reference, request.minutes)
    tests = [*chosen, *([] if rest is None else [rest])]
    drawn = [(tests[i], "") for i in rng.permutation(len(tests)).tolist()]
    check, half = (reference_run(request), CHECK), (len(drawn) + 1) // 2
    first = [(test, "") for test in first_tests(request)]
    return [*first, check, *drawn[:half], check, *drawn[half:], check]


def _letters(i: int) -> str:
    """Return A to Z, then AA, AB and so on."""
    rest = string.ascii_uppercase[i % 26]
    return rest if i < 26 else _letters(i // 26 - 1) + rest
