"""What earlier stages left in a results folder."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from rigdata.errors import Notice
from rigdata.friction.fits_file import read_fits
from rigdata.friction.results import FrictionFit, Group
from rigdata.friction.stick_slip import StickSlip
from rigdata.pipeline.folder import FITS_FILE, check_untouched
from rigdata.reduction.points import FrictionPoints
from rigdata.reduction.points_file import BUDGET_FILE, POINTS_FILE, read_points


@dataclass(frozen=True, eq=False)
class Fits:
    """The fitted laws of a campaign.

    Attributes
    ----------
    kinetic, static : mapping of Group to FrictionFit
        Laws of the kinetic coefficient, and of breakaway where it was tested.
    notices : tuple of Notice
        Groups without a law and why, and what each fit has to say.
    stick_slip : mapping of Group to StickSlip
        Where packs stick and slip; empty for fits read from a folder.
    """

    kinetic: Mapping[Group, FrictionFit]
    static: Mapping[Group, FrictionFit]
    notices: tuple[Notice, ...]
    stick_slip: Mapping[Group, StickSlip] = field(default_factory=dict)


def points_from_folder(folder: Path | str) -> FrictionPoints:
    """Read the friction points of a results folder, or two files made by hand."""
    return read_points(Path(folder) / POINTS_FILE, Path(folder) / BUDGET_FILE)


def fits_from_folder(folder: Path | str) -> Fits:
    """Read the fits of a results folder."""
    check_untouched(Path(folder), FITS_FILE)
    kinetic, static = read_fits(Path(folder) / FITS_FILE)
    both = (*kinetic.values(), *static.values())
    notices = [notice for fit in both for notice in fit.notices]
    return Fits(kinetic, static, tuple(notices))
