"""Write ``rigdata/docs/files.md`` from the dataclasses that read and write the files.

python -m tests.docs.file_reference
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator
from pathlib import Path

from rigdata.calibration.classes import ClassLimits, Limits
from rigdata.campaign.campaign import Campaign, Material, Oil, Pack, Reference, Run
from rigdata.campaign.certificate import CertificateKeys
from rigdata.campaign.inspections import COLUMNS, MEASURED
from rigdata.campaign.keys import KeyField, keys_of
from rigdata.campaign.records import CalibrationRecord
from rigdata.campaign.rig import Channel, LogSettings, Rig
from rigdata.campaign.service import Duty, ServiceLimits
from rigdata.comparison.ratios_file import COLUMNS as RATIO_COLUMNS
from rigdata.lockup.description import LockPack, Plates, Preload, Ramps
from rigdata.logs.numerals import MISSING_TOKENS, OVERRANGE_TOKENS
from rigdata.logs.sentinels import MISSING_VALUES
from rigdata.planning import description as planning
from rigdata.reduction.points_file import BUDGET_COLUMNS, BUDGET_OPTIONAL, OPTIONAL, points_columns

TARGET = Path(__file__).parents[2] / "rigdata" / "docs" / "files.md"

CAMPAIGN = {
    "": Campaign,
    "[reference]": Reference,
    "[oil]": Oil,
    "[materials.NAME]": Material,
    "[materials.NAME.service]": ServiceLimits,
    "[duties.NAME]": Duty,
    "[packs.NAME]": Pack,
    "[[runs]]": Run,
}
RIG = {"": Rig, "[log]": LogSettings, "[channels.NAME]": Channel}
PACK = {"": LockPack, "[plates]": Plates, "[preload]": Preload, "[ramps]": Ramps}
PLAN = {
    "": planning.Request,
    "[region]": planning.Region,
    "[materials.NAME]": planning.Side,
    "[minutes]": planning.Minutes,
    "[scatter]": planning.Spread,
}
LIMITS = {"": ClassLimits, "[classes.NAME]": Limits}
RECORD, CERTIFICATE = {"": CalibrationRecord}, {"": CertificateKeys}
FILES = (CAMPAIGN, RIG, RECORD, CERTIFICATE, PACK, PLAN, LIMITS)
RESULTS = {
    "points.csv": "one row a friction point: its condition, mu, uncertainty, whether it is used "
    "and if not, why.",
    "budget.csv": "one row a point and source of uncertainty, with the signed contribution of one "
    "standard deviation.",
    "bedding.json": "after how much sliding work each pack was steady.",
    "fits.json": "the laws of every material and state: parameters, covariance, scatter, "
    "envelope, checks, and the laws that were set aside.",
    "comparison.csv": "ratios of materials and states, condition by condition, with interval and "
    "verdict.",
    "traits.json": "differences of slope, static over kinetic, fade, effect of pressure and "
    "spread of packs.",
    "batches.json": "each batch against those before it.",
    "wear.json": "wear rates, loss of bite, and service life by duty.",
    "tables/MATERIAL/STATE/": "coefficients.csv, static.csv where breakaways were tested, "
    "coefficients.json (all of it; its form is rigdata/tables/coefficients.schema.json) and "
    "datapackage.json.",
    "report.html": "everything to read, in one file.",
    "manifest.json": "version, command, options, record ids, and the hash of every file read and "
    "written.",
}


def text() -> str:
    """Return the text of files.md."""
    parts = [
        "# The files: every key and column",
        "This text is made from the code that reads the files. Unknown keys are errors that "
        "name the nearest known one. Paths count from the file that names them. TOML files "
        "start with `format = 1`.",
        "## campaign.toml",
        *_tables(CAMPAIGN),
        "## rig.toml",
        *_tables(RIG),
        "A channel says where its values come from in one way: `calibration`, `thermocouple` "
        "with `reference_junction`, `resistance_thermometer`, a column in a unit with `u`, or "
        "`constant`.",
        "## Logs",
        *_logs(),
        "## Calibration records",
        *_tables(RECORD),
        "In place of `points` and the keys that a certificate states, a record may name a "
        "digital calibration certificate:",
        *_tables(CERTIFICATE),
        "## differential.toml",
        "The clutch pack for `rigdata lock`.",
        *_tables(PACK),
        "## plan.toml",
        "What a campaign to come is to find out, for `rigdata plan`.",
        *_tables(PLAN),
        "`[reference]`, `[pack]` and `[oil]` are as in campaign.toml.",
        "## Class limits",
        "A file of your own for `rigdata calibrations --limits`, in percent.",
        *_tables(LIMITS),
        "## inspections.csv",
        "Beside campaign.toml; columns in any order. "
        f"{_listed(MEASURED)} may be blank where not measured, and `note` left out.",
        _listed(COLUMNS),
        "## Results",
        "\n".join(f"* `{name}`: {words}" for name, words in RESULTS.items()),
        "### points.csv",
        _listed(points_columns()),
        f"For points made by hand these may be left out: {_listed(OPTIONAL)}.",
        "### budget.csv",
        _listed(BUDGET_COLUMNS),
        f"These may be left out: {_listed(BUDGET_OPTIONAL)}.",
        "### comparison.csv",
        _listed(RATIO_COLUMNS),
    ]
    return "\n\n".join(_filled(part) for part in parts) + "\n"


def _logs() -> Iterator[str]:
    yield (
        "Delimited text is read in every dialect that its first lines tell: header lines of any "
        "number, a row of units or units in brackets, delimiter and decimal mark, quotes, UTF-8, "
        "UTF-16 or cp1252, any line ends, packed with gzip or not. `rigdata logs LOG` shows what "
        "was understood, and `[log]` states what is not to be detected. What could be read in two "
        "ways is refused with a message: marks between thousands, a decimal mark in doubt, a name "
        "that two columns have, a date whose day and month may be swapped."
    )
    yield (
        "* The time is in seconds or milliseconds (`[s]`, `[ms]`, or a name that ends in `_s` or "
        "`_ms`; else seconds, with a note), or stamps: `2026-03-04T10:15:00.125+01:00`, with a "
        "blank for the T, with or without zone, fraction (point or comma) or date; "
        "`04.03.2026 10:15:00`, `3/14/2026 9:59:59 AM`, `4-Mar-2026 10:15:00`, "
        "`20260304T101500`. Time 0 is then the whole second of the first stamp. A clock without a "
        "date may pass midnight; a date in a column of its own is not read. "
        "With a zone a change of daylight saving time is nothing; without "
        "one it is a jump.\n"
        "* A row whose time does not rise is left out and counted, lines with too few or too many "
        "fields too, and a last line without a line end: its last number may be cut.\n"
        "* A column that is filled in some rows only, at a rate of its own, is interpolated "
        "between its samples up to 2.5 of its periods.\n"
        f"* Missing is a blank or one of {_shown(MISSING_TOKENS)}, in any case, or one of the "
        f"numbers {_listed(f'{value:g}' for value in MISSING_VALUES)} and `9.91E37`. Over range "
        f"is told apart: {_shown(OVERRANGE_TOKENS)}, `9.9E37` and beyond, or a field filled with "
        "`*` or `#`."
    )
    yield (
        "Other formats need a package each: `pip install 'rigdata[mdf]'` (.mf4, .mdf), "
        "`rigdata[tdms]` (.tdms), `rigdata[hdf5]` (.h5, .hdf5), `rigdata[parquet]` (.parquet). "
        "A `column` is then the name of a channel, with its groups where the name alone is there "
        "twice: `GROUP/NAME` (for MDF the number of the group, for HDF5 the path). `time_column` "
        "is a channel of the same group, for HDF5 also of a group above; where there is none, the "
        "file's own times count (master channel, waveform), with a note. Channels of several "
        "rates come together as sparse columns of a text log do. Units come from the file: for "
        "HDF5 the attribute `unit` or `units`, for Parquet the metadata of the field, for TDMS "
        "`unit_string`."
    )


def _shown(tokens: Iterable[str]) -> str:
    return " ".join(f"`{token}`" for token in tokens if token)


def _tables(classes: dict[str, type]) -> Iterator[str]:
    for name, cls in classes.items():
        if name:
            yield f"### {name}"
        yield "\n".join(_line(key) for key in keys_of(cls))


def _filled(part: str) -> str:
    return "\n".join(
        textwrap.fill(
            line,
            100,
            subsequent_indent="  " if line.startswith("* ") else "",
            break_on_hyphens=False,
            break_long_words=False,
        )
        for line in part.splitlines()
    )


def _line(key: KeyField) -> str:
    unset = key.default is None or key.default == "" or isinstance(key.default, tuple)
    default = "" if unset else f", {key.default} unless given"
    need = "required" if key.required else f"optional{default}"
    return f"* `{key.name}` ({need}; {key.expected}): {key.key.doc}"


def _listed(names: Iterable[str]) -> str:
    return ", ".join(f"`{name}`" for name in names)


if __name__ == "__main__":
    TARGET.write_text(text(), encoding="utf-8")
