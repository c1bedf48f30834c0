"""The whole job: from the logs of a campaign to tables and report."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from types import MappingProxyType

from rigdata.bedding.assess import WITHIN
from rigdata.bedding.bedding_file import bedding_to_dict
from rigdata.bedding.results import Bedding
from rigdata.campaign.campaign import Campaign, read_campaign
from rigdata.campaign.inspections import inspections_of
from rigdata.comparison.batches import BatchCheck, check_batches
from rigdata.comparison.batches_file import batches_to_dict
from rigdata.comparison.ratios import Ratio
from rigdata.comparison.ratios_file import ratios_text
from rigdata.comparison.trait_differences import TraitDifference
from rigdata.comparison.traits_file import traits_to_dict
from rigdata.engines.engine import Engine, alone
from rigdata.errors import Notice
from rigdata.friction.fits_file import write_fits
from rigdata.friction.pack_levels import pack_levels
from rigdata.friction.results import FrictionFit, Group
from rigdata.friction.stick_slip import StickSlip
from rigdata.pipeline.folder import (
    BATCHES_FILE,
    BEDDING_FILE,
    COMPARISON_FILE,
    FITS_FILE,
    REPORT_FILE,
    TABLES_FOLDER,
    TRAITS_FILE,
    WEAR_FILE,
    cache_of,
    provenance,
    read_files,
    results_folder,
    results_stage,
)
from rigdata.pipeline.stages import (
    compare,
    fit_points,
    known_laws,
    settle_points,
    write_points,
)
from rigdata.reduction.reduce import reduce_campaign
from rigdata.reduction.results import Reduction
from rigdata.report.model import ReportInput
from rigdata.report.page import render_report
from rigdata.steps import Progress, Step, silent
from rigdata.storage.files import write_text
from rigdata.storage.folders import check_replaceable
from rigdata.storage.json_files import write_json
from rigdata.storage.lock import owned
from rigdata.tables.build import TOLERANCE, build_tables
from rigdata.tables.exporters import chosen_exporters
from rigdata.tables.table import CoefficientTable
from rigdata.tables.write import write_tables
from rigdata.wear.assess import Wear, assess_wear
from rigdata.wear.wear_file import wear_to_dict


@dataclass(frozen=True, eq=False)
class CampaignResult:
    """Everything that a campaign gives.

    Attributes
    ----------
    campaign : Campaign
    reduction : Reduction
        Friction points, and everything that was left out.
    bedding : Bedding
        When each pack became steady.
    fits, static : mapping of Group to FrictionFit
        Laws of the kinetic coefficient, and of breakaway where it was tested.
    stick_slip : mapping of Group to StickSlip
        Where packs stick and slip.
    ratios : tuple of Ratio
        Comparisons with the baseline.
    traits : tuple of TraitDifference
        The same of traits beside the level of mu.
    batches : tuple of BatchCheck
        Batches against those before them.
    wear : Wear
        Wear of the plates, and the coefficient against service.
    tables : mapping of Group to CoefficientTable
    folder : Path
        Where the results were written.
    notices : tuple of Notice
        Everything worth knowing, stage by stage.
    """

    campaign: Campaign
    reduction: Reduction
    bedding: Bedding
    fits: Mapping[Group, FrictionFit]
    static: Mapping[Group, FrictionFit]
    stick_slip: Mapping[Group, StickSlip]
    ratios: tuple[Ratio, ...]
    traits: tuple[TraitDifference, ...]
    batches: tuple[BatchCheck, ...]
    wear: Wear
    tables: Mapping[Group, CoefficientTable]
    folder: Path
    notices: tuple[Notice, ...]

    def __post_init__(self) -> None:
        for name in ("fits", "static", "stick_slip", "tables"):
            object.__setattr__(self, name, MappingProxyType(dict(getattr(self, name))))


def run_campaign(
    path: Path | str,
    *,
    out: Path | str | None = None,
    force: bool = False,
    progress: Progress | None = None,
    laws: Sequence[str] | None = None,
    pool_scatter: bool = False,
    steady: float = WITHIN,
    keep_bedding: bool = False,
    margin: float = 0.05,
    tolerance: float = TOLERANCE,
    formats: Sequence[str] = (),
    cache: bool = True,
    engine: Engine = alone,
) -> CampaignResult:
    """Do all of it: read, reduce, fit, compare, and write tables and report.

    Parameters
    ----------
    path : path
        The campaign.toml or its folder.
    out : path, optional
        Folder for the results; ``results`` beside the campaign by default.
    force : bool
        Replace a folder that rigdata did not write.
    progress : callable, optional
        Told each `Step` before it begins.
    laws : sequence of str, optional
        Names of the laws to choose from; all by default.
    pool_scatter : bool
        Take scatter from all groups together where no test speaks against it.
    steady : float
        How near to the level that it settles to mu counts as steady, relative.
    keep_bedding : bool
        Leave points from before their pack was steady in the fits.
    margin : float
        Ratios within ``1 +- margin`` count as equivalent.
    tolerance : float
        Largest error of linear interpolation in the tables, as a fraction of mu.
    formats : sequence of str
        Table formats beside those that are always written.
    cache : bool
        Keep what was read of the logs in ``.rigdata-cache`` beside campaign.toml, and
        take it from there the next time.  The results are the same to the last bit.
    engine : Engine
        Where runs are reduced: `alone`, in this process; or ``processes(4)``, or
        ``cluster("tcp://10.0.0.5:8786")``.  The results are the same to the last bit.

    Raises
    ------
    RigdataError
        When the campaign cannot be read, no run gives a friction point, or the
        results cannot be written.  The results are written whole or not at all.
    """
    chosen_exporters(formats)  # wrong options are told before the work, not after it
    campaign = read_campaign(Path(path))
    inspections_of(campaign)
    known_laws(laws, campaign)
    folder = results_folder(campaign, out)
    check_replaceable(folder, force=force, keep=read_files(campaign))
    asked = _Asked(
        laws=tuple(laws or ()),
        pool_scatter=pool_scatter,
        steady=steady,
        keep_bedding=keep_bedding,
        margin=margin,
        tolerance=tolerance,
        formats=tuple(formats),
    )
    with owned(folder, "rigdata run"):
        reduction = reduce_campaign(
            campaign, progress=progress, cache=cache_of(campaign, wanted=cache), engine=engine
        )
        return _worked(reduction, folder, asked, force, progress)


@dataclass(frozen=True)
class _Asked:
    """The options of `run_campaign` that change its results."""

    laws: tuple[str, ...]
    pool_scatter: bool
    steady: float
    keep_bedding: bool
    margin: float
    tolerance: float
    formats: tuple[str, ...]


def _worked(
    reduction: Reduction,
    folder: Path,
    asked: _Asked,
    force: bool,
    progress: Progress | None,
) -> CampaignResult:
    """Return the results of a campaign, written into `folder`, which is locked."""
    campaign, say = reduction.campaign, progress or silent
    say(Step("finding when packs were bedded in"))
    settled = settle_points(
        reduction.points, campaign, steady=asked.steady, keep_bedding=asked.keep_bedding
    )
    reduction = replace(reduction, points=settled.points)
    fits = fit_points(
        reduction.points,
        campaign,
        laws=asked.laws or None,
        pool_scatter=asked.pool_scatter,
        progress=progress,
    )
    ratios, traits, ratio_notices = compare(
        reduction.points, fits, campaign, settled.bedding, margin=asked.margin, progress=progress
    )
    levels = pack_levels(reduction.points, fits.kinetic)
    batches, batch_notices = check_batches(levels)
    say(Step("following the wear"))
    wear = assess_wear(campaign, inspections_of(campaign), levels, fits.kinetic)
    built = build_tables(
        fits.kinetic,
        reduction.points,
        campaign,
        static=fits.static,
        tolerance=asked.tolerance,
        progress=progress,
    )
    notices = (
        *reduction.notices,
        *settled.notices,
        *fits.notices,
        *ratio_notices,
        *batch_notices,
        *wear.notices,
        *built.notices,
    )
    options = {**asdict(asked), "laws": [*asked.laws], "formats": [*asked.formats]}
    say(Step("writing the results"))
    with results_stage(campaign, folder, "run", options, force=force, reduction=reduction) as part:
        write_points(reduction.points, part)
        write_json(part / BEDDING_FILE, bedding_to_dict(settled.bedding))
        write_fits(part / FITS_FILE, fits.kinetic, fits.static)
        write_text(part / COMPARISON_FILE, ratios_text(ratios))
        write_json(part / TRAITS_FILE, traits_to_dict(traits))
        write_json(part / BATCHES_FILE, batches_to_dict(batches))
        write_json(part / WEAR_FILE, wear_to_dict(wear))
        files = write_tables(built.tables, part / TABLES_FOLDER, formats=asked.formats)
        report = ReportInput(
            campaign=campaign,
            reduction=replace(reduction, notices=notices),
            fits=fits.kinetic,
            static=fits.static,
            ratios=ratios,
            traits=traits,
            batches=batches,
            table_files=[Path(TABLES_FOLDER) / file for file in files],
            provenance=provenance("run", options),
            wear=wear,
            bedding=settled.bedding,
            tables=tuple(built.tables.values()),
        )
        write_text(part / REPORT_FILE, render_report(report, progress=progress))
    return CampaignResult(
        campaign,
        reduction,
        settled.bedding,
        fits.kinetic,
        fits.static,
        fits.stick_slip,
        ratios,
        traits,
        batches,
        wear,
        built.tables,
        folder,
        notices,
    )
