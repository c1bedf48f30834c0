"""``rigdata completion``: what lets the shell complete commands and options."""

from __future__ import annotations

import click
from click.shell_completion import get_completion_class

from rigdata.cli.terminal import say

SHELLS = {
    "bash": "add it to ~/.bashrc",
    "zsh": "add it to ~/.zshrc",
    "fish": "save it as ~/.config/fish/completions/rigdata.fish",
    "powershell": "add it to $PROFILE",
}


@click.command("completion")
@click.argument("shell", type=click.Choice(list(SHELLS)))
@click.pass_context
def command(ctx: click.Context, shell: str) -> None:
    """Print the lines that let SHELL complete rigdata's commands and options.

    \b
    bash:        rigdata completion bash >> ~/.bashrc
    zsh:         rigdata completion zsh >> ~/.zshrc
    fish:        rigdata completion fish > ~/.config/fish/completions/rigdata.fish
    PowerShell:  rigdata completion powershell >> $PROFILE

    They take effect in the next shell.
    """
    kind = get_completion_class(shell)
    if kind is None:
        raise click.UsageError(f"this version of click knows no {shell}; update click")
    say(kind(ctx.find_root().command, {}, "rigdata", "_RIGDATA_COMPLETE").source())
