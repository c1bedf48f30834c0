"""Cuts through a table for readers of one or two dimensions."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from rigdata.arrays import FloatArray
from rigdata.tables.table import FIELDS, CoefficientTable


@dataclass(frozen=True, eq=False)
class Slice:
    """A matrix of a table, with what it is.

    Attributes
    ----------
    name : str
        A plain name, good in any language.
    words : str
        What its rows and columns are, and at what it is cut.
    matrix : (rows, columns) float
    """

    name: str
    words: str
    matrix: FloatArray


def pressure_slices(table: CoefficientTable) -> Iterator[Slice]:
    """Yield mu over slip speed and temperature, a matrix for each pressure.

    The first column of a matrix holds the slip speeds, its first row the temperatures.
    """
    mu = table.field("mu")
    for i, pressure in enumerate(table.pressure_mpa.tolist()):
        matrix = np.zeros((table.slip_speed_m_s.size + 1, table.temperature_c.size + 1))
        matrix[1:, 0], matrix[0, 1:] = table.slip_speed_m_s, table.temperature_c
        matrix[1:, 1:] = mu[:, :, i]
        words = f"rows slip speed [m/s], columns temperature [degC], mu at {pressure:g} MPa"
        yield Slice(f"mu_p{i + 1}", words, matrix)


def breakaway_slice(static: CoefficientTable) -> Slice:
    """Return mu of breakaway over temperature and pressure, at the reference dwell.

    The first column holds the temperatures, the first row the pressures.
    """
    mu, after = static.field("mu")[0], ""
    if static.dwell_s is not None:
        nearest = int(np.argmin(np.abs(static.dwell_s - static.reference[-1])))
        mu, after = mu[..., nearest], f" after {static.dwell_s[nearest]:g} s at rest"
    matrix = np.zeros((static.temperature_c.size + 1, static.pressure_mpa.size + 1))
    matrix[1:, 0], matrix[0, 1:], matrix[1:, 1:] = static.temperature_c, static.pressure_mpa, mu
    words = f"rows temperature [degC], columns pressure [MPa], mu of breakaway{after}"
    return Slice("mu_static", words, matrix)


def speed_line(table: CoefficientTable) -> Slice:
    """Return all fields over slip speed at the reference temperature and pressure.

    Columns: slip speed, then `FIELDS`, without those of one more pack where only one pack was
    tested.
    """
    speeds = table.slip_speed_m_s
    _, temperature, pressure = table.reference[:3]
    read = table.mu(speeds, temperature, pressure, outside="nearest")
    kept = speeds if not read.moved.any() else speeds[~read.moved]
    if not kept.size:  # the reference itself was not tested: the nearest line that was
        kept = np.unique(read.slip_speed_m_s)
    read = table.mu(kept, temperature, pressure, outside="nearest")
    fields = [name for name in FIELDS if np.isfinite(getattr(read, name)).all()]
    matrix = np.stack([read.slip_speed_m_s, *(getattr(read, name) for name in fields)], axis=1)
    words = (
        f"columns slip speed [m/s], {', '.join(fields)}, at {read.temperature_c[0]:g} degC and "
        f"{read.pressure_mpa[0]:g} MPa"
    )
    return Slice("speed_line", words, matrix)
