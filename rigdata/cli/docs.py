"""``rigdata docs``: what there is to read, on the terminal."""

from __future__ import annotations

from pathlib import Path

import click

from rigdata.cli.terminal import aligned

FOLDER = Path(__file__).parents[1] / "docs"
# In the order in which a newcomer reads them.
TOPICS = (
    "first-campaign",
    "questions",
    "faults",
    "reading-the-report",
    "files",
    "measurement-model",
    "glossary",
)


@click.command("docs")
@click.argument("topic", metavar="[TOPIC]", type=click.Choice(TOPICS), required=False)
def command(topic: str | None) -> None:
    """Print TOPIC, one of the texts that come with rigdata; without it, which there are."""
    if topic is not None:
        click.echo(read(topic), nl=False)
        return
    titles = [read(name).partition("\n")[0].removeprefix("# ") for name in TOPICS]
    click.echo(aligned(["topic", "what it says"], zip(TOPICS, titles, strict=True)))
    click.echo("\nRead one with: rigdata docs TOPIC")


def read(topic: str) -> str:
    """Return the text of a topic, as Markdown."""
    return (FOLDER / f"{topic}.md").read_text(encoding="utf-8")
