"""The command ``rigdata``: its subcommands, exit codes and messages.

Subcommands are imported only when they are called, so that help is quick.
Exit codes: 0 done; 1 data or campaign at fault and no result; 2 wrong usage;
3 done, but something was left out or a check was not met.  As usual for
commands that were stopped: 130 by Ctrl-C, 141 by a closed pipe, 143 by a request to end (SIGTERM).
"""

from __future__ import annotations

import contextlib
import difflib
import importlib
import os
import signal
import sys
import threading
from collections.abc import Iterator
from typing import Any

import click
from click.shell_completion import CompletionItem

from rigdata import __version__
from rigdata.errors import RigdataError, visible

COMMANDS = {
    "run": ("rigdata.cli.run", "Do all of it: from the logs to tables and report."),
    "check": ("rigdata.cli.check", "Read everything and say which runs to repeat."),
    "reduce": ("rigdata.cli.reduce", "Turn the logs into friction points."),
    "bedding": ("rigdata.cli.bedding", "Say after how much sliding each pack was bedded in."),
    "fit": ("rigdata.cli.fit", "Fit friction laws to the points."),
    "compare": ("rigdata.cli.compare", "Compare materials, batches and states."),
    "wear": ("rigdata.cli.wear", "Say what wears, how fast, and when a pack must come out."),
    "tables": ("rigdata.cli.tables", "Write coefficient tables from the fits."),
    "lock": ("rigdata.cli.lock", "Work out lock torque, preload and setup from a table."),
    "report": ("rigdata.cli.report", "Write the report of a campaign."),
    "budget": ("rigdata.cli.budget", "Show which causes limit a number, and what would help."),
    "logs": ("rigdata.cli.logs", "Show how a log is written and what is in it."),
    "calibrations": ("rigdata.cli.calibrations", "Show how the calibrated sensors of a rig stand."),
    "plan": ("rigdata.cli.plan", "Lay out tests to come and say how good they will be."),
    "figures": ("rigdata.cli.figures", "Write the figures of the report as files."),
    "example": ("rigdata.cli.example", "Write the demo campaign to try things on."),
    "docs": ("rigdata.cli.docs", "Print a text: first campaign, questions, files, formulas."),
    "completion": ("rigdata.cli.completion", "Print what lets the shell complete commands."),
}
EXAMPLES = {
    "run": "rigdata run plates-march --out results-march",
    "check": "rigdata check plates-march",
    "reduce": "rigdata reduce plates-march",
    "bedding": "rigdata bedding plates-march/results --steady 0.5%",
    "fit": "rigdata fit plates-march/results --law log-speed --law stribeck",
    "compare": "rigdata compare plates-march/results --with plates-may/results",
    "wear": "rigdata wear plates-march/results",
    "tables": "rigdata tables plates-march/results --format xlsx",
    "lock": "rigdata lock differential.toml --table tables/rough/new --show torque",
    "report": "rigdata report plates-march/results",
    "budget": "rigdata budget plates-march/results --material rough --state new",
    "logs": "rigdata logs logs/R001.csv --figure R001.svg",
    "calibrations": "rigdata calibrations rig.toml",
    "plan": "rigdata plan plan.toml --like plates-march/results",
    "figures": "rigdata figures plates-march/results speed-curve --as pdf",
    "example": "rigdata example demo --size small",
    "docs": "rigdata docs questions",
    "completion": "rigdata completion bash >> ~/.bashrc",
}
INTERRUPTED = 130
PIPE_CLOSED = 141
ENDED = 143
COMPLETING = "_RIGDATA_COMPLETE"  # set by the shell while it completes a line


class LazyGroup(click.Group):
    """A group whose commands are imported when they are called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the command names in the order of the flow."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import the module of a command and return the command."""
        if cmd_name not in COMMANDS:
            return None
        # Read when numpy loads: the matrices are small, threads would get in each other's way.
        os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
        with _starting(cmd_name):
            command: click.Command = importlib.import_module(COMMANDS[cmd_name][0]).command
        command.epilog = f"\b\nExample:\n  {EXAMPLES[cmd_name]}"
        return command

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list[CompletionItem]:
        """Complete the name of a command without importing any."""
        names = [name for name in COMMANDS if name.startswith(incomplete)]
        if names or not incomplete.startswith("-"):
            return [CompletionItem(name, help=COMMANDS[name][1]) for name in names]
        return click.Command.shell_complete(self, ctx, incomplete)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without importing them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, words) for name, (_, words) in COMMANDS.items()])

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find a command, or name the nearest one."""
        if args[0] not in COMMANDS and not args[0].startswith("-"):
            near = difflib.get_close_matches(args[0], COMMANDS, n=1)
            hint = f"Did you mean '{near[0]}'?" if near else "One of " + ", ".join(COMMANDS) + "."
            raise click.UsageError(f"No command '{args[0]}'. {hint}", ctx)
        return super().resolve_command(ctx, args)

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command; the one place where errors become exit codes."""
        try:
            with _ending():
                return super().invoke(ctx)
        except RigdataError as fault:
            click.echo(click.style("rigdata: ", fg="red") + visible(str(fault)), err=True)
            ctx.exit(1)
        except KeyboardInterrupt:
            click.echo("rigdata: stopped; nothing was left half written.", err=True)
            ctx.exit(INTERRUPTED)
        except _Ended:
            click.echo("rigdata: ended; nothing was left half written.", err=True)
            ctx.exit(ENDED)
        except BrokenPipeError:
            # The reader has gone: nothing more can be said, and flushing at exit must not try.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            ctx.exit(PIPE_CLOSED)


class _Ended(BaseException):
    """The process was asked to end: what is half written is cleared away, as after Ctrl-C."""


@contextlib.contextmanager
def _ending() -> Iterator[None]:
    """Take a request to end (SIGTERM) as `_Ended`, unless the caller has it otherwise."""

    def ended(_number: int, _frame: object) -> None:
        raise _Ended

    if (
        threading.current_thread() is not threading.main_thread()
        or signal.getsignal(signal.SIGTERM) is not signal.SIG_DFL
    ):
        yield
        return
    signal.signal(signal.SIGTERM, ended)
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, signal.SIG_DFL)


@contextlib.contextmanager
def _starting(command: str) -> Iterator[None]:
    """Show on a terminal that a command begins: its packages take a second to load."""
    shown = sys.stderr.isatty() and COMPLETING not in os.environ
    words = f"rigdata {command}: starting"
    if shown:
        click.echo(words, err=True, nl=False)
    try:
        yield
    finally:
        if shown:
            click.echo("\r" + " " * len(words) + "\r", err=True, nl=False)


def _set_colour(ctx: click.Context, _parameter: click.Parameter, wanted: bool | None) -> None:
    """Colour as asked for; else as NO_COLOR says; else on a terminal only."""
    if wanted is not None:
        ctx.color = wanted
    elif os.environ.get("NO_COLOR"):
        ctx.color = False


@click.command(
    cls=LazyGroup,
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog="Try it: rigdata example demo, then rigdata run demo.",
)
@click.option(
    "--color/--no-color",
    default=None,
    expose_value=False,
    callback=_set_colour,
    is_eager=True,
    help="Colour in messages; by default on a terminal, unless NO_COLOR is set.",
)
@click.version_option(__version__, prog_name="rigdata")
def main() -> None:
    """Friction coefficients with honest uncertainty from the logs of a clutch-plate bench rig.

    Exit codes: 0 done; 1 data or campaign at fault, no result; 2 wrong usage;
    3 done, but something was left out or a check was not met.
    """
