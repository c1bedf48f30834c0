"""Packs of earlier campaigns beside those of this one, with what they truly share."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from rigdata.campaign.campaign import Campaign, Reference
from rigdata.errors import ComparisonError, ResultError
from rigdata.friction.conditions import AXES
from rigdata.friction.pack_levels import PackLevels, pack_levels
from rigdata.friction.results import FrictionFit, Group
from rigdata.pipeline.folder import read_manifest
from rigdata.pipeline.stored import fits_from_folder, points_from_folder
from rigdata.reduction.points import FrictionPoints
from rigdata.uncertainty.identity import Origins


def levels_with_earlier(
    points: FrictionPoints,
    fits: Mapping[Group, FrictionFit],
    campaign: Campaign,
    earlier: Sequence[Path],
) -> PackLevels:
    """Return the pack levels of this campaign and of results folders of earlier ones.

    Parameters
    ----------
    points, fits, campaign
        This campaign; its fits may be empty only where `earlier` holds others.
    earlier : sequence of Path
        Results folders.  Where a batch was tested again its packs stand beside each
        other.

    Raises
    ------
    ComparisonError
        When an earlier campaign quotes another reference condition.
    ResultError
        When a folder holds no results, or cannot be read.
    """
    before = [_of_folder(folder, campaign.reference) for folder in earlier]
    return joined([*before, _named(pack_levels(points, fits), points, campaign.origins)])


def joined(parts: Sequence[PackLevels]) -> PackLevels:
    """Return the packs of all `parts`; sources of one id are one source."""
    ids = list(dict.fromkeys(name for part in parts for name in part.source))
    place = {name: i for i, name in enumerate(ids)}
    shared = []
    for part in parts:
        wide = np.zeros((len(part), len(ids)))
        wide[:, [place[name] for name in part.source]] = part.shared
        shared.append(wide)
    text = ("pack", "material", "batch", "state", "hours", "mu", "u_random")
    columns = {name: np.concatenate([getattr(part, name) for part in parts]) for name in text}
    return PackLevels(**columns, source=tuple(ids), shared=np.concatenate(shared))


def _of_folder(folder: Path, reference: Reference) -> PackLevels:
    manifest = read_manifest(folder)
    hashes = {entry["id"]: entry["sha256"] for entry in manifest.get("records", [])}
    digests = {entry["role"]: entry["sha256"] for entry in manifest.get("inputs", [])}
    if "campaign" not in digests or "rig" not in digests:
        raise ResultError(
            "the folder holds no results of a campaign",
            where=str(folder),
            expected="a folder that 'rigdata run' wrote",
        )
    points, fits = points_from_folder(folder), fits_from_folder(folder).kinetic
    for group, fit in fits.items():
        if any(getattr(fit.reference, axis) != getattr(reference, axis) for axis in AXES):
            raise ComparisonError(
                f"{group} is quoted at another reference condition",
                where=str(folder),
                expected="the same [reference] in both campaigns",
                do="Give the earlier campaign this reference and fit its points again",
            )
    origins = Origins(hashes, digests["rig"], digests["campaign"])
    return _named(pack_levels(points, fits), points, origins)


def _named(levels: PackLevels, points: FrictionPoints, origins: Origins) -> PackLevels:
    """Return the levels with source ids that say what each source comes from."""
    scopes = {source.id: source.scope for source in points.sources}
    names = tuple(origins.lasting_name(name, scopes[name]) for name in levels.source)
    return replace(levels, source=names)
