"""Friction points in and out of ``points.csv`` and ``budget.csv``.

Both files are plain comma-separated text in UTF-8 with one header line.
Numbers are written so that they read back to the last bit.  Names read back
as text, so ``007`` and ``NA`` stay what they are.

A name that a spreadsheet would take for a formula (it starts with ``=``,
``+``, ``-`` or ``@``) is written with an apostrophe before it, and so is a
name that starts with an apostrophe; reading takes one apostrophe off again.

Files made by hand are welcome: `OPTIONAL` columns may be left out, and in
``budget.csv`` so may the shifts of the conditions (none), ``effect`` (sources of
scope rig and pack then scale with mu, those of scope run and point do not),
``label``, ``distribution`` (normal) and ``dof`` (degrees of freedom; blank where
the uncertainty was stated).
"""

from __future__ import annotations

import csv
import difflib
import enum
import math
from collections.abc import Mapping, Sequence
from io import StringIO
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse

from rigdata.arrays import BoolArray, FloatArray, TextArray
from rigdata.errors import ResultError
from rigdata.reduction.points import BEYOND, SHIFTED, FrictionPoints, column_names
from rigdata.storage.files import read_whole
from rigdata.uncertainty.sources import Distribution, Effect, Scope, Source

POINTS_FILE = "points.csv"
BUDGET_FILE = "budget.csv"

TEXT = ("point", "run", "pack", "material", "batch", "state", "procedure", "kind", "method",
        "direction", "reason")  # fmt: skip
OPTIONAL = {  # a blank cell of a number column reads as NaN
    "u_mu": "",
    "service_hours": "",
    "procedure": "steady",
    "method": "ratio",
    "direction": "-",
    "n_samples": "1",
    "n_effective": "1",
    "start_s": "",
    "end_s": "",
    "used": "true",
    "reason": "",
    "dwell_s": "",
    **dict.fromkeys(BEYOND, ""),
}
BUDGET_OPTIONAL = {"effect": "", "label": "", "distribution": "normal", "dof": ""}
BUDGET_COLUMNS = ("point", "source", "scope", "contribution", *BUDGET_OPTIONAL, *SHIFTED)
_MOST = 1e6  # beyond any bench, and its fourth power is still a number
_NEEDED = {
    "slip_speed_m_s": (0.0, _MOST),
    "temperature_c": (-273.15, _MOST),
    "pressure_mpa": (1e-9, _MOST),  # laws take its logarithm
    "mu": (-_MOST, _MOST),
    "u_random": (0.0, _MOST),
    "n_samples": (0.0, 2.0**53),  # whole numbers in a double
}
_MOST_BESIDE = 1e12  # times and work, which may be blank
_DERIVED_TOLERANCE = 1e-6  # u_mu in the file against its parts; catches files that do not belong
_MOST_BYTES = 4_000_000_000
_LONGEST_NAME = 500  # a column of text takes as much for each row as for its longest
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def points_columns() -> tuple[str, ...]:
    """Return the columns of points.csv in their order."""
    last = ("dwell_s", *BEYOND)
    names = [name for name in column_names() if name not in last]
    names.insert(names.index("u_random"), "u_mu")
    return (*names, *last)


def written_cell(text: str) -> str:
    """Return `text` as written to a CSV cell, never a spreadsheet formula.

    Examples
    --------
    >>> written_cell("=A1"), written_cell("-"), written_cell("plain")
    ("'=A1", '-', 'plain')
    """
    formula = len(text) > 1 and text.startswith(_FORMULA_STARTS)
    return f"'{text}" if formula or text.startswith("'") else text


def read_cell(cell: str) -> str:
    """Return the name that `written_cell` wrote."""
    return cell.removeprefix("'")


def points_text(points: FrictionPoints) -> str:
    """Return the text of points.csv."""
    table = points.frame()[list(points_columns())].copy()
    for name in TEXT:
        table[name] = [written_cell(str(cell)) for cell in getattr(points, name)]
    table["used"] = np.where(points.used, "true", "false")
    return str(table.to_csv(index=False, lineterminator="\n"))


def budget_text(points: FrictionPoints) -> str:
    """Return the text of budget.csv: one row a point and source."""
    touched = sum(
        (abs(matrix) for matrix in points.influences), sparse.csr_array(points.contributions.shape)
    )
    rows, columns = sparse.coo_array(touched).coords
    order = np.lexsort((columns, rows))
    rows, columns = rows[order], columns[order]
    sources = [points.sources[i] for i in columns]
    contribution, *shifts = (
        np.reshape(matrix[rows, columns] if rows.size else [], rows.size)
        for matrix in points.influences
    )
    table = pd.DataFrame(
        {
            "point": [written_cell(str(name)) for name in points.point[rows]],
            "source": [written_cell(source.id) for source in sources],
            "scope": [source.scope.value for source in sources],
            "contribution": contribution,
            "effect": [source.effect.value for source in sources],
            "label": [written_cell(source.label) for source in sources],
            "distribution": [source.distribution.value for source in sources],
            "dof": [source.dof if math.isfinite(source.dof) else None for source in sources],
            **dict(zip(SHIFTED, shifts, strict=True)),
        }
    )
    return str(table.to_csv(index=False, lineterminator="\n"))


def read_points(points_path: Path, budget_path: Path) -> FrictionPoints:
    """Read friction points and their sources.

    Raises
    ------
    ResultError
        When a file is missing, a column is missing or unknown, a cell does not
        read, or the two files do not belong together.
    """
    cells = _read_cells(points_path, points_columns(), OPTIONAL)
    columns: dict[str, NDArray[Any]] = {}
    for name in points_columns():
        kind = _texts if name in TEXT else _truths if name == "used" else _numbers
        columns[name] = kind(name, cells[name], points_path)
    names = columns["point"]
    _no_repeats(names.tolist(), points_path, "point")
    _check_usable(columns, points_path)
    columns["n_samples"] = columns["n_samples"].astype(np.int64)
    stated = columns.pop("u_mu")
    sources, (contributions, *shifts) = _read_budget(budget_path, names)
    points = FrictionPoints(
        **columns, sources=sources, contributions=contributions, condition_shifts=tuple(shifts)
    )
    _check_belongs(points, stated, points_path, budget_path)
    return points


def _read_budget(
    path: Path, points: TextArray
) -> tuple[tuple[Source, ...], tuple[sparse.csr_array, ...]]:
    cells = _read_cells(path, BUDGET_COLUMNS, BUDGET_OPTIONAL | dict.fromkeys(SHIFTED, "0"))
    amounts = [_numbers(name, cells[name], path) for name in ("contribution", *SHIFTED)]
    bad = ~(np.abs(amounts) <= _MOST).all(axis=0)
    if bad.any():
        line = int(np.flatnonzero(bad)[0]) + 2
        raise ResultError(
            "a contribution is no usable number",
            where=f"{path.name}, line {line}",
            expected=f"a number of at most {_MOST:g}",
        )
    row_of = {str(name): i for i, name in enumerate(points)}
    names = [read_cell(cell) for cell in cells["point"]]
    ids = [read_cell(cell) for cell in cells["source"]]
    _no_repeats(list(zip(names, ids, strict=True)), path, "point and source")
    sources: dict[str, Source] = {}
    texts = zip(*(cells[name] for name in ("scope", *BUDGET_OPTIONAL)), strict=True)
    for line, (name, source_id, text) in enumerate(zip(names, ids, texts, strict=True), start=2):
        where = f"{path.name}, line {line}"
        if name not in row_of:
            raise ResultError(f"point '{name}' is not in {POINTS_FILE}", where=where)
        source = _source(source_id, *text, where=where)
        if sources.setdefault(source_id, source) != source:
            raise ResultError(
                f"source '{source_id}' is described in two ways",
                where=where,
                expected="the same scope, effect and label on every line of a source",
            )
    column_of = {source_id: i for i, source_id in enumerate(sources)}
    at = ([row_of[name] for name in names], [column_of[source_id] for source_id in ids])
    shape = (points.size, len(sources))
    matrices = tuple(sparse.csr_array((values, at), shape=shape) for values in amounts)
    return tuple(sources.values()), matrices


def _source(
    source_id: str, scope: str, effect: str, label: str, distribution: str, dof: str, *, where: str
) -> Source:
    try:
        reach = Scope(scope)
        freedom = float(dof) if dof else math.inf
        if not freedom > 0.0:
            raise ValueError(f"{dof} degrees of freedom")
        effect = effect or ("proportional" if reach in (Scope.RIG, Scope.PACK) else "additive")
        return Source(
            source_id,
            reach,
            Effect(effect),
            read_cell(label) or source_id,
            Distribution(distribution or "normal"),
            freedom,
        )
    except ValueError as fault:
        raise ResultError(
            f"source '{source_id}': {fault}",
            where=where,
            expected=f"scope one of {_values(Scope)}; effect one of {_values(Effect)} or blank; "
            f"distribution one of {_values(Distribution)} or blank; dof a number or blank",
        ) from fault


def _values(choices: type[enum.Enum]) -> str:
    return ", ".join(str(choice.value) for choice in choices)


def _read_cells(
    path: Path, columns: tuple[str, ...], optional: Mapping[str, str]
) -> dict[str, list[str]]:
    """Read every cell as text, check the header and fill in what may be left out."""
    try:
        text = read_whole(path, _MOST_BYTES).decode("utf-8-sig")
        rows = [row for row in csv.reader(StringIO(text, newline=""), strict=True) if row]
    except (OSError, UnicodeDecodeError, csv.Error) as fault:
        reason = getattr(fault, "strerror", None) or fault
        raise ResultError(
            f"cannot be read ({reason})", where=str(path), do="Run 'rigdata reduce' to make it."
        ) from fault
    if not rows:
        raise ResultError("is empty", where=path.name, expected="a header line")
    header = rows.pop(0)
    _no_repeats(header, path, "column")
    for name in header:
        if name not in columns:
            near = difflib.get_close_matches(name, columns, n=1)
            raise ResultError(
                f"column '{name}' is unknown",
                where=path.name,
                expected=f"'{near[0]}'" if near else "one of " + ", ".join(columns),
            )
    missing = [name for name in columns if name not in header and name not in optional]
    if missing:
        raise ResultError(f"no column {', '.join(missing)}", where=path.name)
    for line, row in enumerate(rows, start=2):
        if len(row) != len(header):
            raise ResultError(
                f"{len(row)} cells under {len(header)} column names",
                where=f"{path.name}, line {line}",
            )
    cells = {name: [row[i] for row in rows] for i, name in enumerate(header)}
    return {name: cells.get(name, [optional.get(name, "")] * len(rows)) for name in columns}


def _texts(name: str, cells: list[str], path: Path) -> TextArray:
    long = next((i for i, cell in enumerate(cells) if len(cell) > _LONGEST_NAME), None)
    if long is not None:
        raise ResultError(
            f"a cell in column '{name}' holds {len(cells[long])} characters",
            where=f"{path.name}, line {long + 2}",
            expected=f"at most {_LONGEST_NAME}",
        )
    return np.array([read_cell(cell) for cell in cells], dtype=np.str_)


def _numbers(name: str, cells: list[str], path: Path) -> FloatArray:
    numbers = np.full(len(cells), np.nan)
    for i, cell in enumerate(cells):
        try:
            numbers[i] = float(cell) if cell else np.nan
        except ValueError as fault:
            raise ResultError(
                f"'{cell}' in column '{name}' is no number",
                where=f"{path.name}, line {i + 2}",
                expected="a number with a decimal point",
            ) from fault
    return numbers


def _truths(name: str, cells: list[str], path: Path) -> BoolArray:
    words = {"true": True, "false": False, "1": True, "0": False}
    for line, cell in enumerate(cells, start=2):
        if cell.casefold() not in words:
            raise ResultError(
                f"'{cell}' in column '{name}' is neither true nor false",
                where=f"{path.name}, line {line}",
            )
    return np.array([words[cell.casefold()] for cell in cells], dtype=np.bool_)


def _check_usable(columns: Mapping[str, NDArray[Any]], path: Path) -> None:
    for name, values in columns.items():
        if values.dtype.kind != "f":
            continue
        needed = name in _NEEDED
        low, high = _NEEDED.get(name, (-_MOST_BESIDE, _MOST_BESIDE))
        bad = ~((values >= low) & (values <= high)) & (needed | ~np.isnan(values))
        if bad.any():
            i = int(np.flatnonzero(bad)[0])
            raise ResultError(
                f"column '{name}' has no usable number for point {columns['point'][i]}",
                where=f"{path.name}, line {i + 2}",
                expected=f"a number from {low:g} to {high:g}" + ("" if needed else ", or a blank"),
                do="Correct the cell, or delete the row.",
            )

    still = (columns["kind"] == "kinetic") & (columns["slip_speed_m_s"] == 0.0)
    if still.any():
        i = int(np.flatnonzero(still)[0])
        raise ResultError(
            f"point {columns['point'][i]} is kinetic, but its slip speed is 0",
            where=f"{path.name}, line {i + 2}",
            expected="a slip speed above 0, or kind 'static' for a breakaway",
        )


def _no_repeats(keys: Sequence[object], path: Path, what: str) -> None:
    seen: set[object] = set()
    for line, key in enumerate(keys, start=2):
        if key in seen:
            raise ResultError(f"{what} {key} stands twice", where=f"{path.name}, line {line}")
        seen.add(key)


def _check_belongs(
    points: FrictionPoints, stated: FloatArray, points_path: Path, budget_path: Path
) -> None:
    off = np.abs(stated - points.u_mu) > _DERIVED_TOLERANCE * points.u_mu
    if off.any():
        i = int(np.flatnonzero(off)[0])
        raise ResultError(
            f"u_mu of point {points.point[i]} is {stated[i]:.3g}, but u_random and its lines in "
            f"{budget_path.name} combine to {points.u_mu[i]:.3g}",
            where=points_path.name,
            expected="two files of one reduction",
            do="Delete the column u_mu to have it worked out from its parts.",
        )
