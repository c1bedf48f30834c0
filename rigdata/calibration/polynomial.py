"""Calibration curves: applied quantity as a polynomial of the indicated one.

The fit is made in polynomials that are orthonormal over the record's own
points, so each of its coefficients can be carried as a source of its own: the
level, the slope about the middle of the record, the curvature.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.polynomial import polynomial as natural
from numpy.typing import ArrayLike

from rigdata.arrays import BoolArray, FloatArray, frozen
from rigdata.calibration.least_squares import PolynomialFit, fit_polynomial
from rigdata.calibration.straight_line import fit_uncertain_applied
from rigdata.calibration.tabulation import SAME_LOAD, tabulate
from rigdata.campaign.records import CalibrationRecord
from rigdata.errors import CalibrationError
from rigdata.quantities import Unit, spread_to_base, to_base, unit_named
from rigdata.uncertainty.sources import Effect, Scope, Source

TERMS = ("level", "slope", "curve", "cubic")
BEYOND = 0.05  # readings this share of the span outside the record are still covered

_LABELS = {
    "level": "zero of the calibration fit",
    "slope": "sensitivity of the calibration fit",
    "curve": "curvature of the calibration fit",
    "cubic": "cubic term of the calibration fit",
}


@dataclass(frozen=True, eq=False)
class SensorCalibration:
    """The curve of one calibration record, in SI, with its causes of uncertainty.

    Attributes
    ----------
    record : str
        Id of the record.
    kind : str
        Quantity with a hyphen, as it begins the source ids: ``clamp-load``.
    fit : PolynomialFit
        Applied against indicated.
    reference : (2, m) float
        Sizes of the applied quantity, rising, and the standard uncertainty of
        the reference standard there, common to all readings.
    u_reading : float
        Standard uncertainty of one reading from what the curve leaves: the
        larger of its residual standard deviation and of hysteresis and
        repeatability as the record shows them.
    low, high : float
        Range of the applied quantity in the record.
    """

    record: str
    kind: str
    fit: PolynomialFit
    reference: FloatArray
    u_reading: float
    low: float
    high: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "reference", frozen(self.reference))

    @property
    def degree(self) -> int:
        """Degree of the curve."""
        return self.fit.coefficients.size - 1

    @property
    def s(self) -> float:
        """Residual standard deviation of the record about its curve."""
        return self.fit.s

    @property
    def dof(self) -> int:
        """Degrees of freedom of `s`."""
        return self.fit.dof

    def applied(self, indicated: ArrayLike) -> FloatArray:
        """Return the applied quantity (n,) for indicated values (n,), both SI."""
        return self.fit.predict(indicated)

    def covers(self, applied: ArrayLike) -> BoolArray:
        """Return where (n,) applied values lie in the record's range, or just outside.

        Just outside is within 5 % of the record's span.  NaN is not covered.
        """
        return covered(applied, self.low, self.high)

    def sources(self, run: str) -> tuple[Source, ...]:
        """Return the causes of uncertainty of a reading made in `run`.

        What the curve leaves (hysteresis, repeatability, resolution) is one
        error that holds for a run and is drawn anew for the next, so its id
        carries the run.
        """
        owner = f"{self.kind}:{self.record}"
        words = self.kind.replace("-", " ")
        terms = tuple(
            Source(
                f"{owner}:{term}",
                Scope.RIG,
                Effect.ADDITIVE if term == "level" else Effect.PROPORTIONAL,
                f"{words}: {_LABELS[term]} ({self.record})",
                dof=self.dof,
            )
            for term in TERMS[: self.degree + 1]
        )
        reference = Source(
            f"{owner}:reference",
            Scope.RIG,
            Effect.PROPORTIONAL,
            f"{words}: reference standard ({self.record})",
        )
        residual = Source(
            f"{owner}:residual:{run}",
            Scope.RUN,
            Effect.ADDITIVE,
            f"{words}: hysteresis and repeatability of the sensor ({self.record})",
            dof=self.dof,
        )
        return (*terms, reference, residual)

    def sensitivities(self, indicated: ArrayLike) -> FloatArray:
        """Return the change (k, n) of the applied quantity for one sd of each source."""
        basis = self.fit.basis(indicated)
        curve = self.fit.orthonormal @ basis
        reference = np.sign(curve) * self._reference_u(np.abs(curve))
        rest = np.where(np.isfinite(curve), self.u_reading, np.nan)
        rows: FloatArray = np.vstack([self.s * basis, reference, rest])
        return rows

    def _reference_u(self, size: FloatArray) -> FloatArray:
        """Return the uncertainty of the reference: drawn on in proportion above its last size."""
        sizes, u = self.reference
        inside = np.interp(size, sizes, u)
        drawn_on: FloatArray = np.where(size > sizes[-1], u[-1] * size / sizes[-1], inside)
        return drawn_on


def covered(applied: ArrayLike, low: float, high: float) -> BoolArray:
    """Return where (n,) values lie from `low` to `high`, or just outside; NaN does not."""
    values = np.asarray(applied, dtype=np.float64)
    margin = BEYOND * (high - low)
    inside: BoolArray = (values >= low - margin) & (values <= high + margin)
    return inside


def calibrate(record: CalibrationRecord, *, kind: str | None = None) -> SensorCalibration:
    """Fit the curve of a calibration record.

    Parameters
    ----------
    record : CalibrationRecord
        The record; its units are converted to SI here, once.
    kind : str, optional
        First word of the source ids; the record's quantity unless given.

    Returns
    -------
    SensorCalibration

    Raises
    ------
    CalibrationError
        When the points do not determine the curve, the reference standard's
        uncertainty is missing, or the curve turns round inside the record.

    Notes
    -----
    Applied is fitted on indicated, so that a reading is converted without an
    inversion.  The scatter of the indicated values flattens the curve by about
    ``s^2`` over the variance of the applied values, far under 1 part in 10^4
    for any usable sensor.  Where the record gives `u_applied` and the degree is
    1, the line allows for errors in both (`rigdata.calibration.straight_line`).

    What the curve leaves is ``max(s, sqrt(h^2 / 12 + s_r^2))`` with the largest
    hysteresis h, if it is more than scatter, and the scatter s_r of one reading,
    see `rigdata.calibration.series.SeriesTable.u_reading`.

    The reference standard is wrong by one common factor, unless the record
    carries its uncertainty at each point: then that is interpolated between
    the loads and falls to 0 at no load, where the zero of the run takes over
    (temperatures have no such zero and keep it).
    """
    where = str(record.path)
    indicated_unit = unit_named(record.indicated_unit, None, where=where)
    applied_unit = unit_named(record.applied_unit, None, where=where)
    indicated = to_base(np.asarray(record.indicated, dtype=np.float64), indicated_unit)
    applied = to_base(np.asarray(record.applied, dtype=np.float64), applied_unit)
    if not 1 <= record.degree <= len(TERMS) - 1:
        raise CalibrationError(
            f"degree {record.degree} is not fitted", where=where, expected="degree 1, 2 or 3"
        )
    reference_u = record.reference_expanded_u_percent / 100.0 / record.coverage_factor
    if not 0.0 < reference_u < 1.0:
        raise CalibrationError(
            "the reference standard has no usable uncertainty",
            where=where,
            expected="reference_expanded_u_percent above 0 and its coverage_factor",
            do="Copy both from the certificate of the reference standard.",
        )
    try:
        if record.u_applied is not None and record.degree == 1:
            u_applied = spread_to_base(record.u_applied, applied_unit)
            fit = fit_uncertain_applied(indicated, applied, u_applied)
        else:
            fit = fit_polynomial(indicated, applied, record.degree)
    except CalibrationError as error:
        raise CalibrationError(
            error.what,
            where=where,
            expected=error.expected,
            do="Calibrate at more loads, or lower the degree.",
        ) from error
    slope = natural.polyval(
        np.linspace(indicated.min(), indicated.max(), 201), natural.polyder(fit.coefficients)
    )
    if np.min(slope) * np.max(slope) <= 0.0:
        raise CalibrationError(
            "the fitted curve turns round inside the record's range",
            where=where,
            expected="an indicated value that rises or falls throughout with the applied one",
            do="Look for a mistyped point, or lower the degree.",
        )
    return SensorCalibration(
        record=record.id,
        kind=kind or record.quantity.casefold().replace("_", "-").replace(" ", "-"),
        fit=fit,
        reference=_reference(record, applied, applied_unit, reference_u),
        u_reading=max(fit.s, spread_to_base(tabulate(record).u_reading, applied_unit)),
        low=float(applied.min()),
        high=float(applied.max()),
    )


def _reference(
    record: CalibrationRecord, applied: FloatArray, unit: Unit, relative: float
) -> FloatArray:
    """Return sizes of the applied quantity and the reference standard's uncertainty there."""
    if record.reference_u is None:
        top = float(np.max(np.abs(applied)))
        return np.array([[0.0, top], [0.0, relative * top]])
    sizes, group = np.unique(np.abs(applied), return_inverse=True)
    u = np.zeros(sizes.size)
    np.maximum.at(u, group, spread_to_base(record.reference_u, unit))
    if unit.dimension != "temperature":
        loaded = sizes > SAME_LOAD * sizes[-1]
        sizes, u = np.append(0.0, sizes[loaded]), np.append(0.0, u[loaded])
    return np.array([sizes, u])
