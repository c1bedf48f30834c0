"""Results folders: written whole or not at all.

A results folder is built in a sibling folder and swapped in at the end.  Whatever
interrupts the work, the old result stays whole.
"""

from __future__ import annotations

import contextlib
import shutil
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

from rigdata.errors import ResultError
from rigdata.storage.files import real_path, sync_all, timestamp, unwritable
from rigdata.storage.json_files import read_json, write_json
from rigdata.storage.swap import name_of_old, place_for_new, swap_in

MANIFEST = "manifest.json"
PROGRAM = "rigdata"


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

    When the block raises, `folder` is as it was.  It must be locked (`owned`), so that
    what lies beside it from a process that was killed can be put right first.

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
    target, kept = real_path(folder), tuple(keep)
    check_replaceable(folder, force=force, keep=kept)
    part = place_for_new(target)
    try:
        part.mkdir(parents=True)
    except OSError as error:
        raise unwritable(folder, error) from error
    try:
        yield part
        if not is_result(part):
            raise ResultError(f"no {MANIFEST} was written", where=str(folder))
        check_replaceable(folder, force=force, keep=kept)
        try:
            sync_all(part)
            swap_in(part, target)
        except OSError as error:
            raise unwritable(folder, error) from error
    finally:
        shutil.rmtree(part, ignore_errors=True)
        if (
            target.exists()
        ):  # else the old results are all there is, and `put_right` brings them back
            shutil.rmtree(name_of_old(part), ignore_errors=True)


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
    target = real_path(folder)
    guarded = [real_path(path) for path in (*keep, Path.cwd())]
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
