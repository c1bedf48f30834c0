"""The table as one JSON file, complete: coefficients.json.

Its form is published in ``rigdata/tables/coefficients.schema.json``.
"""

from __future__ import annotations

import importlib.resources
import json
from pathlib import Path
from typing import Any

import numpy as np

from rigdata.errors import TableError
from rigdata.friction.conditions import ALL_AXES
from rigdata.friction.envelope import Envelope
from rigdata.quantities import QUANTITIES
from rigdata.storage.json_files import write_json
from rigdata.tables.exporter import Exporter
from rigdata.tables.table import FIELDS, CoefficientTable, TableParameter

FILE = "coefficients.json"
FORMAT = 1


def schema() -> dict[str, Any]:
    """Return the published JSON Schema of coefficients.json."""
    text = importlib.resources.files("rigdata.tables").joinpath("coefficients.schema.json")
    content: dict[str, Any] = json.loads(text.read_text(encoding="utf-8"))
    return content


def as_json(table: CoefficientTable) -> dict[str, Any]:
    """Return what coefficients.json holds; NaN becomes null."""
    content: dict[str, Any] = {
        "format": FORMAT,
        "material": table.material,
        "state": table.state,
        "kinetic": _surface(table),
        "provenance": dict(table.provenance),
    }
    if table.static is not None:
        content["static"] = _surface(table.static)
    return content


def from_json(content: Any, *, where: str) -> CoefficientTable:
    """Return the table that coefficients.json holds.

    Raises
    ------
    TableError
        When the content is no such table; the message says what is amiss.
    """
    if not isinstance(content, dict) or content.get("format") != FORMAT:
        raise TableError("is no coefficient table", where=where, expected=f"format {FORMAT}")
    try:
        static = content.get("static")
        breakaway = None if static is None else _table(content, "static", None)
        return _table(content, "kinetic", breakaway)
    except (KeyError, TypeError, ValueError) as fault:
        what = f"no {fault}" if isinstance(fault, KeyError) else str(fault)
        raise TableError(
            f"is damaged ({what})", where=where, do="Write the table again with rigdata tables."
        ) from fault


def write(table: CoefficientTable, folder: Path) -> tuple[Path, ...]:
    """Write coefficients.json."""
    write_json(folder / FILE, as_json(table))
    return (folder / FILE,)


EXPORTER = Exporter("json", "one complete JSON file", write)


def _surface(table: CoefficientTable) -> dict[str, Any]:
    arrays: dict[str, Any] = {
        name: _nulls(values.tolist()) for name, values in zip(FIELDS, table.nodes, strict=True)
    }
    arrays["inside_envelope"] = table.inside_envelope.tolist()
    surface: dict[str, Any] = {
        "axes": [
            {"name": name, "unit": QUANTITIES[name].unit, "values": nodes.tolist()}
            for name, nodes in zip(table.axis_names, table.axes, strict=True)
        ],
        "arrays": arrays,
        "law": table.law,
        "parameters": [
            {"name": p.name, "value": p.value, "u": p.u, "unit": p.unit, "meaning": p.meaning}
            for p in table.parameters
        ],
        "reference": dict(zip(table.axis_names, table.reference, strict=True)),
        "envelope": table.envelope.to_dict(),
        "interpolation": {
            "method": "linear",
            "tolerance": table.tolerance,
            "error": table.error,
            "outside": "refuse",
        },
    }
    if table.causes:
        surface["components"] = [
            {"cause": cause, "values": values.tolist()}
            for cause, values in zip(table.causes, table.components, strict=True)
        ]
    return surface


def _table(content: dict[str, Any], kind: str, static: CoefficientTable | None) -> CoefficientTable:
    surface = content[kind]
    axes = {axis["name"]: np.array(axis["values"], np.float64) for axis in surface["axes"]}
    arrays = surface["arrays"]
    reference = surface["reference"]
    parts = surface.get("components", [])
    return CoefficientTable(
        material=str(content["material"]),
        state=str(content["state"]),
        kind=kind,
        **axes,
        nodes=np.array([_numbers(arrays[name]) for name in FIELDS], dtype=np.float64),
        inside_envelope=np.array(arrays["inside_envelope"], dtype=np.bool_),
        law=str(surface["law"]),
        parameters=tuple(TableParameter(**parameter) for parameter in surface["parameters"]),
        reference=tuple(float(reference[name]) for name in ALL_AXES if name in axes),
        envelope=Envelope.from_dict(surface["envelope"]),
        tolerance=float(surface["interpolation"]["tolerance"]),
        error=float(surface["interpolation"]["error"]),
        provenance=content["provenance"],
        static=static,
        causes=tuple(str(part["cause"]) for part in parts),
        components=np.array([part["values"] for part in parts], dtype=np.float64),
    )


def _nulls(values: Any) -> Any:
    if isinstance(values, list):
        return [_nulls(value) for value in values]
    return None if values != values else values  # NaN alone differs from itself


def _numbers(values: Any) -> Any:
    if isinstance(values, list):
        return [_numbers(value) for value in values]
    return np.nan if values is None else values
