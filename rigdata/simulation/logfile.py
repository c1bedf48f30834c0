"""Text logs in the dialect of a logger."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from rigdata.arrays import FloatArray


@dataclass(frozen=True)
class Dialect:
    """How a logger writes its text.

    Attributes
    ----------
    delimiter, decimal : str
        What parts the cells, and what parts the digits.
    preamble : bool
        Whether a block of facts about the run stands above the titles.
    time_title : str
        Title of the time column.
    titles : tuple of (channel, title)
        Titles of the channels, in the order of the columns.
    units : tuple of (unit, spelling)
        How units are spelt in the units row; others are written as they are.
    decimals : tuple of (channel, digits)
        Digits after the decimal mark.
    """

    delimiter: str
    decimal: str
    preamble: bool
    time_title: str
    titles: tuple[tuple[str, str], ...]
    units: tuple[tuple[str, str], ...]
    decimals: tuple[tuple[str, int], ...]


PLAIN = Dialect(
    delimiter=",",
    decimal=".",
    preamble=False,
    time_title="Time",
    titles=(
        ("torque", "Torque"),
        ("clamp_load", "Clamp load"),
        ("slip_speed", "Slip speed"),
        ("plate_temperature", "Plate TC"),
        ("reference_junction_temperature", "Junction"),
        ("oil_temperature", "Oil in"),
        ("pack_height", "Height"),
    ),
    units=(),
    decimals=(
        ("torque", 5),
        ("clamp_load", 5),
        ("slip_speed", 3),
        ("plate_temperature", 4),
        ("reference_junction_temperature", 2),
        ("oil_temperature", 2),
        ("pack_height", 4),
    ),
)

SEMICOLON = Dialect(
    delimiter=";",
    decimal=",",
    preamble=True,
    time_title="t",
    titles=(
        ("torque", "T1"),
        ("clamp_load", "F1"),
        ("slip_speed", "n slip"),
        ("plate_temperature", "TC plate"),
        ("reference_junction_temperature", "CJ"),
        ("oil_temperature", "Oil"),
    ),
    units=(("degC", "°C"), ("rpm", "1/min")),
    decimals=(
        ("torque", 4),
        ("clamp_load", 4),
        ("slip_speed", 2),
        ("plate_temperature", 3),
        ("reference_junction_temperature", 1),
        ("oil_temperature", 1),
    ),
)


def log_text(
    dialect: Dialect,
    time_s: FloatArray,
    readings: Mapping[str, FloatArray],
    units: Mapping[str, str],
    *,
    time_decimals: int,
    facts: Sequence[tuple[str, str]],
) -> str:
    """Return one log as text.

    Parameters
    ----------
    dialect : Dialect
        How to write it.
    time_s : (n,) array
        Time of each row. [s]
    readings : mapping of str to (n,) array
        Readings by channel; NaN becomes a blank cell.
    units : mapping of str to str
        Unit of each channel.
    time_decimals : int
        Digits of the time.
    facts : sequence of (name, value)
        What the preamble says, where the dialect has one.
    """
    titles = {name: title for name, title in dialect.titles if name in readings}
    spelt, decimals = dict(dialect.units), dict(dialect.decimals)
    columns = [_cells(time_s, time_decimals)]
    columns += [_cells(readings[name], decimals[name]) for name in titles]
    rows = "\n".join(map(dialect.delimiter.join, zip(*columns, strict=True)))
    head = [dialect.delimiter.join(fact) for fact in facts] if dialect.preamble else []
    head.append(dialect.delimiter.join([dialect.time_title, *titles.values()]))
    spellings = [spelt.get(units[name], units[name]) for name in titles]
    head.append(dialect.delimiter.join(["s", *spellings]))
    return "\n".join([*head, rows.replace(".", dialect.decimal)]) + "\n"


def _cells(values: FloatArray, decimals: int) -> list[str]:
    form = f"%.{decimals}f"
    # Rounding first and adding 0 turns a negative zero into a plain one.
    plain = (values.round(decimals) + 0.0).tolist()
    return [form % value if value == value else "" for value in plain]
