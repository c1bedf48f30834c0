"""The coefficient table of one material in one state, and how it is read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from rigdata.arrays import BoolArray, FloatArray, frozen
from rigdata.errors import Notice, Severity, TableError
from rigdata.friction.conditions import ALL_AXES, AXES, DWELL, Conditions
from rigdata.friction.envelope import Envelope, nearest
from rigdata.quantities import QUANTITIES
from rigdata.tables.interpolation import Axes, interpolate

FIELDS = ("mu", "u_mu", "mean_low", "mean_high", "next_pack_low", "next_pack_high")
_ROUNDING = 1e-9  # relative: a condition this near to the end of an axis is on it
_MOST = 1e6  # no friction comes near it, and its powers are still numbers


@dataclass(frozen=True)
class TableParameter:
    """One parameter of the law behind a table.

    Attributes
    ----------
    name, unit, meaning : str
        As in the law.
    value : float
        Fitted value, or the value at which it was held.
    u : float or None
        Standard uncertainty; None where the parameter was held.
    """

    name: str
    value: float
    u: float | None
    unit: str
    meaning: str


@dataclass(frozen=True, eq=False)
class Reading:
    """Coefficients read from a table at `m` conditions.

    Attributes
    ----------
    slip_speed_m_s, temperature_c, pressure_mpa, dwell_s : (m,) float
        Where the table was read, which is not where it was asked for when
        `moved`; no dwell (NaN) where the table has none. [m/s, degC, MPa, s]
    mu, u_mu : (m,) float
        Coefficient of the material's mean and its standard uncertainty.
    mean_low, mean_high : (m,) float
        Interval for the material's mean.
    next_pack_low, next_pack_high : (m,) float
        Interval for one more pack; NaN where only one pack was tested.
    causes : tuple of k str
        Names of the components, as of the table.
    components : (k, m) float
        What one standard deviation of each component moves mu by.
    moved : (m,) bool
        Whether the condition was outside the envelope and the nearest inside
        value was taken.
    notices : tuple of Notice
        One warning when any condition was moved.
    """

    slip_speed_m_s: FloatArray
    temperature_c: FloatArray
    pressure_mpa: FloatArray
    dwell_s: FloatArray
    mu: FloatArray
    u_mu: FloatArray
    mean_low: FloatArray
    mean_high: FloatArray
    next_pack_low: FloatArray
    next_pack_high: FloatArray
    causes: tuple[str, ...]
    components: FloatArray
    moved: BoolArray
    notices: tuple[Notice, ...]

    def __post_init__(self) -> None:
        for name in (*ALL_AXES, *FIELDS, "components"):
            object.__setattr__(self, name, frozen(getattr(self, name)))
        object.__setattr__(self, "moved", frozen(self.moved, np.bool_))


@dataclass(frozen=True, eq=False)
class CoefficientTable:
    """Coefficients on a grid of slip speed, temperature and face pressure, and dwell at rest.

    Attributes
    ----------
    material, state : str
        As named in the campaign.
    kind : str
        ``kinetic`` or ``static`` (breakaway; its slip speed axis is 0 alone).
    slip_speed_m_s, temperature_c, pressure_mpa : (n_v,), (n_t,), (n_p,) float
        Nodes of each axis, strictly increasing; one where the axis was held at
        one value. [m/s, degC, MPa]
    nodes : (6, n_v, n_t, n_p) or (6, n_v, n_t, n_p, n_d) float
        `FIELDS` on the grid; the last two are NaN where only one pack was
        tested.
    inside_envelope : bool array of the shape of the grid
        Whether a node lies inside the envelope.
    law : str
        Name of the fitted law.
    parameters : tuple of TableParameter
        Its parameters.
    reference : as many floats as axes
        Condition that the parameters refer to. [m/s, degC, MPa, s]
    envelope : Envelope
        What was really tested.
    tolerance, error : float
        Allowed and found error of linear interpolation, as a fraction of mu.
    provenance : mapping
        Campaign, packs, counts and hashes; see ``coefficients.schema.json``.
    static : CoefficientTable or None
        The breakaway coefficient, where it was tested.
    dwell_s : (n_d,) float or None
        Nodes of the time under load at rest before a breakaway; None for kinetic
        friction, and where it is not known. [s]
    causes : tuple of k str
        Errors of the rig that move all nodes together, by names that are the same in
        another table only where the errors are; empty for other components.
    components : (k, ...) array, each of the shape of the grid
        What one standard deviation of each moves mu by.  The covariance of two nodes is
        the sum of the products of their components; `u_mu` is the whole uncertainty.
    """

    material: str
    state: str
    kind: str
    slip_speed_m_s: FloatArray
    temperature_c: FloatArray
    pressure_mpa: FloatArray
    nodes: FloatArray
    inside_envelope: BoolArray
    law: str
    parameters: tuple[TableParameter, ...]
    reference: tuple[float, ...]
    envelope: Envelope
    tolerance: float
    error: float
    provenance: Mapping[str, object]
    static: CoefficientTable | None = None
    dwell_s: FloatArray | None = None
    causes: tuple[str, ...] = ()
    components: FloatArray = field(default_factory=lambda: np.zeros(0))

    def __post_init__(self) -> None:
        if not self.causes:
            none = np.zeros((0, *(nodes.size for nodes in self.axes)))
            object.__setattr__(self, "components", none)
        for name in (*self.axis_names, "nodes", "components"):
            object.__setattr__(self, name, frozen(getattr(self, name)))
        object.__setattr__(self, "inside_envelope", frozen(self.inside_envelope, np.bool_))
        object.__setattr__(self, "provenance", MappingProxyType(dict(self.provenance)))
        self._check()

    def __str__(self) -> str:
        return f"{self.material} ({self.state}), {self.kind}"

    @property
    def axis_names(self) -> tuple[str, ...]:
        """Slip speed, temperature and pressure, and dwell where the table has one."""
        return AXES if self.dwell_s is None else ALL_AXES

    @property
    def axes(self) -> Axes:
        """The nodes of each of `axis_names`."""
        return tuple(getattr(self, name) for name in self.axis_names)

    def field(self, name: str) -> FloatArray:
        """Return one of `FIELDS` on the grid."""
        values: FloatArray = self.nodes[FIELDS.index(name)]
        return values

    def mu(
        self,
        slip_speed_m_s: ArrayLike,
        temperature_c: ArrayLike,
        pressure_mpa: ArrayLike,
        dwell_s: ArrayLike | None = None,
        *,
        outside: Literal["refuse", "nearest"] = "refuse",
    ) -> Reading:
        """Read the coefficient and its intervals by linear interpolation.

        Parameters
        ----------
        slip_speed_m_s, temperature_c, pressure_mpa : array_like
            Conditions; they broadcast together. [m/s, degC, MPa]
        dwell_s : array_like, optional
            Time at rest before a breakaway, for a table that has one; that of its
            reference by default. [s]
        outside : str
            What to do outside the envelope: ``refuse``, or take the
            ``nearest`` value inside and say so in the reading.

        Raises
        ------
        TableError
            When a condition is outside the envelope or not a number, or a dwell is given to a
            table without one.
        """
        if outside not in ("refuse", "nearest"):
            raise TableError(f"outside='{outside}'", expected="'refuse' or 'nearest'")
        wanted: list[ArrayLike] = [slip_speed_m_s, temperature_c, pressure_mpa]
        if self.dwell_s is not None:
            wanted.append(self.reference[-1] if dwell_s is None else dwell_s)
        elif dwell_s is not None:
            raise TableError("the table does not depend on a dwell", where=str(self))
        given = np.broadcast_arrays(*(np.atleast_1d(np.asarray(c, np.float64)) for c in wanted))
        asked = np.stack([part.ravel() for part in given])
        inside, moved, words = self._into_envelope(asked)
        if moved.any() and outside == "refuse":
            raise TableError(
                words,
                where=str(self),
                expected="a condition inside the envelope that was tested",
                do="Ask with outside='nearest' for the nearest inside value, or test there.",
            )
        every = np.concatenate([self.nodes, self.components])
        read = interpolate(self.axes, every, tuple(inside))
        notice = Notice(
            Severity.WARNING,
            str(self),
            f"{words}; the nearest inside value is given ({moved.sum()} of {moved.size} readings)",
        )
        fields, components = np.split(read, [len(FIELDS)])
        values = dict(zip((*self.axis_names, *FIELDS), (*inside, *fields), strict=True))
        values.setdefault(DWELL, np.full(moved.size, np.nan))
        return Reading(
            **values,
            causes=self.causes,
            components=components,
            moved=moved,
            notices=(notice,) if moved.any() else (),
        )

    def _into_envelope(self, asked: FloatArray) -> tuple[FloatArray, BoolArray, str]:
        """Move conditions (k, m) to the nearest inside; say which moved and why the first did."""
        if not np.isfinite(asked).all():
            raise TableError("a condition is not a number", where=str(self))
        held = np.stack(
            [np.clip(at, nodes[0], nodes[-1]) for at, nodes in zip(asked, self.axes, strict=True)]
        )
        room = np.array([[_ROUNDING * max(abs(nodes[0]), abs(nodes[-1]))] for nodes in self.axes])
        beyond = np.abs(asked - held) > room
        moved = np.any(beyond, axis=0) | ~self.envelope.contains(Conditions(*held))
        inside = held.copy()
        for j in np.flatnonzero(moved):
            inside[:, j] = self._nearest(asked[:, j])
        return inside, moved, self._words(asked, beyond, moved)

    def _nearest(self, condition: FloatArray) -> FloatArray:
        """Return the tested condition nearest to `condition`, within the axes."""
        ends = np.array([[nodes[0], nodes[-1]] for nodes in self.axes])
        # ln p and ln t need numbers above 0.
        lifted = np.maximum(condition, [0.0, -np.inf, *ends[2:, 0]])
        near = nearest([self.envelope], Conditions(*lifted))
        if near is not None:
            lifted = np.array([getattr(near, name)[0] for name in self.axis_names])
        return np.clip(lifted, ends[:, 0], ends[:, 1])

    def _words(self, asked: FloatArray, beyond: BoolArray, moved: BoolArray) -> str:
        """Say why the first condition that moved is outside."""
        if not moved.any():
            return ""
        j = int(np.flatnonzero(moved)[0])
        for i, (name, nodes) in enumerate(zip(self.axis_names, self.axes, strict=True)):
            if beyond[i, j]:
                return _outside_words(name, asked[i, j], nodes)
        parts = ", ".join(
            f"{value:.4g} {QUANTITIES[name].unit}"
            for name, value in zip(self.axis_names, asked[:, j], strict=True)
        )
        return f"{parts} lies within the tested ranges, but they were not tested together"

    def _check(self) -> None:
        """Refuse a table that cannot be read."""
        shape = tuple(nodes.size for nodes in self.axes)
        if self.kind not in ("kinetic", "static"):
            raise TableError(f"kind '{self.kind}'", where=str(self))
        for name, nodes in zip(self.axis_names, self.axes, strict=True):
            if nodes.ndim != 1 or not nodes.size or not np.isfinite(nodes).all():
                raise TableError(f"axis {name} has no usable nodes", where=str(self))
            if np.any(np.diff(nodes) <= 0.0):
                raise TableError(
                    f"axis {name} does not increase from node to node", where=str(self)
                )
        if self.nodes.shape != (len(FIELDS), *shape) or self.inside_envelope.shape != shape:
            raise TableError(
                f"arrays of shape {self.nodes.shape[1:]} and {self.inside_envelope.shape}",
                where=str(self),
                expected=f"{shape}, the numbers of nodes of the axes",
            )
        if self.components.shape != (len(self.causes), *shape):
            raise TableError("a component does not fit the axes", where=str(self))
        if not np.isfinite(self.nodes[:4]).all() or np.any(self.nodes[1] < 0.0):
            raise TableError("mu, its uncertainty or its interval is missing", where=str(self))
        if np.any(np.abs(self.nodes[:4]) > _MOST):
            raise TableError(
                "mu, its uncertainty or its interval is no coefficient of friction",
                where=str(self),
                expected=f"numbers of at most {_MOST:g}",
            )
        if np.any(np.abs(self.components) > (1.0 + _ROUNDING) * self.nodes[1]):
            raise TableError(
                "a component is larger than the uncertainty that it is part of", where=str(self)
            )


def _outside_words(name: str, value: float, nodes: FloatArray) -> str:
    quantity = QUANTITIES[name]
    ends = f"{nodes[0]:.4g} to {nodes[-1]:.4g}" if nodes.size > 1 else f"only {nodes[0]:.4g}"
    return (
        f"{quantity.words} {value:.4g} {quantity.unit} is outside what was tested, "
        f"{ends} {quantity.unit}"
    )
