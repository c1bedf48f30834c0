"""The results folder: its files, its manifest, and how one stage is written into it.

The folder holds one file, or folder, for each stage.  A stage keeps what
stands before it and drops what came after, because that no longer fits.
"""

from __future__ import annotations

import functools
import os
import platform
import shutil
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from importlib.metadata import version
from pathlib import Path
from typing import Any, TypeVar, cast

from rigdata.campaign.campaign import Campaign
from rigdata.errors import ResultError
from rigdata.logs.frames_cache import FramesCache
from rigdata.reduction.results import Reduction
from rigdata.storage.files import is_file, real_path, sha256
from rigdata.storage.folders import MANIFEST, is_result, staged_folder, write_manifest
from rigdata.storage.json_files import read_json
from rigdata.storage.lock import owned
from rigdata.storage.well_typed import check_types

Work = TypeVar("Work", bound=Callable[..., Any])

RESULTS = "results"
CACHE = ".rigdata-cache"
FITS_FILE = "fits.json"
COMPARISON_FILE = "comparison.csv"
TRAITS_FILE = "traits.json"
BATCHES_FILE = "batches.json"
BEDDING_FILE = "bedding.json"
WEAR_FILE = "wear.json"
TABLES_FOLDER = "tables"
REPORT_FILE = "report.html"

# Lists in the manifest: what their entries hold, and which texts each must have.
_ENTRIES: dict[str, tuple[Any, tuple[str, ...]]] = {
    "inputs": (tuple[Mapping[str, str], ...], ("role", "name", "sha256")),
    "outputs": (tuple[Mapping[str, Any], ...], ("name", "sha256")),
    "steps": (tuple[Mapping[str, Any], ...], ()),
    "records": (tuple[Mapping[str, str], ...], ()),
}
_COMPARED = (COMPARISON_FILE, TRAITS_FILE, BATCHES_FILE)

# What a stage makes anew, and what it drops because it no longer fits.  Whatever else lies in
# the folder stays; `reduce` and `run` start from an empty one.
_DROPPED = {
    "fit": (FITS_FILE, BEDDING_FILE, *_COMPARED, WEAR_FILE, TABLES_FOLDER, REPORT_FILE),
    "bedding": (BEDDING_FILE, REPORT_FILE),
    "compare": (*_COMPARED, REPORT_FILE),
    "wear": (WEAR_FILE, REPORT_FILE),
    "tables": (TABLES_FOLDER, REPORT_FILE),
    "report": (REPORT_FILE,),
}


def results_folder(campaign: Campaign, out: Path | str | None = None) -> Path:
    """Return where the results of a campaign go.

    Raises
    ------
    ResultError
        When nobody named the place, and a link leads from it out of the campaign.
    """
    return Path(out) if out is not None else _within(campaign, RESULTS)


def cache_of(campaign: Campaign, *, wanted: bool = True) -> FramesCache | None:
    """Return where the frames of a campaign's logs are kept; None where none is wanted.

    Beside campaign.toml, not in the results, which are swapped whole: what a killed run
    has read is there for the next one, and all results of a campaign share it.
    """
    return FramesCache(_within(campaign, CACHE)) if wanted else None


def _within(campaign: Campaign, name: str) -> Path:
    """Return a folder of the campaign that we write to; it may have come from anywhere."""
    place = campaign.folder / name
    if not real_path(place).is_relative_to(campaign.folder.resolve()):
        raise ResultError(
            "is a link that leads out of the campaign",
            where=str(place),
            do="Remove the link, or name another folder for the results with --out",
        )
    return place


def working_alone(command: str) -> Callable[[Work], Work]:
    """Let a function of a campaign and its results folder be the only one to work on that folder.

    Two at once would mix what the one reads with what the other writes.
    """

    def decorate(work: Work) -> Work:
        @functools.wraps(work)
        def locked(campaign: Campaign, out: Path | None = None, **options: Any) -> Any:
            with owned(results_folder(campaign, out), f"rigdata {command}"):
                return work(campaign, out, **options)

        return cast(Work, locked)

    return decorate


@contextmanager
def results_stage(
    campaign: Campaign,
    folder: Path,
    command: str,
    options: Mapping[str, object],
    *,
    force: bool = False,
    reduction: Reduction | None = None,
) -> Iterator[Path]:
    """Yield a copy of the results folder to write one stage into.

    The copy takes the place of `folder` when the block ends without an error.
    """
    before = read_manifest(folder)
    with staged_folder(folder, force=force, keep=read_files(campaign)) as part:
        if command in _DROPPED and folder.is_dir():
            dropped = (*_DROPPED[command], MANIFEST)
            _refuse_links(folder)
            shutil.copytree(
                folder,
                part,
                symlinks=True,
                dirs_exist_ok=True,
                ignore=lambda at, names: dropped if Path(at) == folder else (),
            )
        yield part
        steps = before.get("steps", []) if command in _DROPPED else []
        write_manifest(
            part,
            {
                "format": 1,
                "campaign": campaign.name,
                **_campaign_path(campaign, folder),
                "steps": [*steps, _step(command, options)],
                "inputs": _inputs(campaign, reduction, before),
                "records": _records(campaign),
                "left_out": dict(reduction.left_out) if reduction else before.get("left_out", {}),
                "outputs": _outputs(part),
            },
        )


def _refuse_links(folder: Path) -> None:
    """Raise where results hold a link, through which we would write, or a pipe."""
    for path in sorted(folder.rglob("*")):
        if path.is_symlink() or not (path.is_file() or path.is_dir()):
            raise ResultError(
                "is a link or no file",
                where=str(path),
                expected="a results folder with files and folders alone",
                do="Remove it, or copy what it leads to into its place",
            )


def read_manifest(folder: Path) -> dict[str, Any]:
    """Return the manifest of a results folder, empty where there is none.

    Raises
    ------
    ResultError
        When its entries are not what we write.
    """
    if not is_result(folder):
        return {}
    content: dict[str, Any] = read_json(folder / MANIFEST)
    try:
        for name, (kind, keys) in _ENTRIES.items():
            check_types(content.get(name, ()), kind, name)
            for entry in content.get(name, ()):
                for key in keys:
                    check_types(entry.get(key), str, f"{key} in {name}")
        check_types(content.get("left_out", {}), Mapping[str, str], "left_out")
        check_types(content.get("campaign_file", ""), str, "campaign_file")
    except TypeError as error:
        raise ResultError(
            f"an entry is missing or wrong ({error})",
            where=str(folder / MANIFEST),
            do="Write the results again with 'rigdata run'",
        ) from error
    return content


def check_untouched(folder: Path, *names: str) -> None:
    """Check that files of a results folder are those that its manifest names.

    They follow from one another, so one that was changed by hand would be at odds with the
    rest.  Points and their budget may be made by hand, and are not asked about here.

    Raises
    ------
    ResultError
        When a file is another one.
    """
    for entry in read_manifest(folder).get("outputs", ()):
        name = entry["name"]
        if name not in names or not is_file(folder / name):
            continue
        if sha256(folder / name) != entry["sha256"]:
            raise ResultError(
                f"is not the file that {MANIFEST} describes",
                where=str(folder / name),
                do="Run the step that writes it again",
            )


def campaign_file(folder: Path, *, do: str) -> Path:
    """Return the campaign.toml that a results folder was made from.

    Parameters
    ----------
    folder : Path
        The results folder.
    do : str
        What to do where the campaign is not found.

    Raises
    ------
    ResultError
        When the folder is no result, or the campaign no longer lies where it lay.
    """
    manifest = read_manifest(folder)
    entry = next((e for e in manifest.get("inputs", []) if e["role"] == "campaign"), None)
    if entry is None:
        raise ResultError("the folder holds no results of a campaign", where=str(folder), do=do)
    ways = dict.fromkeys((manifest.get("campaign_file", ""), f"../{entry['name']}"))
    places = [Path(os.path.normpath(folder.resolve() / way)) for way in ways if way]
    found = [place for place in places if is_file(place)]
    if not found:
        raise ResultError(
            "the campaign of these results is not where it was when they were made",
            where=str(folder),
            expected=str(places[0]),
            do=do,
        )
    return next((place for place in found if sha256(place) == entry["sha256"]), found[0])


def provenance(command: str, options: Mapping[str, object]) -> dict[str, str]:
    """Return names and values that say how a result was made, for the report."""
    asked = ", ".join(f"{name} = {value}" for name, value in options.items() if value)
    return {
        "version": version("rigdata"),
        "command": f"rigdata {command}",
        "options": asked or "none",
        **_software(),
    }


def _step(command: str, options: Mapping[str, object]) -> dict[str, object]:
    mine = version("rigdata")
    return {"command": command, "options": options, "version": mine, "software": _software()}


def _software() -> dict[str, str]:
    names = ("numpy", "scipy", "pandas", "lmfit", "matplotlib")
    return {**{name: version(name) for name in names}, "python": platform.python_version()}


def read_files(campaign: Campaign) -> list[Path]:
    """Return every file the work reads: a results folder must not take their place."""
    return [*(file.path for file in campaign.inputs), *(run.log for run in campaign.runs)]


def _inputs(
    campaign: Campaign, reduction: Reduction | None, before: Mapping[str, Any]
) -> list[dict[str, str]]:
    """Return role, name and hash of every input; a later stage keeps the logs of the reduction."""
    files = [(file.role, file.path, file.sha256) for file in campaign.inputs]
    if reduction is None:
        logs = [entry for entry in before.get("inputs", []) if entry.get("role") == "log"]
    else:
        logs = []
        for run in campaign.runs:
            if run.log.is_file():
                summary = reduction.summaries.get(run.id)
                files.append(("log", run.log, summary.log_sha256 if summary else sha256(run.log)))
    named = [
        {"role": role, "name": Path(os.path.relpath(path, campaign.folder)).as_posix(), "sha256": h}
        for role, path, h in files
    ]
    return [*named, *logs]


def _records(campaign: Campaign) -> list[dict[str, str]]:
    """Return id and hash of every calibration record."""
    found = {r.id: r.content_sha256 for h in campaign.rig.histories.values() for r in h}
    return [{"id": name, "sha256": digest} for name, digest in sorted(found.items())]


def _campaign_path(campaign: Campaign, folder: Path) -> dict[str, str]:
    """Return the way from the results to the campaign; none between drives."""
    try:
        return {"campaign_file": Path(os.path.relpath(campaign.path, folder.resolve())).as_posix()}
    except ValueError:
        return {}


def _outputs(part: Path) -> list[dict[str, object]]:
    return [
        {
            "name": path.relative_to(part).as_posix(),
            "bytes": path.stat().st_size,
            "sha256": sha256(path),
        }
        for path in sorted(part.rglob("*"))
        if path.is_file() and path.name != MANIFEST
    ]
