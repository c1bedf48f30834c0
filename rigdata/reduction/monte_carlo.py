"""Friction points by Monte Carlo, through the measurement equation itself.

The linear budget takes mu for a plane about its value.  Here each cause is drawn
from its own distribution and pushed through ``mu = T / (N r_e F)`` as it stands:
a load drawn low divides, radii go through the radius law, and the line of a load
sweep is fitted again to every draw of its cells.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from rigdata.arrays import FloatArray, IntArray, TextArray, frozen
from rigdata.errors import ReductionError
from rigdata.reduction.load_line import LoadLine, refit_load_line
from rigdata.reduction.points import FrictionPoints
from rigdata.reduction.reading import Reading
from rigdata.uncertainty.monte_carlo import (
    DRAWS,
    SEED,
    Drawn,
    LinearTest,
    linear_test,
    standard_draws,
    summarise,
)
from rigdata.uncertainty.sources import Distribution, Scope, Source

_MOST_VALUES = 4_000_000  # of one block, 32 MB
_MOST_CELLS = 50_000  # of cells times draws that are fitted at once; stays in the cache


@dataclass(frozen=True, eq=False)
class DrawnPoints:
    """Friction points by Monte Carlo beside their linear budget.

    Attributes
    ----------
    point : (n,) str
        Names of the points.
    test : LinearTest
        Mean, standard uncertainty and 95 % interval of the draws, the linear
        interval, and whether that will do.
    """

    point: TextArray
    test: LinearTest

    def __post_init__(self) -> None:
        object.__setattr__(self, "point", frozen(self.point, np.str_))

    @property
    def drawn(self) -> Drawn:
        """What the draws say of each point."""
        return self.test.drawn


def draw_points(
    points: FrictionPoints,
    readings: Mapping[str, Reading],
    *,
    draws: int = DRAWS,
    seed: int = SEED,
) -> DrawnPoints:
    """Return friction points by Monte Carlo and the test of their linear budget.

    Parameters
    ----------
    points : FrictionPoints
        The points, any of a campaign.
    readings : mapping of str to Reading
        What each was read from, as in `Reduction.readings`.
    draws : int
        Draws of every cause.
    seed : int
        The same seed gives the same draws.

    Raises
    ------
    ReductionError
        When a point has no reading.
    """
    summaries = [
        (rows, summarise(values))
        for rows, values in drawn_blocks(points, readings, draws=draws, seed=seed)
    ]
    order = np.argsort(np.concatenate([rows for rows, _ in summaries]))

    def column(name: str) -> FloatArray:
        joined: FloatArray = np.concatenate([getattr(drawn, name) for _, drawn in summaries])
        return joined[order]

    names = ("mean", "u", "low", "high", "u_low", "u_high")
    drawn = Drawn(draws, **{name: column(name) for name in names})
    return DrawnPoints(points.point, linear_test(points.mu, points.u_mu, drawn))


def drawn_blocks(
    points: FrictionPoints,
    readings: Mapping[str, Reading],
    *,
    draws: int = DRAWS,
    seed: int = SEED,
) -> Iterator[tuple[IntArray, FloatArray]]:
    """Yield draws of friction points block by block.

    A cause that points share has the same error in each of them, whatever block
    they are in, so draws of different blocks may be combined draw by draw.

    Yields
    ------
    rows : (b,) int array
        Which of the points.
    values : (b, draws) array
        Draws of their coefficients.

    Notes
    -----
    Causes in the torque and the load shift them in proportion to their errors,
    as in the linear budget.  The random part of a window or breakaway is noise
    of the torque against the load, and is drawn as torque; that of a load sweep
    is drawn as its coefficients, which both of its points share.  All of it is
    normal with the standard uncertainty stated: how well that is known is a
    matter of degrees of freedom, which the budget deals with.
    """
    errors = _Errors(draws, seed)
    most = max(1, _MOST_VALUES // draws)
    for run in dict.fromkeys(points.run.tolist()):
        rows = np.flatnonzero(points.run == run)
        own = [_reading(readings, name) for name in points.point[rows].tolist()]
        of_run = errors.of(own[0].sources)
        radius = own[0].geometry.drawn_radius(errors.of(own[0].geometry.sources))
        for part in _together(own, most):
            block = rows[part]
            names, chosen = points.point[block].tolist(), [own[i] for i in part]
            line = chosen[0].line
            if line is not None:
                count = line.coefficients.size
                noise = errors.noise([f"{names[0]}:{i}" for i in range(count)])
                yield block, _swept(chosen, line, of_run, noise, radius)
            else:
                noise = points.u_random[block, None] * errors.noise(names)
                yield block, _held(chosen, of_run, noise, radius)


@dataclass(frozen=True)
class _Errors:
    """Errors of causes by name; those that reach over runs are drawn once and kept."""

    draws: int
    seed: int
    kept: dict[str, FloatArray] = field(default_factory=dict)

    def of(self, sources: Sequence[Source]) -> FloatArray:
        """(k, draws) errors of sources, in their standard deviations."""
        rows = np.empty((len(sources), self.draws))
        for row, source in zip(rows, sources, strict=True):
            drawn = self.kept.get(source.id)
            if drawn is None:
                drawn = standard_draws(source.id, source.distribution, self.draws, self.seed)
            if source.scope is Scope.RIG:
                self.kept[source.id] = drawn
            row[:] = drawn
        return rows

    def noise(self, names: Sequence[str]) -> FloatArray:
        """(n, draws) random parts, in their standard deviations."""
        normal = Distribution.NORMAL
        rows = [standard_draws(f"random:{name}", normal, self.draws, self.seed) for name in names]
        return np.array(rows)


def _reading(readings: Mapping[str, Reading], name: str) -> Reading:
    if name not in readings:
        raise ReductionError(
            f"what point {name} was read from is not known",
            where="Monte Carlo",
            expected="points and readings of one reduction",
            do="Reduce the campaign again.",
        )
    return readings[name]


def _together(readings: Sequence[Reading], most: int) -> Iterator[list[int]]:
    """Yield places of readings to draw at once: both points of a line, or `most` windows."""
    for line, group in itertools.groupby(range(len(readings)), key=lambda i: readings[i].line):
        places = list(group)
        step = len(places) if line is not None else most
        for start in range(0, len(places), step):
            yield places[start : start + step]


def _held(
    readings: Sequence[Reading], errors: FloatArray, noise: FloatArray, radius: FloatArray
) -> FloatArray:
    """Draws (b, m) of windows and breakaways: ``mu = T / (N r_e F)``."""
    load = np.array([reading.load_n[0] for reading in readings])[:, None]
    torque = np.array([reading.torque_nm[0] for reading in readings])[:, None]
    drawn = np.array([reading.torque_shift[:, 0] for reading in readings]) @ errors
    drawn += torque + noise * load * readings[0].arm_m
    drawn /= np.array([reading.load_shift[:, 0] for reading in readings]) @ errors + load
    drawn /= readings[0].geometry.faces * radius
    return drawn


def _swept(
    readings: Sequence[Reading],
    line: LoadLine,
    errors: FloatArray,
    noise: FloatArray,
    radius: FloatArray,
) -> FloatArray:
    """Draws (b, m) of the points of one load sweep, its line fitted again to every draw.

    The sweep is fitted against the load at the nominal radius, and the coefficient
    divided by the radius drawn: a point belongs to its load, not to its ``N r_e F``.
    """
    cells = readings[0]
    x, x_shift = cells.load_n * cells.arm_m, cells.load_shift.T * cells.arm_m
    step = max(1, _MOST_CELLS // x.size)
    values, vectors = np.linalg.eigh(line.covariance)
    theta = vectors * np.sqrt(np.maximum(values, 0.0)) @ noise
    for start in range(0, radius.size, step):
        part = slice(start, start + step)
        drawn_x = x_shift @ errors[:, part] + x[:, None]
        torque = cells.torque_shift.T @ errors[:, part] + cells.torque_nm[:, None]
        theta[:, part] += refit_load_line(line, drawn_x, torque)
    ln_load = np.array([reading.ln_load for reading in readings])[:, None]
    scale = theta[1] * cells.geometry.radius_m / radius
    drawn: FloatArray = scale * np.exp(theta[2] * ln_load)
    return drawn
