"""What the residuals keep along each coordinate and over time: a smooth trend with its band.

Residuals are taken relative to the law and less the mean of their pack, whose
level is no fault of the law.  The trend is a penalised cubic spline (P. H. C. Eilers
and B. D. Marx, Statist. Sci. 11 (1996) 89) of up to four degrees of freedom.  Its
band is the covariance that chance gives the residuals of this very fit, errors
shared by a pack, a run or a calibration included, widened to hold the whole trend
at once.
"""

from __future__ import annotations

import numpy as np
from scipy import interpolate, optimize, stats

from rigdata.arrays import FloatArray
from rigdata.friction.conditions import AXES, Conditions, shown_axes
from rigdata.friction.diagnostics.drift import run_numbers, run_spans
from rigdata.friction.diagnostics.findings import ORDER, ResidualTrend
from rigdata.friction.diagnostics.offered import of_residuals
from rigdata.friction.diagnostics.words import outside, percent, plain, ranges
from rigdata.friction.joint import JointFit
from rigdata.friction.nesting import numbered
from rigdata.reduction.points import FrictionPoints

_LEVEL = 0.99  # of the band: a report shows many
_FREEDOM = (2, 4)  # degrees of freedom of the trend: a line for points in two places
_CELLS, _LEAST_SHARE = 8, 0.02  # of the range that count as places, and of the points in them
_SPLINES = 9
_PLACES = 41
_LEAST_RUNS = 3
_DRAWS = 4000
_WORDS = {
    "slip_speed_m_s": ("slip speed", "m/s"),
    "temperature_c": ("temperature", "degC"),
    "pressure_mpa": ("pressure", "MPa"),
    ORDER: ("the order of the runs", ""),
}


def residual_trends(fit: JointFit, points: FrictionPoints) -> list[ResidualTrend]:
    """Return the trend along each axis that was varied, and over the order of the runs."""
    conditions = Conditions(points.slip_speed_m_s, points.temperature_c, points.pressure_mpa)
    shown = shown_axes(conditions)
    wanted = {axis: getattr(conditions, axis) for axis in AXES if axis in shown}
    order = order_in_time(points)
    if np.max(run_numbers(points)) >= _LEAST_RUNS:
        wanted[ORDER] = order
    return [_trend(fit, points, name, x) for name, x in wanted.items()]


def order_in_time(points: FrictionPoints) -> FloatArray:
    """Return the place of each point in time, as of `ResidualTrend`, (n,)."""
    middle = 0.5 * (points.start_s + points.end_s)
    number, first, last = run_spans(points.run, middle, middle)
    span, since = (last - first)[number], middle - first[number]
    told = (span > 0.0) & np.isfinite(since)  # false where a time is not known
    place = np.where(told, 0.8 * since / np.where(told, span, 1.0) - 0.4, 0.0)
    order: FloatArray = run_numbers(points) + place
    return order


def _trend(fit: JointFit, points: FrictionPoints, name: str, x: FloatArray) -> ResidualTrend:
    log = name in ("slip_speed_m_s", "pressure_mpa")
    scaled = np.log(x) if log else x
    low, width = float(scaled.min()), float(np.ptp(scaled))
    scaled = (scaled - low) / width
    basis = _splines(scaled)
    weight = fit.profile.inverse_diagonal[: len(points)] * fit.curve**2
    coefficients = _smoother(basis, weight / weight.mean(), _freedom(scaled))  # (k, n)
    weights = _less_pack_means(coefficients.T, points) / fit.curve[:, None]
    estimate = of_residuals(fit, weights)
    places = np.linspace(0.0, 1.0, _PLACES)
    gradient = _splines(places)
    value, half = gradient @ estimate.theta, estimate.half_width(gradient)
    half = half * _widening(gradient, estimate.covariance)
    at = low + width * places
    at = np.exp(at) if log else at
    words = _in_words(name, at, value, value - half, value + half)
    return ResidualTrend(name, at, value, value - half, value + half, words)


def _widening(gradient: FloatArray, covariance: FloatArray) -> float:
    """Return the factor from an interval at each place to a band that holds the whole trend."""
    values, vectors = np.linalg.eigh(covariance)
    root = gradient @ (vectors * np.sqrt(np.maximum(values, 0.0)))
    root = root / np.maximum(np.linalg.norm(root, axis=1, keepdims=True), 1e-300)
    draws = np.random.default_rng(0).standard_normal((_DRAWS, values.size))
    farthest = np.max(np.abs(draws @ root.T), axis=1)
    return float(np.quantile(farthest, _LEVEL) / stats.norm.ppf(0.975))


def _in_words(
    name: str, x: FloatArray, value: FloatArray, low: FloatArray, high: FloatArray
) -> str:
    what, unit = _WORDS[name]
    places = outside(x, low, high)
    if not places:
        return f"residuals stay level over {what}"
    beyond = (low > 0.0) | (high < 0.0)
    at = int(np.argmax(np.where(beyond, np.abs(value), 0.0)))
    size = percent(float(value[at]), float(high[at] - low[at]) / 4.0)
    where = "by run " + plain(x[at]) if name == ORDER else f"at {plain(x[at])} {unit}"
    sign = "+" if value[at] > 0.0 else ""
    told = "" if name == ORDER else f" {ranges(places, unit)}"
    return f"residuals leave zero over {what}{told}: {sign}{size} % {where}"


def _splines(x: FloatArray) -> FloatArray:
    """Return cubic B-splines on even knots over 0 to 1, (n, k)."""
    step = 1.0 / (_SPLINES - 3)
    knots = step * np.arange(-3, _SPLINES + 1)
    inside = np.clip(x, 0.0, 1.0)
    matrix: FloatArray = interpolate.BSpline.design_matrix(inside, knots, 3).toarray()
    return matrix


def _freedom(x: FloatArray) -> float:
    """Return the degrees of freedom that points at `x`, within 0 to 1, can show."""
    counts, _ = np.histogram(x, bins=_CELLS, range=(0.0, 1.0))
    return float(np.clip(np.sum(counts >= _LEAST_SHARE * x.size), *_FREEDOM))


def _smoother(basis: FloatArray, weight: FloatArray, wanted: float) -> FloatArray:
    """Return what turns values into spline coefficients, with the degrees of freedom wanted."""
    bend = np.diff(np.eye(_SPLINES), n=2, axis=0)
    gram = basis.T @ (weight[:, None] * basis)
    penalty = bend.T @ bend

    def freedom(log_weight: float) -> float:
        return float(np.trace(np.linalg.solve(gram + np.exp(log_weight) * penalty, gram)))

    scale = float(np.log(np.trace(gram)))
    ends = (scale - 16.0, scale + 16.0)
    strength = ends[1]  # a line keeps 2 whatever the penalty, and few places have no more than 4
    if wanted > _FREEDOM[0]:
        strength = ends[0]
        if freedom(ends[0]) > wanted:
            strength = float(optimize.brentq(lambda s: freedom(s) - wanted, *ends))
    solved: FloatArray = np.linalg.solve(
        gram + np.exp(strength) * penalty, basis.T * weight[None, :]
    )
    return solved


def _less_pack_means(columns: FloatArray, points: FrictionPoints) -> FloatArray:
    """Return columns that act on residuals as these do once pack means are taken off."""
    pack, count = numbered(points.pack)
    total = np.stack([np.bincount(pack, own, count) for own in columns.T], axis=1)
    mean = total / np.bincount(pack)[:, None]
    return columns - mean[pack]
