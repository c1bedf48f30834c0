"""What the report is made from: every stage's result, as it came."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from rigdata.bedding.results import Bedding
from rigdata.campaign.campaign import STATES, Campaign
from rigdata.comparison.batches import BatchCheck
from rigdata.comparison.ratios import Ratio
from rigdata.comparison.trait_differences import TraitDifference
from rigdata.figures.style import Mark, marks_of
from rigdata.friction.results import FrictionFit, Group
from rigdata.reduction.points import FrictionPoints
from rigdata.reduction.results import Reduction
from rigdata.tables.table import CoefficientTable
from rigdata.wear.assess import Wear


@dataclass(frozen=True, eq=False)
class ReportInput:
    """Everything that the report shows.

    Attributes
    ----------
    campaign : Campaign
        What was tested.
    reduction : Reduction
        Friction points, traces, and what was left out.
    fits : mapping of Group to FrictionFit
        Laws of the kinetic coefficient; empty when nothing could be fitted.
    static : mapping of Group to FrictionFit
        Laws of the static coefficient; empty without breakaway runs.
    ratios : sequence of Ratio
        Comparisons; empty when there was nothing to compare.
    table_files : sequence of Path
        Coefficient tables written, relative to the results folder.
    provenance : mapping of str to str
        Version, command, options: names and values in the order to be shown.
    traits : sequence of TraitDifference
        The same of traits beside the level of mu.
    batches : sequence of BatchCheck
        Batches against those before them.
    wear : Wear or None
        Wear of the plates; None where it was not worked out.
    bedding : Bedding or None
        When each pack became steady; None where it was not worked out.
    tables : sequence of CoefficientTable
        What the look-up panel reads.
    """

    campaign: Campaign
    reduction: Reduction
    fits: Mapping[Group, FrictionFit]
    static: Mapping[Group, FrictionFit]
    ratios: Sequence[Ratio]
    table_files: Sequence[Path]
    provenance: Mapping[str, str]
    traits: Sequence[TraitDifference] = ()
    batches: Sequence[BatchCheck] = ()
    wear: Wear | None = None
    bedding: Bedding | None = None
    tables: Sequence[CoefficientTable] = ()

    @property
    def points(self) -> FrictionPoints:
        """Every friction point, used or not."""
        return self.reduction.points

    @property
    def marks(self) -> dict[Group, Mark]:
        """How each material and state looks, the baseline first and new before worn."""
        states = list(STATES)
        named = set(zip(self.points.material.tolist(), self.points.state.tolist(), strict=True))
        groups = [Group(material, state) for material, state in named]
        order = list(self.materials)
        groups.sort(key=lambda g: (order.index(g.material), states.index(g.state)))
        return marks_of(groups)

    @property
    def ordered_fits(self) -> dict[Group, FrictionFit]:
        """The fits in the order of the marks."""
        return {group: self.fits[group] for group in self.marks if group in self.fits}

    @property
    def materials(self) -> tuple[str, ...]:
        """Material names in the order of their marks, the baseline first."""
        names = list(self.campaign.materials)
        return tuple(sorted(names, key=lambda name: name != self.campaign.baseline))
