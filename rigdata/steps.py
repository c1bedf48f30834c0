"""The steps of longer work, told while it goes on."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from typing import TypeVar

Thing = TypeVar("Thing")


@dataclass(frozen=True)
class Step:
    """What begins now.

    Attributes
    ----------
    what : str
        In a few words.
    done, total : int
        Of how many like steps how many are done; both 0 for a step of its own kind.
    """

    what: str
    done: int = 0
    total: int = 0

    def __str__(self) -> str:
        return self.what


Progress = Callable[[Step], None]


def silent(_step: Step) -> None:
    """Tell nobody."""


def counted(progress: Progress | None, words: str, things: Collection[Thing]) -> Iterator[Thing]:
    """Yield `things`, telling before each that it begins and how many are done.

    Parameters
    ----------
    progress : callable or None
        Told a `Step` before each.
    words : str
        What is done to each; its name follows.
    things : collection
        Each is called by its ``str``.
    """
    say = progress or silent
    for done, thing in enumerate(things):
        say(Step(f"{words} {thing}", done, len(things)))
        yield thing
