"""How a logger writes a number, and what it writes when it has none."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence

# What loggers write for no reading; compared without case and without padding.
MISSING_TOKENS = (
    "",
    "nan",
    "-nan",
    "nan()",
    "nan(ind)",
    "-nan(ind)",
    "n/a",
    "na",
    "#n/a",
    "#nv",
    "null",
    "none",
    "nil",
    "missing",
    "invalid",
    "open",
    "no data",
    "?",
    ".",
    "-",
    "--",
    "---",
    "----",
    "-----",
    "-.-",
    "--.-",
    "--.--",
    "---.-",
    "---.--",
    "--,--",
    "-,-",
    "1.#qnan",
    "-1.#qnan",
    "1.#ind",
    "-1.#ind",
    "1.#snan",
)

# What loggers write for a reading beyond their range, likewise.
OVERRANGE_TOKENS = (
    "overrange",
    "over range",
    "over-range",
    "underrange",
    "under range",
    "under-range",
    "overflow",
    "underflow",
    "#overflow",
    "overload",
    "over",
    "under",
    "+over",
    "-over",
    "ovr",
    "+ovr",
    "-ovr",
    "ovrflw",
    "ovf",
    "ovfl",
    "ovl",
    "ovld",
    "ol",
    "+ol",
    "-ol",
    "o.l.",
    "udr",
    "unr",
    "sat",
    "saturated",
    "clip",
    "clipped",
    "inf",
    "+inf",
    "-inf",
    "infinity",
    "+infinity",
    "-infinity",
    "1.#inf",
    "+1.#inf",
    "-1.#inf",
    "#inf",
    "+++",
    "++++",
    "+++++",
    "^^^^",
    ">>>>",
    "<<<<",
)
_MISSING, _OVERRANGE = frozenset(MISSING_TOKENS), frozenset(OVERRANGE_TOKENS)
_FILLED = re.compile(r"\*{2,}|#{3,}")  # a number that did not fit its field

_POINT = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_COMMA = re.compile(r"[+-]?(?:[0-9]+(?:,[0-9]*)?|,[0-9]+)(?:[eE][+-]?[0-9]+)?")
_EITHER = re.compile(f"{_POINT.pattern}|{_COMMA.pattern}")
_PATTERNS = {".": _POINT, ",": _COMMA, None: _EITHER}
_FIRST = frozenset("+-.,0123456789")
_EXPONENT = re.compile(r"[eE][+]?[0-9]{3,}$")
_MARK = r"[.,' \u00a0\u202f]"
# Cells of a column, each on a line of its own, where a mark separates thousands.
_THOUSANDS = re.compile(
    rf"""^[+-]?(?:
        [0-9]+(?:\.[0-9]+,|,[0-9]+\.)[0-9]*
        |[1-9][0-9]{{0,2}}(?:(?![.,]){_MARK}[0-9]{{3}}|(?:{_MARK}[0-9]{{3}}){{2}})
         (?:{_MARK}[0-9]{{3}})*(?:[.,][0-9]*)?
    )$""",
    re.MULTILINE | re.VERBOSE,
)
_ONE_GROUP = re.compile(r"[+-]?[1-9][0-9]{0,2}([.,])[0-9]{3}")
_WHOLE = re.compile(r"[+-]?[0-9]{1,3}")


def is_number(cell: str, decimal: str | None = None) -> bool:
    """Tell whether `cell` is a number with this decimal mark; None allows either."""
    return cell[:1] in _FIRST and _PATTERNS[decimal].fullmatch(cell) is not None


def is_missing(cell: str) -> bool:
    """Tell whether `cell` says that there is no reading."""
    return cell.casefold() in _MISSING


def is_overrange(cell: str) -> bool:
    """Tell whether `cell` says that the reading is beyond the range, such as ``1e400``."""
    if cell.casefold() in _OVERRANGE or _FILLED.fullmatch(cell):
        return True
    huge = _EXPONENT.search(cell) and is_number(cell)
    return bool(huge) and math.isinf(float(cell.replace(",", ".")))


def missing_spellings() -> list[str]:
    """Return the missing tokens in the spellings that loggers use, for a parser's own list."""
    plain = set(MISSING_TOKENS)
    return sorted(plain | {t.upper() for t in plain} | {t.capitalize() for t in plain} | {"NaN"})


def decimal_mark(columns: Iterable[Sequence[str]]) -> str:
    """Return the decimal mark of a table from its cells, ``.`` where every cell is whole.

    Parameters
    ----------
    columns : iterable of sequences of str
        Cells of each column, stripped.

    Raises
    ------
    ValueError
        With what makes it doubtful, where both marks could be the decimal one or
        a mark separates thousands.
    """
    point = comma = ""
    for cells in columns:
        _refuse_thousands(cells)
        for cell in cells:
            if not comma and "," in cell and _COMMA.fullmatch(cell):
                comma = cell
            elif not point and "." in cell and _POINT.fullmatch(cell):
                point = cell
    if point and comma:
        raise ValueError(f"'{point}' has a decimal point and '{comma}' a decimal comma")
    return "," if comma else "."


def _refuse_thousands(cells: Sequence[str]) -> None:
    """Raise where a column looks as if a mark stood between the thousands.

    ``1.234,5`` and ``1,234,567`` do.  So do 998, 999, 1.000: whole numbers
    below a thousand, and above it only numbers with one group of three digits.
    """
    grouped = _THOUSANDS.search("\n".join(cells))
    if grouped:
        raise ValueError(f"'{grouped[0]}' is written with a mark between the thousands")
    marked = [cell for cell in cells if "." in cell or "," in cell]
    if not marked or not all(_ONE_GROUP.fullmatch(cell) for cell in marked):
        return
    whole = [cell for cell in cells if _WHOLE.fullmatch(cell)]
    if whole and any(int(cell) != 0 for cell in whole):
        raise ValueError(
            f"'{marked[0]}' beside '{whole[0]}' could be a thousand or a number with three decimals"
        )
