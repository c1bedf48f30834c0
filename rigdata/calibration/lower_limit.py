"""How low a sensor may be read, and which degree its curve needs.

The lower limit factor and the classes AA and A are those of ASTM E74, the
formulas from memory: ``s = sqrt(sum(d^2) / (n - m - 1))`` about a polynomial of
degree m, ``LLF = 2.4 s``, and 2000 or 400 times that as the lowest load.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from rigdata.arrays import FloatArray
from rigdata.calibration.least_squares import fit_polynomial
from rigdata.calibration.series import SeriesTable
from rigdata.campaign.records import CalibrationRecord

LIMIT_FACTOR = 2.4
CLASS_FACTORS = {"AA": 2000.0, "A": 400.0}
SOURCE = "ASTM E74, formulas from memory"
MOST_DEGREE = 3
SIGNIFICANCE = 0.05


@dataclass(frozen=True)
class LowerLimit:
    """The lower limit factor of a record.

    Attributes
    ----------
    degree : int
        Degree of the polynomial, deflection on load; that of the record.
    s_deflection : float
        Residual standard deviation. [indicated unit]
    points : int
        Loaded readings that it comes from, rising and falling ones alike.
    ratio : float
        Mean of load over deflection, over all those readings, by which a
        deflection becomes a load.  (At full load the local slope may be some
        percent steeper: 2 % on the load cell of the NIST dataset Pontius.)
        [applied unit / indicated unit]
    """

    degree: int
    s_deflection: float
    points: int
    ratio: float

    @property
    def deflection(self) -> float:
        """Lower limit factor, ``2.4 s``. [indicated unit]"""
        return LIMIT_FACTOR * self.s_deflection

    @property
    def load(self) -> float:
        """Lower limit factor as a load, by the mean ratio. [applied unit]"""
        return self.deflection * abs(self.ratio)

    def lowest_load(self, name: str) -> float:
        """Return the lowest load of class `name`, ``AA`` or ``A``. [applied unit]"""
        return CLASS_FACTORS[name] * self.load


@dataclass(frozen=True)
class DegreeTrial:
    """A polynomial of one degree against that of one degree less.

    Attributes
    ----------
    degree : int
        Its degree.
    s : float
        Its residual standard deviation, in the unit of y.
    f : float
        ``(SSR_(m-1) - SSR_m) / (SSR_m / (n - m - 1))``, the extra sum of
        squares; NaN for degree 1.
    p : float
        Probability of an F so large where the term is not needed.
    """

    degree: int
    s: float
    f: float
    p: float

    @property
    def needed(self) -> bool:
        """Whether the term of this degree is significant at 5 %."""
        return self.p < SIGNIFICANCE


@dataclass(frozen=True)
class DegreeChoice:
    """Which degree a record's points ask for.

    Attributes
    ----------
    stated : int
        Degree that the record states.
    advised : int
        Highest degree tried whose term is significant at 5 %, else 1.
    trials : tuple of DegreeTrial
        What was tried, from degree 1 on.
    """

    stated: int
    advised: int
    trials: tuple[DegreeTrial, ...]

    @property
    def words(self) -> str:
        """The advice in a sentence; empty where the stated degree is the advised one."""
        if self.stated == self.advised:
            return ""
        deciding = self.trials[max(self.stated, self.advised) - 1]
        verb = "adds" if self.advised > self.stated else "does not add"
        return (
            f"degree {self.stated} is stated, degree {self.advised} is advised: the term of "
            f"degree {deciding.degree} {verb} to the fit (F {deciding.f:.3g}, p {deciding.p:.2g})"
        )


def lower_limit(record: CalibrationRecord, table: SeriesTable) -> LowerLimit | None:
    """Return the lower limit factor of a record, None where too few points leave none.

    Parameters
    ----------
    record : CalibrationRecord
        The record.
    table : SeriesTable
        Its series side by side; deflections are above each series' own zero.

    Notes
    -----
    The standard fits rising loads where an instrument is read so; a rig reads
    both ways, so falling loads are in the fit and their hysteresis in the limit.
    """
    deflection = np.concatenate([table.up, table.down])
    loads = np.broadcast_to(table.loads, deflection.shape)
    seen = np.isfinite(deflection)
    x, y = loads[seen], deflection[seen]
    if np.unique(x).size < record.degree + 1 or x.size < record.degree + 2 or np.any(y == 0.0):
        return None
    fit = fit_polynomial(x, y, record.degree)
    return LowerLimit(record.degree, fit.s, x.size, float(np.mean(x / y)))


def choose_degree(
    x: ArrayLike, y: ArrayLike, stated: int, *, most: int = MOST_DEGREE
) -> DegreeChoice:
    """Choose the degree of y on x by the extra sum of squares.

    Parameters
    ----------
    x, y : (n,) array
        Points; for a calibration curve the indicated and the applied values.
    stated : int
        Degree in use.
    most : int
        Highest degree to try, no less than `stated`; above it there must be
        points left.

    Returns
    -------
    DegreeChoice

    Notes
    -----
    The highest significant term decides, not the first that is not: a sensor
    may need its cubic term and no quadratic one.
    """
    xs, ys = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    trials = [_trial(xs, ys, degree) for degree in range(1, max(most, stated) + 1)]
    advised = max((trial.degree for trial in trials if trial.needed), default=1)
    return DegreeChoice(stated, advised, tuple(trials))


def _trial(x: FloatArray, y: FloatArray, degree: int) -> DegreeTrial:
    fit = fit_polynomial(x, y, degree)
    if degree == 1:
        return DegreeTrial(1, fit.s, math.nan, math.nan)
    lower = fit_polynomial(x, y, degree - 1)
    rounding = x.size * (1e-13 * float(np.max(np.abs(y)))) ** 2
    rest = max(fit.dof * fit.s**2, rounding)
    extra = max(lower.dof * lower.s**2 - rest, 0.0)
    f = extra / (rest / fit.dof) if rest > 0.0 else 0.0
    return DegreeTrial(degree, fit.s, f, float(stats.f.sf(f, 1, fit.dof)))
