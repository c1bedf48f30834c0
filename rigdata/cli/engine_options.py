"""Options that say where runs are reduced: processes of this machine, or a cluster."""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import Any

import click
from click.core import ParameterSource

from rigdata.cli.options import Decorator
from rigdata.engines.cluster import cluster
from rigdata.engines.local import processes

_SCHEDULER = "scheduler"


def _workers(name: str, **more: Any) -> Decorator:
    return click.option(
        "--workers",
        name,
        type=click.IntRange(min=1),
        metavar="N",
        envvar="RIGDATA_WORKERS",
        show_envvar=True,
        help="Processes that read logs at the same time; as many as cores unless told otherwise, "
        "and none beside this one where there is little to read. The results are the same.",
        **more,
    )


workers_option = _workers("engine", callback=lambda _ctx, _param, workers: processes(workers))


def engine_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command its `engine` by --workers and --scheduler."""

    @functools.wraps(command)
    def filled(*, workers: int | None, scheduler: str | None, **options: Any) -> Any:
        if workers is not None and scheduler is not None:
            said = click.get_current_context().get_parameter_source(_SCHEDULER)
            if said is ParameterSource.COMMANDLINE:
                raise click.UsageError(
                    "--workers is of this machine, a cluster has its own: leave one of the two out"
                )
            scheduler = None  # of the environment, and --workers is nearer
        engine = processes(workers) if scheduler is None else cluster(scheduler)
        return command(engine=engine, **options)

    with_scheduler = click.option(
        "--scheduler",
        _SCHEDULER,
        metavar="ADDRESS",
        envvar="RIGDATA_SCHEDULER",
        show_envvar=True,
        help="Dask scheduler whose workers read the logs, where they lie. Whoever reaches an open "
        "scheduler can run code on its workers: keep its port closed to others.",
    )
    return _workers("workers")(with_scheduler(filled))
