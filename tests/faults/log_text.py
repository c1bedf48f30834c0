"""A delimited log as text whose columns can be spoilt, every other byte left as it is."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np

# The titles of the virtual bench's two dialects.
TITLES = {
    "time": ("Time", "t"),
    "torque": ("Torque", "T1"),
    "clamp_load": ("Clamp load", "F1"),
    "slip_speed": ("Slip speed", "n slip"),
    "plate_temperature": ("Plate TC", "TC plate"),
    "reference_junction_temperature": ("Junction", "CJ"),
    "oil_temperature": ("Oil in", "Oil"),
}


@dataclass
class LogText:
    """The lines above the rows, and the cells of each row."""

    path: Path
    head: list[str]
    cells: list[list[str]]
    delimiter: str
    decimal: str
    places: dict[str, int]
    tail: str = "\n"

    @classmethod
    def read(cls, path: Path) -> LogText:
        """Read a log that the virtual bench wrote."""
        lines = path.read_text(encoding="utf-8").splitlines()
        known = {title: name for name, titles in TITLES.items() for title in titles}
        at = 0
        for line in lines:
            delimiter = ";" if ";" in line else ","
            names = [known.get(cell.strip()) for cell in line.split(delimiter)]
            if names[0] == "time":
                break
            at += 1
        places = {name: i for i, name in enumerate(names) if name}
        decimal = "," if delimiter == ";" else "."
        rows = [line.split(delimiter) for line in lines[at + 2 :]]
        return cls(path, lines[: at + 2], rows, delimiter, decimal, places)

    def __getitem__(self, name: str) -> np.ndarray:
        """The numbers of a column, NaN where blank."""
        at = self.places[name]
        texts = [row[at].replace(self.decimal, ".") for row in self.cells]
        return np.array([float(text) if text else np.nan for text in texts])

    def digits(self, name: str) -> int:
        """Digits after the decimal mark of a column."""
        at = self.places[name]
        texts = [row[at] for row in self.cells if self.decimal in row[at]]
        return len(re.split(re.escape(self.decimal), texts[0])[1]) if texts else 0

    def put(self, name: str, values: np.ndarray, where: np.ndarray, *, digits: int = 0) -> None:
        """Write numbers into the chosen rows of a column; NaN becomes a blank cell."""
        at, places = self.places[name], digits or self.digits(name)
        for i in np.flatnonzero(where):
            text = "" if np.isnan(values[i]) else f"{values[i]:.{places}f}"
            if abs(values[i]) > 1e20:
                text = f"{values[i]:.2E}"
            self.cells[i][at] = text.replace(".", self.decimal)

    def write(self) -> None:
        """Write the log back to its place."""
        rows = [self.delimiter.join(row) for row in self.cells]
        self.path.write_text("\n".join([*self.head, *rows]) + self.tail, encoding="utf-8")
