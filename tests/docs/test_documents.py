"""All that README, the package's documents and the recipes tell to type runs."""

from __future__ import annotations

import dataclasses
import importlib
import json
import re
import runpy
import shlex
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from click.testing import CliRunner

from rigdata.campaign.keys import keys_of
from rigdata.cli.docs import FOLDER, TOPICS
from rigdata.cli.main import main
from tests.docs import file_reference
from tests.docs.conftest import REPOSITORY

PACKAGE = FOLDER.parent
DOCUMENTS = (REPOSITORY / "README.md", *sorted(FOLDER.glob("*.md")))
BLOCK = re.compile(r"^```(\S*)[^\n]*\n(.*?)^```$", re.DOTALL | re.MULTILINE)
INDENTED = re.compile(r"^    (?:rigdata|python|sh) .*$", re.MULTILINE)
NOT_RUN = "# not run by the tests: "
RECIPES = sorted((REPOSITORY / "examples" / "recipes").iterdir())
RESULTS = "examples/ramp-differential/results"
GIVEN = {  # what the Python recipes are told; two states of one material stand in for two rigs
    "explore.py": [RESULTS, "mu.svg"],
    "own_law.py": [RESULTS],
    "own_reader.py": ["examples/ramp-differential"],
    "two_rigs.py": [f"{RESULTS}/tables/rough-on-steel/{state}" for state in ("new", "worn")],
}
DONE = (0, 3)  # 3: done, but something was left out


@dataclass(frozen=True)
class Fenced:
    """A block of a document: ``console`` and ``python`` are run, ``sh`` says why it is not."""

    language: str
    text: str

    @property
    def commands(self) -> list[str]:
        return [line[2:] for line in self.text.splitlines() if line.startswith("$ ")]


def blocks(text: str) -> Iterator[Fenced]:
    for language, body in BLOCK.findall(text):
        yield Fenced(language, body)


def obey(command: str) -> None:
    """Run one command line in the working folder."""
    program, *words = shlex.split(command)
    if program == "rigdata":
        result = CliRunner().invoke(main, words)
        assert result.exit_code in DONE, f"{command}\n{result.output}"
        return
    assert program == "python", f"no way to run '{command}' here"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "argv", words)
        runpy.run_path(words[0], run_name="__main__")


@pytest.mark.usefixtures("desk")
@pytest.mark.parametrize("path", DOCUMENTS, ids=lambda path: path.name)
def test_what_a_document_says_to_type_runs(path: Path) -> None:
    names: dict[str, object] = {}
    for block in blocks(path.read_text(encoding="utf-8")):
        if block.language == "python":
            exec(compile(block.text, path.name, "exec"), names)
        for command in block.commands:
            obey(command)


@pytest.mark.usefixtures("desk")
@pytest.mark.parametrize("path", RECIPES, ids=lambda path: path.name)
def test_a_recipe_runs(path: Path) -> None:
    if path.suffix == ".sh":
        for command in commands_of(path.read_text(encoding="utf-8")):
            obey(command)
    else:
        obey(shlex.join(["python", f"examples/recipes/{path.name}", *GIVEN[path.name]]))


def commands_of(script: str) -> list[str]:
    lines = script.replace("\\\n", " ").splitlines()
    return [line for line in lines if line and not line.startswith(("#", "set "))]


@pytest.mark.parametrize("path", RECIPES, ids=lambda path: path.name)
def test_a_recipe_is_short_and_says_which_question_it_answers(path: Path) -> None:
    lines = path.read_text(encoding="utf-8").splitlines()
    assert 10 <= len(lines) <= 40
    first = lines[1] if path.suffix == ".sh" else lines[0]
    assert first.lstrip('# "')[0].isupper()
    assert "?" in " ".join(lines[:3])


def untold(text: str) -> list[str]:
    """Blocks that would pass unseen: nothing runs them, and nothing says so."""
    fences = [line for line in text.splitlines() if line.startswith("```")]
    found = [] if len(fences) == 2 * len(list(blocks(text))) else ["a fence that does not close"]
    for block in blocks(text):
        if block.language == "sh" and not block.text.startswith(NOT_RUN):
            found.append(block.text)
        if block.language not in ("python", "console", "sh"):
            found.append(block.text)
        if block.language == "console" and not block.commands:
            found.append(block.text)
    return found + re.findall(
        r"^    .*(?:rigdata|python|sh) .*$", BLOCK.sub("", text), re.MULTILINE
    )


@pytest.mark.parametrize("path", DOCUMENTS, ids=lambda path: path.name)
def test_no_block_passes_unseen(path: Path) -> None:
    assert untold(path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize(
    "text",
    [
        "```sh\nsh examples/run\n```\n",
        "```\nrigdata run demo\n```\n",
        "```console\nrigdata run demo\n```\n",
        "Type\n\n    rigdata run demo\n",
        "```console\n$ rigdata run demo\n",
    ],
)
def test_a_block_that_nothing_runs_is_found(text: str) -> None:
    assert len(untold(text)) == 1


@pytest.mark.usefixtures("desk")
@pytest.mark.parametrize("command", ["rigdata run nowhere", "rigdata fit demo --no-such-option"])
def test_a_command_that_fails_is_found(command: str) -> None:
    with pytest.raises(AssertionError, match=command):
        obey(command)


def test_the_reference_of_the_files_is_current() -> None:
    current = file_reference.text() == file_reference.TARGET.read_text(encoding="utf-8")
    assert current, "run: python -m tests.docs.file_reference"


def keyed_classes() -> set[type]:
    """Every class of the package that declares keys of a file."""
    found: set[type] = set()
    for path in PACKAGE.rglob("*.py"):
        if "Annotated[" not in path.read_text(encoding="utf-8") or path.name == "keys.py":
            continue
        name = ".".join(["rigdata", *path.relative_to(PACKAGE).with_suffix("").parts])
        members = vars(importlib.import_module(name)).values()
        found |= {m for m in members if dataclasses.is_dataclass(m) and keys_of(m)}
    return found


def test_the_reference_leaves_no_file_out() -> None:
    told = {cls for tables in file_reference.FILES for cls in tables.values()}
    assert keyed_classes() == told


def test_every_text_is_a_topic_and_the_command_prints_it() -> None:
    assert sorted(TOPICS) == sorted(path.stem for path in FOLDER.glob("*.md"))
    listed = CliRunner().invoke(main, ["docs"])
    assert all(topic in listed.output for topic in TOPICS)
    printed = CliRunner().invoke(main, ["docs", "glossary"])
    assert printed.output == (FOLDER / "glossary.md").read_text(encoding="utf-8")


def test_the_texts_as_json() -> None:
    every = json.loads(CliRunner().invoke(main, ["docs", "--json"]).stdout)["topics"]
    assert [row["topic"] for row in every] == list(TOPICS)
    assert all(row["text"].startswith(f"# {row['title']}\n") for row in every)
