"""Drag of the oil and the seals, from runs without clamp load."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from rigdata.arrays import FloatArray, frozen
from rigdata.calibration.least_squares import LinearFit, fit_linear
from rigdata.campaign.campaign import Oil
from rigdata.errors import CalibrationError, ReductionError
from rigdata.reduction.drag_forms import DragForm, candidates
from rigdata.uncertainty.degrees import welch_satterthwaite
from rigdata.uncertainty.effective_size import effective_size
from rigdata.uncertainty.sources import Effect, Scope, Source

Basis = Callable[[FloatArray, FloatArray], FloatArray]

# Without another pack to compare with, a borrowed drag torque is taken to be
# within about a third of the truth (common practice, no source).
BORROWED_U = 0.2
_MARGIN_K = 5.0
_MARGIN_SPEED = 1.05


@dataclass(frozen=True, eq=False)
class DragData:
    """Drag torque of one run, averaged over cells. [rad/s, rad/s^2, degC, N m]

    `rest_speed` is the slip speed that standstill noise reaches; `u_zero` the
    standard uncertainty of the run's torque zero, with `zero_dof` degrees of freedom.
    """

    run: str
    pack: str
    speed: FloatArray
    acceleration: FloatArray
    oil_temperature: FloatArray
    torque: FloatArray
    rest_speed: float
    u_zero: float
    zero_dof: float = math.inf


@dataclass(frozen=True, eq=False)
class Drag:
    """A fitted drag surface of one pack.

    Attributes
    ----------
    runs : tuple of str
        The drag runs it was fitted to.
    terms : str
        Formula of the surface, for the report.
    coefficients : (k,) float
        Coefficients of the terms.
    factor : (k, k) float
        Square root of their covariance.
    top_speed, coldest, hottest : float
        Where it was measured. [rad/s, degC, degC]
    sources : tuple of k + 1 or k + 2 Source
        One for each column of `factor`, the zero of the drag runs, and the
        spread between packs where the surface is borrowed.
    borrowed_u : float
        Relative uncertainty from another pack's drag; 0 for the pack's own.
    """

    runs: tuple[str, ...]
    terms: str
    coefficients: FloatArray
    factor: FloatArray
    u_zero: float
    residual: float
    top_speed: float
    coldest: float
    hottest: float
    sources: tuple[Source, ...]
    borrowed_u: float
    basis: Basis

    def torque(self, speed: FloatArray, oil_temperature: FloatArray) -> FloatArray:
        """(n,) drag torque. [N m]"""
        return self.coefficients @ self.basis(speed, oil_temperature)

    def shift(self, speed: FloatArray, oil_temperature: FloatArray) -> FloatArray:
        """(k, n) change of the drag torque for one standard deviation of each source. [N m]"""
        basis = self.basis(speed, oil_temperature)
        rows = [self.factor.T @ basis, np.full((1, speed.size), self.u_zero)]
        if self.borrowed_u:
            rows.append(self.borrowed_u * (self.coefficients @ basis)[None, :])
        return np.concatenate(rows)

    def beyond(self, speed: FloatArray, oil_temperature: FloatArray) -> str:
        """Say in words how far a run leaves the region of the drag runs; empty if it does not."""
        faults = []
        fastest = float(np.max(np.abs(speed)))
        if fastest > _MARGIN_SPEED * self.top_speed:
            faults.append(f"slip to {fastest:.3g} rad/s, drag known to {self.top_speed:.3g} rad/s")
        low, high = float(oil_temperature.min()), float(oil_temperature.max())
        if low < self.coldest - _MARGIN_K or high > self.hottest + _MARGIN_K:
            faults.append(
                f"oil from {low:.0f} to {high:.0f} degC, "
                f"drag known from {self.coldest:.0f} to {self.hottest:.0f} degC"
            )
        return "; ".join(faults)


def fit_drag(data: Sequence[DragData], oil: Oil | None, *, borrowed: bool = False) -> Drag:
    """Fit a drag surface to one or more drag runs.

    Parameters
    ----------
    data : sequence of DragData
        The drag runs; of one pack, or of others when `borrowed`.
    oil : Oil or None
        Gives the viscosity by which the fluid part scales; without it the
        temperature enters as a quadratic.
    borrowed : bool
        Whether the surface will serve a pack that has no drag run of its own.

    Notes
    -----
    Sheared oil gives a torque proportional to viscosity and speed, seals and
    bearings one that hardly depends on either: ``T = a sgn(w) + b w nu(T) / nu(T0)
    + ...``.  Of a few such forms the one with the lowest corrected Akaike
    criterion is taken.  Cells of the same run are not quite independent, so the
    covariance is widened by the autocorrelation of the residuals.

    Raises
    ------
    ReductionError
        When there are too few cells to fit.
    """
    speed = np.concatenate([d.speed for d in data])
    warmth = np.concatenate([d.oil_temperature for d in data])
    torque = np.concatenate([d.torque for d in data])
    if speed.size < 6:
        raise ReductionError(
            "too few cells with slip to fit the drag",
            where=", ".join(d.run for d in data),
            expected="at least 6 seconds of slip without clamp load",
            do="Record a longer drag run.",
        )
    rest = max(d.rest_speed for d in data)
    basis, fit = _best_form(candidates(warmth, rest, oil), speed, warmth, torque, data)
    residual = torque - fit.coefficients @ basis(speed, warmth)
    n_effective = effective_size(residual).n_effective
    widened = fit.covariance * residual.size / n_effective
    runs = tuple(d.run for d in data)
    spread, spread_dof = _between_packs(data, fit.coefficients, basis) if borrowed else (0.0, None)
    dof = (
        max(n_effective - fit.coefficients.size, 1.0),
        float(welch_satterthwaite([d.u_zero for d in data], [d.zero_dof for d in data])),
        spread_dof,
    )
    return Drag(
        runs=runs,
        terms=str(basis),
        coefficients=fit.coefficients,
        factor=frozen(_root(widened)),
        u_zero=math.sqrt(sum(d.u_zero**2 for d in data)) / len(data),
        residual=fit.s,
        top_speed=float(np.abs(speed).max()),
        coldest=float(warmth.min()),
        hottest=float(warmth.max()),
        sources=_sources(runs, fit.coefficients.size, *dof),
        borrowed_u=spread,
        basis=basis,
    )


def _root(covariance: FloatArray) -> FloatArray:
    """Return a square root of a covariance, of the correlations so that scale does not matter."""
    u = np.sqrt(np.diag(covariance))
    safe = np.where(u > 0.0, u, 1.0)
    values, vectors = np.linalg.eigh(covariance / np.outer(safe, safe))
    root: FloatArray = u[:, None] * vectors * np.sqrt(np.maximum(values, 0.0))
    return root


def _best_form(
    forms: Sequence[DragForm],
    speed: FloatArray,
    warmth: FloatArray,
    torque: FloatArray,
    data: Sequence[DragData],
) -> tuple[DragForm, LinearFit]:
    """Fit every form and return the one with the lowest corrected Akaike criterion."""
    n, tried = speed.size, []
    for basis in forms:
        k = 1 + basis(speed[:1], warmth[:1]).size  # with the variance
        if n < k + 2:
            continue
        try:
            fit = fit_linear(basis(speed, warmth).T, torque)
        except CalibrationError:  # these cells do not tell its terms apart
            continue
        tried.append((corrected_akaike(fit.s**2 * fit.dof, n, k), basis, fit))
    if not tried:
        raise ReductionError(
            "no drag formula fits these cells",
            where=", ".join(d.run for d in data),
            expected="slip over a range of speeds",
        )
    return min(tried, key=lambda entry: entry[0])[1:]


def corrected_akaike(squares: float, n: int, k: int) -> float:
    """Return the corrected criterion of Akaike of a least-squares fit; less is better.

    Parameters
    ----------
    squares : float
        Sum of the squared residuals.
    n, k : int
        Values, and parameters with the variance among them; ``n > k + 1``.

    Notes
    -----
    ``n ln(squares / n) + 2 k + 2 k (k + 1) / (n - k - 1)`` (Hurvich and Tsai 1989).
    """
    variance = max(squares / n, np.finfo(float).tiny)
    return n * math.log(variance) + 2 * k + 2 * k * (k + 1) / (n - k - 1)


def _between_packs(
    data: Sequence[DragData],
    coefficients: FloatArray,
    basis: Basis,
) -> tuple[float, float]:
    """Relative spread of the packs' drag about the common surface, and its degrees of freedom."""
    ratios = []
    for pack in sorted({d.pack for d in data}):
        own = [d for d in data if d.pack == pack]
        fitted = np.concatenate([coefficients @ basis(d.speed, d.oil_temperature) for d in own])
        measured = np.concatenate([d.torque for d in own])
        ratios.append(float(measured @ fitted / (fitted @ fitted)))
    if len(ratios) > 2:
        return float(np.std(ratios, ddof=1)), len(ratios) - 1.0
    return BORROWED_U, math.inf


def _sources(
    runs: tuple[str, ...], terms: int, fit_dof: float, zero_dof: float, borrowed_dof: float | None
) -> tuple[Source, ...]:
    """Name the causes; `borrowed_dof` is None where the surface is the pack's own."""
    owner = "+".join(runs)
    rows = [(f"drag:{owner}:{i + 1}", "fit of the drag torque", fit_dof) for i in range(terms)]
    rows.append((f"drag:{owner}:zero", "zero of the drag runs", zero_dof))
    if borrowed_dof is not None:
        rows.append((f"drag:{owner}:borrowed", "drag torque taken from other packs", borrowed_dof))
    return tuple(
        Source(name, Scope.RUN, Effect.ADDITIVE, label, dof=dof) for name, label, dof in rows
    )
