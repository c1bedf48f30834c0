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
