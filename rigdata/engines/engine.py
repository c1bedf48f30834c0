"""What an engine is, and the plainest: one job after the other in this process.

An engine is opened for the files that will be read and gives what applies a
function to many jobs.  Whatever the engine, outcomes come in the order of the
jobs, each the result or the `RigdataError` that the job failed with, so that
nothing which follows depends on where the work was done.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol, TypeVar

from rigdata.errors import RigdataError

Result = TypeVar("Result")


@dataclass(frozen=True)
class Job:
    """One piece of work, which any process can do.

    Attributes
    ----------
    name : str
        What it is called in messages, as ``run R001``.
    reads : Path
        The file that it reads, where it lies.
    arguments : tuple
        Of the function; small, because they may travel.
    """

    name: str
    reads: Path
    arguments: tuple[Any, ...]


class Apply(Protocol):
    """Applies a function of a module to jobs."""

    def __call__(
        self, function: Callable[..., Result], jobs: Sequence[Job]
    ) -> Iterator[Result | RigdataError]:
        """Yield the outcome of each job, in their order.

        Raises
        ------
        EngineError
            When the engine, not the job, is at fault.
        """
        ...


Engine = Callable[[Sequence[Path]], AbstractContextManager[Apply]]


@contextmanager
def alone(_files: Sequence[Path]) -> Iterator[Apply]:
    """Do the work in this process."""
    yield one_by_one


def one_by_one(
    function: Callable[..., Result], jobs: Sequence[Job]
) -> Iterator[Result | RigdataError]:
    """Yield the outcome of each job, done when it is asked for."""
    for job in jobs:
        yield attempted(function, job.arguments)


def attempted(function: Callable[..., Result], arguments: tuple[Any, ...]) -> Result | RigdataError:
    """Return the result, or the reason why there is none."""
    try:
        return function(*arguments)
    except RigdataError as fault:
        return fault
