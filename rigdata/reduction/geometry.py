"""Where the friction force acts: effective radius, face area and their uncertainty."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from rigdata.arrays import FloatArray, frozen
from rigdata.campaign.campaign import Pack
from rigdata.uncertainty.sources import Distribution, Effect, Scope, Source

Length = TypeVar("Length", float, FloatArray)

_MM = 1e-3
_LAW_LIMIT = 0.5  # of the gap between the radius laws, beyond which the other would be stated


@dataclass(frozen=True, eq=False)
class Geometry:
    """The friction faces of one pack.

    Attributes
    ----------
    faces : int
        Number of friction faces.
    radius_m : float
        Effective radius. [m]
    area_m2 : float
        Contact area of one face, grooves left out. [m^2]
    outer_m, inner_m, u_radius_m : float
        Outer and inner radius of the faces, and the standard uncertainty of each. [m]
    law : str
        ``uniform-pressure`` or ``uniform-wear``.
    gap_m : float
        Effective radius under uniform pressure less that under uniform wear. [m]
    sources : tuple of 3 Source
        Outer radius, inner radius, and the choice between the radius laws.
    relative : (3,) float
        Relative change of the effective radius for one standard deviation of
        each source.
    """

    faces: int
    radius_m: float
    area_m2: float
    outer_m: float
    inner_m: float
    u_radius_m: float
    law: str
    gap_m: float
    sources: tuple[Source, ...]
    relative: FloatArray

    @property
    def relative_area(self) -> FloatArray:
        """(3,) relative change of the area for one standard deviation of each source."""
        span = self.outer_m**2 - self.inner_m**2
        slopes = np.array([2 * self.outer_m, -2 * self.inner_m, 0.0])
        return slopes * self.u_radius_m / span

    def drawn_radius(self, errors: FloatArray) -> FloatArray:
        """Effective radius for each of m sets of errors. [m]

        Parameters
        ----------
        errors : (3, m) array
            Error of each source, in its standard deviations.

        Returns
        -------
        (m,) array
            The radius law itself at the radii drawn, not its slopes.
        """
        outer, inner = (
            radius + self.u_radius_m * error
            for radius, error in zip((self.outer_m, self.inner_m), errors[:2], strict=True)
        )
        by_law: FloatArray = effective_radius(outer, inner, self.law)
        drawn: FloatArray = by_law + _LAW_LIMIT * self.gap_m / math.sqrt(3) * errors[2]
        return drawn


def effective_radius(outer: Length, inner: Length, law: str) -> Length:
    """Effective radius of an annular friction face.

    Parameters
    ----------
    outer, inner : float or (n,) array
        Radii of the face; any unit, the result has the same.
    law : str
        ``uniform-pressure``: 2/3 (ro^3 - ri^3) / (ro^2 - ri^2);
        ``uniform-wear``: (ro + ri) / 2.

    Notes
    -----
    Pressure p(r) constant, or p(r) r constant, in T = mu N int 2 pi p r^2 dr over
    F = int 2 pi p r dr.  Any textbook of machine design, chapter on disc
    clutches.  Both conventions are in use in published friction procedures, so
    the law is part of every result.
    """
    if law == "uniform-wear":
        return (outer + inner) / 2
    # The same as the quotient of differences, without its cancellation for thin faces.
    return 2 / 3 * (outer**2 + outer * inner + inner**2) / (outer + inner)


def radius_slopes(outer: float, inner: float, law: str) -> tuple[float, float]:
    """Return the derivatives of `effective_radius` by the outer and inner radius."""
    if law == "uniform-wear":
        return 0.5, 0.5
    total = outer + inner
    return (
        2 / 3 * outer * (outer + 2 * inner) / total**2,
        2 / 3 * inner * (inner + 2 * outer) / total**2,
    )


def face_area(outer: float, inner: float, contact_area_fraction: float) -> float:
    """Contact area of one face: phi pi (ro^2 - ri^2)."""
    return contact_area_fraction * math.pi * (outer**2 - inner**2)


def pack_geometry(pack: Pack) -> Geometry:
    """Return the geometry of `pack` with its sources of uncertainty.

    The two radii are measured apart, each with `radius_u_mm`.  The true pressure
    distribution lies between the two laws, and the stated one is the nearer: the
    error is rectangular with half the gap between the laws as its half-width
    (JCGM 100:2008, 4.3.7) and is shared by all packs under the same law, because
    one rig presses them all alike.
    """
    outer, inner = pack.outer_radius_mm * _MM, pack.inner_radius_mm * _MM
    radius = effective_radius(outer, inner, pack.pressure_law)
    by_outer, by_inner = radius_slopes(outer, inner, pack.pressure_law)
    u_radius = pack.radius_u_mm * _MM
    gap = effective_radius(outer, inner, "uniform-pressure") - effective_radius(
        outer, inner, "uniform-wear"
    )
    shifts = [by_outer * u_radius, by_inner * u_radius, _LAW_LIMIT * gap / math.sqrt(3)]
    return Geometry(
        faces=pack.friction_faces,
        radius_m=radius,
        area_m2=face_area(outer, inner, pack.contact_area_fraction),
        outer_m=outer,
        inner_m=inner,
        u_radius_m=u_radius,
        law=pack.pressure_law,
        gap_m=gap,
        sources=(
            _radius(f"outer-radius:{pack.name}", "outer radius of the faces"),
            _radius(f"inner-radius:{pack.name}", "inner radius of the faces"),
            Source(
                f"radius-law:{pack.pressure_law}",
                Scope.RIG,
                Effect.PROPORTIONAL,
                "uniform pressure against uniform wear",
                Distribution.RECTANGULAR,
            ),
        ),
        relative=frozen([shift / radius for shift in shifts]),
    )


def _radius(name: str, label: str) -> Source:
    return Source(name, Scope.PACK, Effect.PROPORTIONAL, label)
