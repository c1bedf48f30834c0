"""The descriptor of a table's folder: datapackage.json.

The open Tabular Data Package form (profile version 1): what each column means,
its unit, and the hash of each file.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from rigdata.friction.conditions import ALL_AXES
from rigdata.quantities import QUANTITIES
from rigdata.storage.files import sha256
from rigdata.storage.json_files import write_json
from rigdata.tables import csv_table, json_table
from rigdata.tables.exporter import Exporter
from rigdata.tables.folders import folder_names
from rigdata.tables.rows import column_names
from rigdata.tables.table import CoefficientTable

FILE = "datapackage.json"

_WORDS = {
    "mu": "Friction coefficient of the material's mean",
    "u_mu": "Standard uncertainty of mu (coverage factor 1)",
    "mean_low": "Lower end of the interval for the material's mean",
    "mean_high": "Upper end of the interval for the material's mean",
    "next_pack_low": "Lower end of the interval for one more pack; blank when one pack was tested",
    "next_pack_high": "Upper end of the interval for one more pack; blank when one pack was tested",
    "inside_envelope": "Whether the condition lies inside the envelope that was tested",
}


def write(table: CoefficientTable, folder: Path) -> tuple[Path, ...]:
    """Write datapackage.json for the files of the table that are in `folder`."""
    names = folder_names([f"{table.material} {table.state}"]).values()
    tables = {csv_table.KINETIC: (table, f"Kinetic friction coefficient of {table.material}")}
    if table.static is not None:
        words = f"Breakaway friction coefficient of {table.material}"
        tables[csv_table.STATIC] = table.static, words
    resources = [
        _rows(folder / name, words, own)
        for name, (own, words) in tables.items()
        if (folder / name).exists()
    ]
    content = {
        "profile": "tabular-data-package",
        "name": f"friction-{next(iter(names))}".lower(),
        "title": f"Friction coefficients of {table.material}, {table.state}",
        "version": str(table.provenance.get("version", "")),
        "resources": resources,
        # Not a table, so not a resource of this profile; the hash lets a reader check it.
        "complete": {"path": json_table.FILE, "hash": f"sha256:{sha256(folder / json_table.FILE)}"},
    }
    write_json(folder / FILE, content)
    return (folder / FILE,)


def stated_hashes(content: dict[str, Any]) -> dict[str, str]:
    """Return the SHA-256 that datapackage.json states for each file."""
    resources = content.get("resources")
    entries = [*(resources if isinstance(resources, list) else []), content.get("complete")]
    return {
        str(entry["path"]): str(entry["hash"]).removeprefix("sha256:")
        for entry in entries
        if isinstance(entry, dict) and "path" in entry and "hash" in entry
    }


EXPORTER = Exporter("datapackage", "open descriptor of the folder", write)


def _rows(path: Path, words: str, table: CoefficientTable) -> dict[str, Any]:
    return {
        "profile": "tabular-data-resource",
        "name": path.stem,
        "path": path.name,
        "title": words,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": path.stat().st_size,
        "hash": f"sha256:{sha256(path)}",
        "dialect": {"delimiter": ",", "header": True, "lineTerminator": "\n"},
        "schema": {
            "fields": [_field(name) for name in column_names(table)],
            "primaryKey": list(table.axis_names),
            "missingValues": [""],
        },
    }


def _field(name: str) -> dict[str, Any]:
    if name in ALL_AXES:
        quantity = QUANTITIES[name]
        return {
            "name": name,
            "type": "number",
            "title": quantity.words,
            "description": f"{quantity.words}, in {quantity.unit}",
            "unit": quantity.unit,
            "constraints": {"required": True},
        }
    field: dict[str, Any] = {"name": name, "description": _WORDS[name]}
    if name == "inside_envelope":
        truths = {"trueValues": ["true"], "falseValues": ["false"]}
        return {**field, "type": "boolean", **truths, "constraints": {"required": True}}
    required = not name.startswith("next_pack")
    return {**field, "type": "number", "unit": "1", "constraints": {"required": required}}
