"""Writing results whole or not at all, and reading them back.

A file is written beside its place and renamed into it; a results folder is
built in a sibling folder and swapped in at the end.  Whatever interrupts the
work, the old result stays whole.
"""

from __future__ import annotations

import contextlib
import datetime
import enum
import hashlib
import json
import math
import os
import secrets
import shutil
import time
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path, PurePath
from typing import Any

import numpy as np

from rigdata.errors import ResultError

MANIFEST = "manifest.json"
PROGRAM = "rigdata"

TomlValue = str | float | int | datetime.date | tuple[float, float]


def sha256(path: Path) -> str:
    """Return the SHA-256 of the raw bytes of the file `path`, in hexadecimal."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def sha256_bytes(data: bytes) -> str:
    """Return the SHA-256 of `data`, in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def timestamp() -> str:
    """Return the time now in UTC, as ``2026-03-01T12:00:00Z``.

    The environment variable ``SOURCE_DATE_EPOCH`` (seconds since 1970) takes
    the place of the clock, so that a result can be made again byte by byte.

    Raises
    ------
    ResultError
        When ``SOURCE_DATE_EPOCH`` is not a whole number of seconds.
    """
    fixed = os.environ.get("SOURCE_DATE_EPOCH", "").strip()
    try:
        seconds = int(fixed) if fixed else int(time.time())
        moment = datetime.datetime.fromtimestamp(seconds, tz=datetime.UTC)
    except (ValueError, OverflowError, OSError):
        raise ResultError(
            f"'{fixed}' is not a time",
            where="environment variable SOURCE_DATE_EPOCH",
            expected="whole seconds since 1970",
        ) from None
    return moment.strftime("%Y-%m-%dT%H:%M:%SZ")


def write_text(path: Path, text: str) -> None:
    r"""Write `text` to `path` in UTF-8 with ``\n`` line ends, whole or not at all.

    Raises
    ------
    ResultError
        When the file cannot be written; an older file of that name is intact.
    """
    write_bytes(path, text.replace("\r\n", "\n").encode("utf-8"))


def write_bytes(path: Path, data: bytes) -> None:
    """Write `data` to `path`, whole or not at all; missing folders are made.

    Raises
    ------
    ResultError
        When the file cannot be written; an older file of that name is intact.
    """
    target = _real(path)
    part = target.with_name(f".{target.name}.{secrets.token_hex(4)}.part")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with part.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        part.replace(target)
        _sync_folder(target.parent)
    except OSError as error:
        raise _unwritable(path, error) from error
    finally:
        with contextlib.suppress(OSError):
            part.unlink()


def check_new(paths: Iterable[Path], *, force: bool = False) -> None:
    """Check that files which no manifest knows may be written, before the work is done.

    Raises
    ------
    ResultError
        When one of them is there already, unless with `force`.
    """
    for path in paths:
        if path.exists() and not force:
            raise ResultError(
                "the file is there already",
                where=str(path),
                expected="a new file",
                do="Name another place, or use --force to replace it",
            )


def json_text(data: object) -> str:
    """Return `data` as JSON text with sorted keys, the same for the same data.

    Mappings, sequences, numpy arrays and numbers, dates, paths and enum members
    are written as what they stand for.

    Raises
    ------
    ResultError
        When a number is not finite; the message says where it stands.
    TypeError
        When something in `data` has no JSON form.
    """
    plain = _plain(data, "")
    return json.dumps(plain, allow_nan=False, ensure_ascii=False, indent=2, sort_keys=True) + "\n"


def write_json(path: Path, data: object) -> None:
    """Write `data` as `json_text` to `path`, whole or not at all."""
    write_text(path, json_text(data))


def finite(value: float) -> float | None:
    """Return a number as JSON can hold it: None where it has no value or no bound."""
    return float(value) if math.isfinite(value) else None


@contextlib.contextmanager
def entries(data: Any, number: int, *, of: str, where: str, do: str) -> Iterator[dict[str, Any]]:
    """Yield what a JSON file of ours holds; what is missing or wrong in it is one message.

    `of` says in a word what the data are, `where` their file, `do` how to make it anew.

    Raises
    ------
    ResultError
        When the format is not `number`, or the block stumbles over an entry.
    """
    found = data.get("format") if isinstance(data, dict) else type(data).__name__
    if found != number:
        raise ResultError(
            f"format {found} of the {of} is unknown",
            where=where,
            expected=f"format {number}",
            do=do,
        )
    try:
        yield data
    except (KeyError, IndexError, TypeError, ValueError, AttributeError) as error:
        raise ResultError(
            f"an entry of the {of} is missing or wrong ({error})", where=where, do=do
        ) from error


def read_json(path: Path) -> Any:
    """Read a JSON file.

    Raises
    ------
    ResultError
        When the file is missing, is not JSON, or holds NaN or an infinity.
    """
    try:
        return json.loads(path.read_bytes().decode("utf-8-sig"), parse_constant=_no_constant)
    except FileNotFoundError:
        raise ResultError(
            "the file does not exist",
            where=str(path),
            do="Run the step that writes it, or correct the path",
        ) from None
    except OSError as error:
        raise ResultError(f"cannot be read ({error.strerror})", where=str(path)) from error
    except UnicodeDecodeError:
        raise ResultError("is not UTF-8 text", where=str(path), expected="a JSON file") from None
    except json.JSONDecodeError as error:
        raise ResultError(
            f"is not JSON: {error.msg}",
            where=f"{path}, line {error.lineno}, column {error.colno}",
            do="Write the file again with the step that made it",
        ) from None
    except ValueError as error:
        raise ResultError(str(error), where=str(path), expected="finite numbers or null") from None


def toml_table(title: str, keys: Mapping[str, TomlValue]) -> str:
    """Return one TOML table as text; the top table has no title."""
    lines = [title] if title else []
    lines += [f"{name} = {_toml_literal(value)}" for name, value in keys.items()]
    return "\n".join(lines) + "\n"


def _toml_literal(value: TomlValue) -> str:
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, datetime.date):
        return value.isoformat()
    if isinstance(value, tuple):
        return "[" + ", ".join(repr(item) for item in value) + "]"
    return repr(value)


def write_manifest(folder: Path, entries: Mapping[str, object]) -> None:
    """Write manifest.json, which marks `folder` as a result of this package.

    `entries` go in as they are, beside ``program`` and the time of writing.
    """
    write_json(folder / MANIFEST, {"written": timestamp(), **entries, "program": PROGRAM})


def is_result(folder: Path) -> bool:
    """Tell whether `folder` holds a manifest.json that this package wrote."""
    try:
        manifest = read_json(folder / MANIFEST)
    except ResultError:
        return False
    return isinstance(manifest, dict) and manifest.get("program") == PROGRAM


@contextlib.contextmanager
def staged_folder(
    folder: Path, *, force: bool = False, keep: Iterable[Path] = ()
) -> Iterator[Path]:
    """Yield an empty folder that takes the place of `folder` at the end.

    When the block raises, `folder` is as it was.  Should the power fail in the
    instant between the two renames, the old result lies whole beside its place
    as ``.NAME.*.old`` and the new one as ``.NAME.*.part``.

    Parameters
    ----------
    folder : Path
        Where the results are to be.
    force : bool
        Replace a folder that is not a result of this package.
    keep : iterable of Path
        Files that the work reads; a folder that holds one is never replaced.

    Yields
    ------
    Path
        The folder to fill.  It must hold a manifest (see `write_manifest`) when
        the block ends.

    Raises
    ------
    ResultError
        When `folder` must not be replaced, or cannot be written.
    """
    target, kept = _real(folder), tuple(keep)
    check_replaceable(folder, force=force, keep=kept)
    token = secrets.token_hex(4)
    part = target.with_name(f".{target.name}.{token}.part")
    old = target.with_name(f".{target.name}.{token}.old")
    try:
        part.mkdir(parents=True)
    except OSError as error:
        raise _unwritable(folder, error) from error
    try:
        yield part
        if not is_result(part):
            raise ResultError(f"no {MANIFEST} was written", where=str(folder))
        check_replaceable(folder, force=force, keep=kept)
        try:
            _swap(part, target, old)
        except OSError as error:
            raise _unwritable(folder, error) from error
    except BaseException:
        shutil.rmtree(part, ignore_errors=True)
        raise
    shutil.rmtree(old, ignore_errors=True)


def check_replaceable(folder: Path, *, force: bool = False, keep: Iterable[Path] = ()) -> None:
    """Check that results may be written to `folder`, before the work is done.

    A folder that is new, empty, or a result of this package may be replaced;
    any other only with `force`.  One that holds a file in `keep`, the working
    folder or the home folder is never replaced.

    Raises
    ------
    ResultError
        When it may not be.
    """
    target = _real(folder)
    guarded = [_real(path) for path in (*keep, Path.cwd())]
    with contextlib.suppress(RuntimeError):  # there may be no home
        guarded.append(Path.home().resolve())
    inside = [path for path in guarded if path.is_relative_to(target)]
    if inside:
        raise ResultError(
            f"the folder would be replaced, but it holds {inside[0]}",
            where=str(folder),
            do="Name a folder of its own for the results",
        )
    if not target.exists():
        return
    if not target.is_dir():
        raise ResultError("is a file", where=str(folder), expected="a folder for the results")
    if not force and any(target.iterdir()) and not is_result(target):
        raise ResultError(
            "the folder exists and was not written by rigdata",
            where=str(folder),
            expected=f"a new or empty folder, or one whose {MANIFEST} names rigdata",
            do="Name another folder, or use --force to replace this one and all it holds",
        )


def _swap(new: Path, target: Path, old: Path) -> None:
    """Put `new` in the place of `target`, which becomes `old`; or change nothing."""
    replaced = target.exists()
    if replaced:
        target.rename(old)
    try:
        new.rename(target)
    except BaseException:
        if replaced:
            old.rename(target)
        raise
    _sync_folder(target.parent)


def _plain(value: object, where: str) -> object:
    """Return `value` made of what JSON knows; `where` names it in errors."""
    if isinstance(value, enum.Enum):
        return _plain(value.value, where)
    if isinstance(value, np.ndarray | np.generic):
        return _plain(value.tolist(), where)
    if isinstance(value, Mapping):
        if not all(isinstance(key, str) for key in value):
            raise TypeError(f"keys of {where or 'the data'} must be text")
        return {key: _plain(item, f"{where}.{key}".lstrip(".")) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item, f"{where}[{i}]") for i, item in enumerate(value)]
    if isinstance(value, float) and not math.isfinite(value):
        raise ResultError(
            f"{value} has no place in JSON", where=where or "data", expected="a finite number"
        )
    if isinstance(value, datetime.date):
        return value.isoformat()
    return value.as_posix() if isinstance(value, PurePath) else value


def _no_constant(name: str) -> None:
    raise ValueError(f"holds {name}, which is not JSON")


def _real(path: Path) -> Path:
    """Return `path` with links followed, so that a link is kept and its target written."""
    try:
        return path.resolve()
    except (OSError, RuntimeError) as error:  # RuntimeError: a ring of links
        raise ResultError(f"the path cannot be followed ({error})", where=str(path)) from error


def _sync_folder(folder: Path) -> None:
    with contextlib.suppress(OSError):  # Windows cannot open a folder; the rename is done
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _unwritable(path: Path, error: OSError) -> ResultError:
    return ResultError(
        f"cannot be written ({error.strerror or error})",
        where=str(path),
        do="Check the free space and the permissions, and close programs that have it open",
    )
