"""Ratios in and out of comparison.csv: one row a condition, the quoted one first."""

from __future__ import annotations

from collections.abc import Sequence
from io import StringIO
from pathlib import Path
from typing import Any

import pandas as pd

from rigdata.comparison.calibration_share import CalibrationShare
from rigdata.comparison.ratios import ARRAYS, Ratio
from rigdata.errors import Notice, ResultError, Severity
from rigdata.friction.conditions import AXES, Conditions
from rigdata.friction.results import Group
from rigdata.reduction.points_file import read_cell, written_cell
from rigdata.storage.files import read_whole

_NUMBERS = ("p_different", "p_equivalent", "margin")
_CALIBRATION = {
    "calibration_share": "share",
    "calibration_left": "left",
    "radius_law_share": "radius_law",
}
_TEXT = ("material", "state", "against_material", "against_state", "verdict", "words", "notices")
COLUMNS = (*_TEXT[:4], "place", *AXES, *ARRAYS, *_NUMBERS, *_CALIBRATION, *_TEXT[4:])
_MOST_BYTES = 500_000_000
_BETWEEN = " | "  # parts of a notice, and notices: neither holds it
_END = " || "


def ratios_frame(ratios: Sequence[Ratio]) -> pd.DataFrame:
    """Return the rows of comparison.csv; see `COLUMNS`.

    ``place`` names the condition that the verdict and the words are about, ``quoted``,
    and those that are cold and hot there.
    """
    tables = [_rows(ratio) for ratio in ratios]
    return pd.concat(tables, ignore_index=True) if tables else pd.DataFrame(columns=list(COLUMNS))


def ratios_text(ratios: Sequence[Ratio]) -> str:
    """Return comparison.csv; numbers read back to the last bit."""
    text: str = ratios_frame(ratios).to_csv(index=False, lineterminator="\n")
    return text


def read_ratios(path: Path) -> tuple[Ratio, ...]:
    """Read a comparison.csv.

    Raises
    ------
    ResultError
        When the file is missing, lacks a column or holds something else.
    """
    try:
        table = pd.read_csv(
            StringIO(read_whole(path, _MOST_BYTES).decode("utf-8-sig")),
            dtype=str,
            keep_default_na=False,
        )
    except (OSError, UnicodeDecodeError, pd.errors.ParserError, pd.errors.EmptyDataError) as error:
        raise ResultError(f"cannot be read ({error})", where=str(path)) from error
    missing = [name for name in COLUMNS if name not in table]
    if missing:
        raise ResultError(
            f"lacks the columns {', '.join(missing)}",
            where=str(path),
            do="Compare the groups again",
        )
    groups = table.groupby(list(_TEXT[:4]), sort=False)
    try:
        return tuple(_ratio(rows) for _, rows in groups)
    except (ValueError, KeyError) as error:
        raise ResultError(
            f"a row is wrong ({error})", where=str(path), do="Compare the groups again"
        ) from error


def _rows(ratio: Ratio) -> pd.DataFrame:
    count = len(ratio.conditions)
    table: dict[str, Any] = {
        "material": written_cell(ratio.group.material),
        "state": written_cell(ratio.group.state),
        "against_material": written_cell(ratio.against.material),
        "against_state": written_cell(ratio.against.state),
        "place": [*ratio.named, *[""] * (count - len(ratio.named))],
        **{name: getattr(ratio.conditions, name) for name in AXES},
        **{name: getattr(ratio, name) for name in (*ARRAYS, *_NUMBERS)},
        **{column: getattr(ratio.calibration, name) for column, name in _CALIBRATION.items()},
        "verdict": ratio.verdict,
        "words": written_cell(ratio.words),
        "notices": _END.join(
            _BETWEEN.join((n.severity.value, n.where, n.what, n.do)) for n in ratio.notices
        ),
    }
    return pd.DataFrame(table, columns=list(COLUMNS))


def _ratio(rows: pd.DataFrame) -> Ratio:
    first = rows.iloc[0]
    notices = []
    for text in filter(None, str(first["notices"]).split(_END)):
        severity, *rest = text.split(_BETWEEN)
        notices.append(Notice(Severity(severity), *rest))
    values: dict[str, Any] = {name: rows[name].to_numpy(dtype=float) for name in ARRAYS}
    values |= {name: float(first[name]) for name in _NUMBERS}
    return Ratio(
        group=Group(read_cell(first["material"]), read_cell(first["state"])),
        against=Group(read_cell(first["against_material"]), read_cell(first["against_state"])),
        conditions=Conditions(*(rows[name].to_numpy(dtype=float) for name in AXES)),
        named=tuple(filter(None, rows["place"].tolist())),
        **values,
        verdict=first["verdict"],
        words=read_cell(first["words"]),
        calibration=CalibrationShare(
            **{name: float(first[column]) for column, name in _CALIBRATION.items()}
        ),
        notices=tuple(notices),
    )
