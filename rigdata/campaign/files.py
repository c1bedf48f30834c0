"""The files of a campaign: reading their text, and naming a place in them."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from pathlib import Path, PureWindowsPath
from typing import Any

from rigdata.errors import CampaignError
from rigdata.storage.files import read_whole, sha256_bytes

FORMAT = 1
MOST_BYTES = 64_000_000  # of a CSV file
MOST_TOML_BYTES = 4_000_000
MOST_LINE = 10_000  # characters of a line of TOML

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_TOML_PLACE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")
_DECIMAL_COMMA = re.compile(r"=\s*[+-]?\d+,\d")
_TEXT_WITH_BACKSLASH = re.compile(r'"[^"]*\\')
BACKSLASH = (
    "A backslash starts an escape in double quotes: write paths with / or in single quotes, "
    "'logs/R001.csv'"
)


@dataclass(frozen=True)
class InputFile:
    """One file that was read.

    Attributes
    ----------
    role : str
        ``campaign``, ``rig``, ``calibration record``, ``calibration points``,
        ``calibration certificate`` or ``inspections``.
    path : Path
        Where it is, links followed.
    sha256 : str
        Hash of its raw bytes, in hexadecimal.
    """

    role: str
    path: Path
    sha256: str


@dataclass(frozen=True)
class Place:
    """A table in a TOML file, so that every message can name file and key."""

    file: Path
    table: str = ""

    def inside(self, *names: str) -> Place:
        """Return the place of a table below this one."""
        return Place(self.file, self._dotted(*names))

    def fault(self, what: str, *, key: str = "", expected: str = "", do: str = "") -> CampaignError:
        """Return the error that says what is wrong at `key` of this table."""
        dotted = self._dotted(key) if key else self.table
        where = f"{shown(self.file)}, {dotted}" if dotted else shown(self.file)
        return CampaignError(what, where=where, expected=expected, do=do)

    def resolve(self, key: str, text: str, *, anywhere: bool = False) -> Path:
        """Return the path that `text` means, relative to the folder of the file.

        Raises
        ------
        CampaignError
            When the path, links followed, leaves the folder and is not allowed
            to lie `anywhere`.
        """
        folder = self.file.parent.resolve()
        # Another computer's drive or share, which even to look for could tell it who we are.
        if not anywhere and PureWindowsPath(text).drive:
            raise self.fault(
                f"'{text}' names a drive or share",
                key=key,
                expected=f"a file in {shown(folder)} or below",
                do="Move or copy the file there",
            )
        try:
            path = (folder / text).resolve()
            path.exists()  # a name may be too long for the system
        except (OSError, RuntimeError, ValueError) as error:  # RuntimeError: a ring of links
            raise self.fault(f"'{text}' is not a path ({error})", key=key) from error
        if not anywhere and not path.is_relative_to(folder):
            raise self.fault(
                f"'{text}' leads out of the folder",
                key=key,
                expected=f"a file in {shown(folder)} or below, links followed",
                do="Move or copy the file there",
            )
        return path

    def missing(self, key: str, text: str) -> CampaignError:
        """Return the error for a file that `key` names and that is not there."""
        hint = " and write the path with /" if "\\" in text else ""
        return self.fault(
            f"there is no file '{text}'",
            key=key,
            expected=f"a path from the folder of {self.file.name}",
            do=f"Correct the path{hint}, or put the file there",
        )

    def _dotted(self, *names: str) -> str:
        quoted = (n if _BARE_KEY.fullmatch(n) or "[" in n else f'"{n}"' for n in names)
        return ".".join([*([self.table] if self.table else []), *quoted])


@dataclass(frozen=True)
class TomlFile:
    """A TOML file as read: its top table without ``format``, and its hash."""

    place: Place
    table: dict[str, Any]
    sha256: str


def shown(path: Path) -> str:
    """Return `path` as a message shows it: from the working folder where it lies below."""
    working = Path.cwd()
    return str(path.relative_to(working)) if path.is_relative_to(working) else str(path)


def read_text(path: Path, most: int = MOST_BYTES) -> tuple[str, str]:
    """Return the text of a UTF-8 file, without byte order mark, and its hash.

    Raises
    ------
    CampaignError
        When the file cannot be read, holds more than `most` bytes or is not UTF-8.
    """
    try:
        data = read_whole(path, most)
    except OSError as error:
        raise CampaignError(
            f"cannot be read ({error.strerror})",
            where=shown(path),
            do="Check that it is there, and the file that it should be",
        ) from error
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise CampaignError(
            f"byte {data[error.start]:#04x} is not UTF-8",
            where=f"{shown(path)}, line {line}",
            do="Save the file as UTF-8",
        ) from None
    return text, sha256_bytes(data)


def read_toml(path: Path) -> TomlFile:
    """Read a TOML file and check its ``format`` number.

    Raises
    ------
    CampaignError
        When the file cannot be read, is not TOML, or is of another format.
    """
    text, digest = read_text(path, MOST_TOML_BYTES)
    # The parser takes a key of n parts apart in n^2 steps, and a key lies within one line.
    long = next((i for i, line in enumerate(text.split("\n")) if len(line) > MOST_LINE), None)
    if long is not None:
        raise CampaignError(
            f"the line holds more than {MOST_LINE} characters",
            where=f"{shown(path)}, line {long + 1}",
            do="Break the line, or remove what is no key of this file",
        )
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _syntax_error(path, text, str(error)) from None
    except RecursionError:
        raise CampaignError("is nested too deeply", where=shown(path)) from None
    except ValueError as error:  # a whole number of thousands of digits
        raise CampaignError(
            f"holds a value that cannot be read ({error})", where=shown(path)
        ) from None
    place = Place(path)
    number = table.pop("format", None)
    if number is None:
        raise place.fault(
            "the key is missing",
            key="format",
            expected=f"format = {FORMAT}",
            do=f"Write format = {FORMAT} in the first line",
        )
    if type(number) is not int or number != FORMAT:
        raise place.fault(
            f"format {number!r} cannot be read",
            key="format",
            expected=f"format = {FORMAT}",
            do="Correct the number, or use the release of rigdata that the file was written for",
        )
    return TomlFile(place, table, digest)


def _syntax_error(path: Path, text: str, message: str) -> CampaignError:
    lines = text.splitlines() or [""]
    found = _TOML_PLACE.search(message)
    number = int(found[1]) if found and found[1] else len(lines)
    column = f", column {found[2]}" if found and found[2] else ""
    line = lines[min(number, len(lines)) - 1]
    if _DECIMAL_COMMA.search(line):
        do = "Write numbers with a decimal point"
    elif _TEXT_WITH_BACKSLASH.search(line):
        do = BACKSLASH
    elif "overwrite" in message or "twice" in message or "Cannot declare" in message:
        do = "The key or table stands twice: keep one"
    else:
        do = f"Correct the line: {line.strip()[:80]}"
    what = f"is not TOML: {_TOML_PLACE.sub('', message)}"
    return CampaignError(what, where=f"{shown(path)}, line {number}{column}", do=do)
