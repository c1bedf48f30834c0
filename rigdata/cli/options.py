"""Arguments and options that commands share."""

from __future__ import annotations

import functools
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from rigdata.pipeline.folder import campaign_file
from rigdata.storage.files import is_file, is_folder
from rigdata.storage.folders import MANIFEST

Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]


class CampaignPath(click.Path):
    """A campaign.toml, or the folder that holds one."""

    name = "campaign"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Path:
        """Return the path of the campaign file, which exists."""
        path = Path(value)
        file = path / "campaign.toml" if is_folder(path) else path
        if not is_file(file):
            holds = f"the folder '{value}' holds no campaign.toml"
            self.fail((holds if is_folder(path) else f"there is no '{value}'") + _HINT, param, ctx)
        return file


_HINT = (
    ". Give a campaign.toml or its folder; 'rigdata example demo' writes a campaign to try, "
    "and 'rigdata run demo' works on it"
)

campaign_argument: Decorator = click.argument("campaign", type=CampaignPath())
out_option: Decorator = click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder for the results; 'results' beside the campaign unless told otherwise.",
)


class ResultsPath(CampaignPath):
    """A campaign.toml, its folder, or a folder with results of a campaign."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Path:
        """Return the path of the campaign file, or that of the results."""
        path = Path(value)
        if is_file(path / MANIFEST) and not is_file(path / "campaign.toml"):
            return path
        return super().convert(value, param, ctx)


def campaign_or_results(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a stage its campaign and --out; a results folder stands for both."""

    @functools.wraps(command)
    def filled(*, place: Path, out: Path | None, **options: Any) -> Any:
        if not place.is_dir():
            return command(campaign=place, out=out, **options)
        campaign = campaign_file(place, do="Give its campaign.toml, and the results with --out.")
        return command(campaign=campaign, out=out or place, **options)

    return click.argument("place", metavar="CAMPAIGN", type=ResultsPath())(out_option(filled))


class RigPath(click.Path):
    """A rig file, or the folder that holds rig.toml."""

    name = "rig"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Path:
        """Return the path of the rig file, which exists."""
        path = Path(value)
        file = path / "rig.toml" if is_folder(path) else path
        if not is_file(file):
            self.fail(f"there is no '{file}'. Give a rig.toml or its folder", param, ctx)
        return file.resolve()


class Share(click.ParamType[float]):
    """A share between 0 and 1, as ``0.01`` or ``1%``."""

    name = "share"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Return the share as a number."""
        text = str(value).strip()
        try:
            share = float(text.removesuffix("%")) / (100.0 if text.endswith("%") else 1.0)
        except ValueError:
            share = -1.0
        if not 0.0 < share < 1.0:
            self.fail(f"'{value}' is no share; give one such as 1% or 0.01", param, ctx)
        return share


force_option: Decorator = click.option(
    "--force", is_flag=True, help="Replace a folder that rigdata did not write."
)
json_option: Decorator = click.option(
    "--json", "as_json", is_flag=True, help="Print the result as JSON."
)
cache_option: Decorator = click.option(
    "--cache/--no-cache",
    default=True,
    show_default=True,
    help="Keep what was read of the logs in .rigdata-cache beside the campaign for the next time.",
)
laws_option: Decorator = click.option(
    "--law",
    "laws",
    multiple=True,
    help="Law to choose from, kinetic or static; more than once for several.",
)
pool_scatter_option: Decorator = click.option(
    "--pool-scatter",
    is_flag=True,
    help="Take the scatter between packs, runs and points from all groups together where no "
    "test speaks against it.",
)
steady_option: Decorator = click.option(
    "--steady",
    type=Share(),
    default="1%",
    show_default=True,
    help="How near to the level that it settles to mu counts as steady.",
)
keep_bedding_option: Decorator = click.option(
    "--keep-bedding",
    is_flag=True,
    help="Leave points from before their pack was steady in the fits; bedding runs stay out.",
)
bootstrap_option: Decorator = click.option(
    "--bootstrap",
    "refits",
    type=click.IntRange(100, 100_000),
    metavar="N",
    help="Hold the fits against N refits of them with packs, and with runs, weighted anew.",
)
margin_option: Decorator = click.option(
    "--margin",
    type=click.FloatRange(0.0, 1.0, min_open=True, max_open=True),
    default=0.05,
    show_default=True,
    help="Ratios within 1 +- MARGIN count as equivalent.",
)
tolerance_option: Decorator = click.option(
    "--tolerance",
    type=click.FloatRange(0.0, 0.5, min_open=True),
    default=0.005,
    show_default=True,
    help="Largest error of linear interpolation in the tables, as a fraction of mu.",
)
formats_option: Decorator = click.option(
    "--format",
    "formats",
    multiple=True,
    help="Write the tables in this format too: xlsx, mat, modelica or parquet; more than once "
    "for several.",
)
