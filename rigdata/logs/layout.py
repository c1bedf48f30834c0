"""Lines of a log in blocks, and what is to be taken from them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Layout:
    """What to take from the lines of a log.

    Attributes
    ----------
    where : str
        The file, for messages.
    encoding : str
        Encoding of the blocks.
    delimiter, decimal : str
        As in `Dialect`.
    n_fields, least_fields : int
        Most and fewest fields of a sound line.
    padded : bool
        Blanks follow the delimiter.
    time_index : int
        Column of the time, counted from 0.
    time_factor : float
        Seconds in the unit of the time.
    columns : mapping of str to int
        Column of each wanted key.
    names : tuple of str
        Column names, for messages.
    known : frozenset of bytes
        Stripped lines of the header, which may come again.
    """

    where: str
    encoding: str
    delimiter: str
    decimal: str
    n_fields: int
    least_fields: int
    padded: bool
    time_index: int
    time_factor: float
    columns: Mapping[str, int]
    names: tuple[str, ...]
    known: frozenset[bytes]


@dataclass(frozen=True)
class Lines:
    """Successive whole lines of a log.

    Attributes
    ----------
    text : bytes
        The lines, each with a line feed at its end.
    first : int
        Number in the file of the first of them.
    count : int
        How many they are.
    """

    text: bytes
    first: int
    count: int
