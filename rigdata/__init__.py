"""Friction coefficients with honest uncertainty from the logs of a clutch-plate bench rig.

The names in `__all__` are the public API.  They are imported on first use, so
that ``import rigdata`` and the command line's help stay quick.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rigdata.campaign.campaign import Campaign, read_campaign
    from rigdata.comparison.ratios import Ratio, compare_groups
    from rigdata.engines.cluster import cluster
    from rigdata.engines.local import processes
    from rigdata.errors import Notice, RigdataError, Severity
    from rigdata.figures.picture import Picture
    from rigdata.friction.conditions import Conditions
    from rigdata.friction.fit import fit_campaign
    from rigdata.friction.results import FrictionFit, Group
    from rigdata.friction.static import fit_static
    from rigdata.lockup.description import LockPack, read_lock_pack
    from rigdata.lockup.event import slip_event
    from rigdata.lockup.torque import lock_torque
    from rigdata.pipeline.reporting import figures_of
    from rigdata.pipeline.run import CampaignResult, run_campaign
    from rigdata.reduction.points import FrictionPoints
    from rigdata.reduction.points_file import read_points
    from rigdata.reduction.reduce import reduce_campaign
    from rigdata.reduction.results import Reduction
    from rigdata.reduction.verdicts import check_campaign
    from rigdata.report.page import render_report
    from rigdata.steps import Step
    from rigdata.tables.build import build_tables
    from rigdata.tables.read import read_table
    from rigdata.tables.table import CoefficientTable
    from rigdata.tables.write import write_tables

__version__ = "0.1.0"

_HOMES = {
    "Campaign": "rigdata.campaign.campaign",
    "CampaignResult": "rigdata.pipeline.run",
    "CoefficientTable": "rigdata.tables.table",
    "Conditions": "rigdata.friction.conditions",
    "FrictionFit": "rigdata.friction.results",
    "FrictionPoints": "rigdata.reduction.points",
    "Group": "rigdata.friction.results",
    "LockPack": "rigdata.lockup.description",
    "Notice": "rigdata.errors",
    "Picture": "rigdata.figures.picture",
    "Ratio": "rigdata.comparison.ratios",
    "Reduction": "rigdata.reduction.results",
    "RigdataError": "rigdata.errors",
    "Severity": "rigdata.errors",
    "Step": "rigdata.steps",
    "build_tables": "rigdata.tables.build",
    "check_campaign": "rigdata.reduction.verdicts",
    "cluster": "rigdata.engines.cluster",
    "compare_groups": "rigdata.comparison.ratios",
    "figures_of": "rigdata.pipeline.reporting",
    "fit_campaign": "rigdata.friction.fit",
    "fit_static": "rigdata.friction.static",
    "lock_torque": "rigdata.lockup.torque",
    "processes": "rigdata.engines.local",
    "read_campaign": "rigdata.campaign.campaign",
    "read_lock_pack": "rigdata.lockup.description",
    "read_points": "rigdata.reduction.points_file",
    "read_table": "rigdata.tables.read",
    "reduce_campaign": "rigdata.reduction.reduce",
    "render_report": "rigdata.report.page",
    "run_campaign": "rigdata.pipeline.run",
    "slip_event": "rigdata.lockup.event",
    "write_tables": "rigdata.tables.write",
}

__all__ = [
    "Campaign",
    "CampaignResult",
    "CoefficientTable",
    "Conditions",
    "FrictionFit",
    "FrictionPoints",
    "Group",
    "LockPack",
    "Notice",
    "Picture",
    "Ratio",
    "Reduction",
    "RigdataError",
    "Severity",
    "Step",
    "build_tables",
    "check_campaign",
    "cluster",
    "compare_groups",
    "figures_of",
    "fit_campaign",
    "fit_static",
    "lock_torque",
    "processes",
    "read_campaign",
    "read_lock_pack",
    "read_points",
    "read_table",
    "reduce_campaign",
    "render_report",
    "run_campaign",
    "slip_event",
    "write_tables",
]


def __getattr__(name: str) -> object:
    if name not in _HOMES:
        raise AttributeError(f"module 'rigdata' has no attribute '{name}'")
    value: object = getattr(importlib.import_module(_HOMES[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
