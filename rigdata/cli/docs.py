"""``rigdata docs``: what there is to read, on the terminal."""

from __future__ import annotations

from pathlib import Path

import click

from rigdata.cli.terminal import aligned, show_json

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
@click.option("--json", "as_json", is_flag=True, help="Print the result as JSON.")
def command(topic: str | None, as_json: bool) -> None:
    """Print TOPIC, one of the texts that come with rigdata; without it, which there are."""
    titles = {name: read(name).partition("\n")[0].removeprefix("# ") for name in TOPICS}
    if as_json:
        wanted = [topic] if topic is not None else TOPICS
        rows = [{"topic": name, "title": titles[name], "text": read(name)} for name in wanted]
        show_json("docs", (), topics=rows)
    elif topic is not None:
        click.echo(read(topic), nl=False)
    else:
        click.echo(aligned(["topic", "what it says"], titles.items()))
        click.echo("\nRead one with: rigdata docs TOPIC")


def read(topic: str) -> str:
    """Return the text of a topic, as Markdown."""
    return (FOLDER / f"{topic}.md").read_text(encoding="utf-8")
