"""Each stage from the files of the one before it, into the results folder."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from rigdata.bedding.assess import WITHIN, assess_bedding
from rigdata.bedding.bedding_file import bedding_to_dict, read_steady
from rigdata.bedding.keep_out import bedding_notices, restored, without_bedding
from rigdata.bedding.results import Bedding
from rigdata.campaign.campaign import Campaign
from rigdata.campaign.inspections import inspections_of
from rigdata.comparison.batches import MARGIN as BATCH_MARGIN
from rigdata.comparison.batches import BatchCheck, check_batches
from rigdata.comparison.batches_file import batches_to_dict
from rigdata.comparison.pair_fits import fit_pairs
from rigdata.comparison.ratios import MARGIN, Ratio, comparison_notices, ratios_of
from rigdata.comparison.ratios_file import ratios_text
from rigdata.comparison.trait_differences import TraitDifference, compare_traits
from rigdata.comparison.traits_file import traits_to_dict
from rigdata.engines.engine import Engine, alone
from rigdata.errors import ComparisonError, FitError, Notice, Severity
from rigdata.friction.fit import LEAST_POINTS, fit_group, groups_left_out, split
from rigdata.friction.fits_file import write_fits
from rigdata.friction.laws.registry import STATIC_LAWS, SURFACE, check_law, laws_for
from rigdata.friction.pack_levels import pack_levels
from rigdata.friction.pooled_fits import choose_scatter
from rigdata.friction.results import FrictionFit, Group
from rigdata.friction.static import fit_static
from rigdata.friction.stick_slip import find_stick_slip
from rigdata.pipeline.earlier import levels_with_earlier
from rigdata.pipeline.folder import (
    BATCHES_FILE,
    BEDDING_FILE,
    COMPARISON_FILE,
    FITS_FILE,
    TABLES_FOLDER,
    TRAITS_FILE,
    WEAR_FILE,
    cache_of,
    check_untouched,
    results_folder,
    results_stage,
    working_alone,
)
from rigdata.pipeline.stored import Fits, fits_from_folder, points_from_folder
from rigdata.reduction.points import FrictionPoints
from rigdata.reduction.points_file import (
    BUDGET_FILE,
    POINTS_FILE,
    budget_text,
    points_text,
)
from rigdata.reduction.reduce import reduce_campaign
from rigdata.reduction.results import Reduction
from rigdata.steps import Progress, counted
from rigdata.storage.files import write_text
from rigdata.storage.json_files import write_json
from rigdata.tables.build import TOLERANCE, Tables, build_tables
from rigdata.tables.write import write_tables
from rigdata.wear.assess import Wear, assess_wear
from rigdata.wear.wear_file import wear_to_dict


@dataclass(frozen=True)
class Comparison:
    """Materials, states and batches against each other.

    Attributes
    ----------
    ratios : tuple of Ratio
        Materials against the baseline, and states against the new one.
    traits : tuple of TraitDifference
        What they differ by beside the level of mu.
    batches : tuple of BatchCheck
    notices : tuple of Notice
        What could not be compared, and why.
    """

    ratios: tuple[Ratio, ...]
    traits: tuple[TraitDifference, ...]
    batches: tuple[BatchCheck, ...]
    notices: tuple[Notice, ...]


@dataclass(frozen=True, eq=False)
class Settled:
    """Friction points, those of packs not yet bedded in told apart.

    Attributes
    ----------
    points : FrictionPoints
        As fits use them.
    bedding : Bedding
    notices : tuple of Notice
        Packs that are not steady, and what was kept out for it.
    """

    points: FrictionPoints
    bedding: Bedding
    notices: tuple[Notice, ...]


def settle_points(
    points: FrictionPoints,
    campaign: Campaign,
    *,
    steady: float = WITHIN,
    keep_bedding: bool = False,
) -> Settled:
    """Find when each pack became steady, and keep what came before out of the fits.

    Parameters
    ----------
    points : FrictionPoints
        Of the reduction; what an earlier call kept out counts again.
    campaign : Campaign
    steady : float
        How near to the level that it settles to mu counts as steady, relative.
    keep_bedding : bool
        Leave such points in the fits.  Bedding runs stay out all the same.
    """
    points = restored(points)
    bedding = assess_bedding(points, campaign, within=steady)
    if not keep_bedding:
        points = without_bedding(points, bedding)
    return Settled(points, bedding, bedding_notices(points, bedding))


def fit_points(
    points: FrictionPoints,
    campaign: Campaign,
    *,
    laws: Sequence[str] | None = None,
    pool_scatter: bool = False,
    progress: Progress | None = None,
) -> Fits:
    """Fit every group; one that cannot be fitted does not stop the others.

    Of `laws`, those for kinetic and those for static points are taken for either;
    where there is none for one of them, all.  With `pool_scatter` the scatter of
    kinetic friction is taken from all groups where no test speaks against it.
    """
    known_laws(laws, campaign)
    slipping = [name for name in laws or () if name in (*laws_for(campaign.oil), SURFACE)]
    at_rest = [name for name in laws or () if name in STATIC_LAWS]
    kinetic: dict[Group, FrictionFit] = {}
    notices = list(groups_left_out(points))
    groups = split(points, "kinetic")
    enough = {group: own for group, own in groups.items() if len(own) >= LEAST_POINTS}
    for group in counted(progress, "fitting laws to", enough):
        own = groups[group]
        try:
            kinetic[group] = fit_group(
                own, group, campaign.reference, laws=slipping or None, oil=campaign.oil
            )
        except FitError as fault:
            notices.append(Notice(Severity.LEFT_OUT, str(group), fault.what, fault.do))
    kinetic = choose_scatter(kinetic, groups, pool_scatter=pool_scatter)
    notices += [notice for fit in kinetic.values() for notice in fit.notices]
    static, more = fit_static(points, campaign.reference, laws=at_rest or None)
    chatter = find_stick_slip(points, kinetic, campaign.reference)
    return Fits(kinetic, static, (*notices, *more), chatter)


def known_laws(laws: Sequence[str] | None, campaign: Campaign) -> None:
    """Raise FitError when one of `laws` is unknown or needs an oil that there is not."""
    for name in laws or ():
        check_law(name, campaign.oil)


def compare(
    points: FrictionPoints,
    fits: Fits,
    campaign: Campaign,
    bedding: Bedding,
    *,
    margin: float,
    progress: Progress | None = None,
) -> tuple[tuple[Ratio, ...], tuple[TraitDifference, ...], tuple[Notice, ...]]:
    """Compare the groups with the baseline; say so when it cannot be done."""
    if len(fits.kinetic) < 2:
        return (), (), ()
    baseline, reference = campaign.baseline, campaign.reference
    try:
        pairs = fit_pairs(
            points, fits.kinetic, baseline=baseline, reference=reference, progress=progress
        )
    except ComparisonError as fault:
        return (), (), (Notice(Severity.LEFT_OUT, "comparison", fault.what, fault.do),)
    ratios = ratios_of(pairs, margin=margin)
    traits = compare_traits(pairs, points, fits.static, bedding.groups)
    notices = comparison_notices(ratios, fits.kinetic, baseline=baseline, reference=reference)
    return ratios, traits, notices


@working_alone("reduce")
def reduce_into(
    campaign: Campaign,
    out: Path | None = None,
    *,
    force: bool = False,
    progress: Progress | None = None,
    cache: bool = True,
    engine: Engine = alone,
) -> tuple[Reduction, Path]:
    """Reduce the logs and write points.csv and budget.csv; return also the folder."""
    folder = results_folder(campaign, out)
    reduction = reduce_campaign(
        campaign, progress=progress, cache=cache_of(campaign, wanted=cache), engine=engine
    )
    with results_stage(campaign, folder, "reduce", {}, force=force, reduction=reduction) as part:
        write_points(reduction.points, part)
    return reduction, folder


@working_alone("fit")
def fit_into(
    campaign: Campaign,
    out: Path | None = None,
    *,
    force: bool = False,
    laws: Sequence[str] | None = None,
    pool_scatter: bool = False,
    steady: float = WITHIN,
    keep_bedding: bool = False,
    progress: Progress | None = None,
) -> tuple[Fits, Path]:
    """Fit the points of the results folder and write fits.json and bedding.json.

    points.csv is written anew where other points than before are kept out as not yet
    bedded in.
    """
    folder = results_folder(campaign, out)
    before = points_from_folder(folder)
    settled = settle_points(before, campaign, steady=steady, keep_bedding=keep_bedding)
    fits = fit_points(
        settled.points, campaign, laws=laws, pool_scatter=pool_scatter, progress=progress
    )
    fits = replace(fits, notices=(*settled.notices, *fits.notices))
    options = {
        "laws": list(laws or ()),
        "pool_scatter": pool_scatter,
        "steady": steady,
        "keep_bedding": keep_bedding,
    }
    with results_stage(campaign, folder, "fit", options, force=force) as part:
        if not np.array_equal(before.used, settled.points.used):
            write_points(settled.points, part)
        write_json(part / BEDDING_FILE, bedding_to_dict(settled.bedding))
        write_fits(part / FITS_FILE, fits.kinetic, fits.static)
    return fits, folder


@working_alone("bedding")
def bedding_into(
    campaign: Campaign, out: Path | None = None, *, force: bool = False, steady: float = WITHIN
) -> tuple[Bedding, tuple[Notice, ...], Path]:
    """Find when each pack became steady and write bedding.json.

    The points that fits use stay what they are; where others should be kept out, the
    notices say so.
    """
    folder = results_folder(campaign, out)
    points = points_from_folder(folder)
    bedding = assess_bedding(points, campaign, within=steady)
    with results_stage(campaign, folder, "bedding", {"steady": steady}, force=force) as part:
        write_json(part / BEDDING_FILE, bedding_to_dict(bedding))
    return bedding, bedding_notices(points, bedding), folder


@working_alone("compare")
def compare_into(
    campaign: Campaign,
    out: Path | None = None,
    *,
    force: bool = False,
    margin: float = MARGIN,
    batch_margin: float = BATCH_MARGIN,
    earlier: Sequence[Path] = (),
    reference_batches: Sequence[str] = (),
    progress: Progress | None = None,
) -> tuple[Comparison, Path]:
    """Compare the groups and batches of the results folder.

    Writes comparison.csv, traits.json and batches.json; `earlier` names results folders whose
    packs are taken in.
    """
    folder = results_folder(campaign, out)
    points, fits = points_from_folder(folder), fits_from_folder(folder)
    bedding = stored_bedding(points, campaign, folder)
    ratios, traits, notices = compare(
        points, fits, campaign, bedding, margin=margin, progress=progress
    )
    levels = levels_with_earlier(points, fits.kinetic, campaign, earlier)
    batches, more = check_batches(levels, reference=reference_batches, margin=batch_margin)
    options = {
        "margin": margin,
        "batch_margin": batch_margin,
        "with": [path.name for path in earlier],
        "reference_batches": list(reference_batches),
    }
    with results_stage(campaign, folder, "compare", options, force=force) as part:
        write_text(part / COMPARISON_FILE, ratios_text(ratios))
        write_json(part / TRAITS_FILE, traits_to_dict(traits))
        write_json(part / BATCHES_FILE, batches_to_dict(batches))
    return Comparison(ratios, traits, batches, (*notices, *more)), folder


def stored_bedding(points: FrictionPoints, campaign: Campaign, folder: Path) -> Bedding:
    """Return the bedding-in of the points in a results folder, as it was asked for there."""
    check_untouched(folder, BEDDING_FILE)
    return assess_bedding(points, campaign, within=read_steady(folder / BEDDING_FILE))


@working_alone("wear")
def wear_into(
    campaign: Campaign, out: Path | None = None, *, force: bool = False
) -> tuple[Wear, Path]:
    """Work out the wear from the inspections and the fits, and write wear.json."""
    folder = results_folder(campaign, out)
    points, fits = points_from_folder(folder), fits_from_folder(folder)
    wear = wear_of(campaign, points, fits)
    with results_stage(campaign, folder, "wear", {}, force=force) as part:
        write_json(part / WEAR_FILE, wear_to_dict(wear))
    return wear, folder


def wear_of(campaign: Campaign, points: FrictionPoints, fits: Fits) -> Wear:
    """Return the wear by the inspections and the level of each pack."""
    levels = pack_levels(points, fits.kinetic)
    return assess_wear(campaign, inspections_of(campaign), levels, fits.kinetic)


@working_alone("tables")
def tables_into(
    campaign: Campaign,
    out: Path | None = None,
    *,
    force: bool = False,
    tolerance: float = TOLERANCE,
    formats: Sequence[str] = (),
    progress: Progress | None = None,
) -> tuple[Tables, Path]:
    """Write the coefficient tables of the fits in the results folder, in more `formats` too."""
    folder = results_folder(campaign, out)
    fits = fits_from_folder(folder)
    points = points_from_folder(folder)
    built = build_tables(
        fits.kinetic,
        points,
        campaign,
        static=fits.static,
        tolerance=tolerance,
        progress=progress,
    )
    options = {"tolerance": tolerance, "formats": list(formats)}
    with results_stage(campaign, folder, "tables", options, force=force) as part:
        write_tables(built.tables, part / TABLES_FOLDER, formats=formats)
    return built, folder


def write_points(points: FrictionPoints, folder: Path) -> None:
    """Write points.csv and budget.csv into `folder`."""
    write_text(folder / POINTS_FILE, points_text(points))
    write_text(folder / BUDGET_FILE, budget_text(points))
