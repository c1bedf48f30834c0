"""``rigdata lock``: every question it answers, from tables on disk."""

import json
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

sys.path.insert(0, str(Path(__file__).parents[1] / "lockup"))

from hand_tables import made_table

from rigdata.cli.lock_views import VIEWS
from rigdata.cli.lock_words import CAUTION, to_step, workshop_step
from rigdata.cli.main import main
from rigdata.friction.results import Group
from rigdata.tables.write import write_tables

PACK = Path(__file__).parents[2] / "examples/ramp-differential/differential.toml"


@pytest.fixture(scope="module")
def tables(tmp_path_factory):
    """Folders of the tables of plain, rough and worn rough plates."""
    folder = tmp_path_factory.mktemp("tables")
    rest = made_table(0.13, kind="static", material="plain")
    plain = replace(made_table(0.10, a=-0.04, b=-0.001, material="plain"), static=rest)
    rough = made_table(0.14, a=0.03, b=-0.0006, c=-0.03, material="rough")
    worn = replace(made_table(0.13, a=0.03, material="rough"), state="worn")
    made = {Group(t.material, t.state): t for t in (plain, rough, worn)}
    write_tables(made, folder)
    return {
        "plain": folder / "plain/new",
        "rough": folder / "rough/new",
        "worn": folder / "rough/worn",
    }


def lock(*args):
    return CliRunner().invoke(main, ["lock", str(PACK), *map(str, args)])


def test_the_overview_answers_the_preload_question_on_one_screen(tables, tmp_path):
    picture = tmp_path / "lock.svg"
    told = lock(
        "--table",
        tables["plain"],
        "--against",
        tables["rough"],
        "--figure",
        picture,
        "--torque",
        600,
    )
    assert told.exit_code == 0
    lines = told.stdout.splitlines()
    assert len(lines) < 36
    assert max(map(len, lines)) <= 80
    text = " ".join(told.stdout.split())
    assert "rough (new) locks as plain (new) does with 5800 N, at 600 N m and 80 degC: set" in text
    assert "the lock builds up" in text
    assert "the lock falls off" in text
    assert picture.read_text(encoding="utf-8").startswith("<?xml")


@pytest.mark.parametrize("show", VIEWS)
def test_every_question_has_its_caution_and_its_json(tables, show):
    args = ["--table", tables["plain"], "--show", show]
    if show == "breakaway":
        args += ["--breakaway", "120"]
    if show in ("swap", "change"):
        args += ["--against", tables["rough"]]
    told, as_json = lock(*args), lock(*args, "--json")
    assert told.exit_code == as_json.exit_code == 0
    assert " ".join(told.stderr.split()).endswith(CAUTION)
    assert max(map(len, told.stdout.splitlines())) <= 80
    content = json.loads(as_json.stdout)
    assert content["schema"] == f"rigdata/lock-{show}/1"
    assert content["caution"] == CAUTION
    assert as_json.stderr == ""


def test_rough_plates_need_less_preload_in_json_too(tables):
    content = json.loads(
        lock(
            "--table", tables["plain"], "--against", tables["rough"], "--show", "swap", "--json"
        ).stdout
    )
    assert content["before_n"] == 5800.0
    assert content["low_n"] < content["value_n"] < content["high_n"] < 5800.0
    assert content["lock"]["lock_nm"] > 0.0


def test_new_to_worn_and_cold_to_hot(tables):
    told = lock("--table", tables["rough"], "--against", tables["worn"], "--show", "change").stdout
    assert "from rough (new) to rough (worn), cold: -" in told
    assert "from cold to hot, rough (new): -" in told


def test_points_that_were_not_tested_have_no_number_and_code_3(tables):
    told = lock("--table", tables["plain"], "--show", "torque", "--torque", "100,9000")
    assert told.exit_code == 3
    assert "not tested: friction was not tested at some of these points" in told.stderr
    (row,) = [line for line in told.stdout.splitlines() if line.strip().startswith("9000")][:1]
    assert row.split()[1] == "-"


@pytest.mark.parametrize(
    ("args", "code", "says"),
    [
        (["--show", "swap"], 2, "give --against FOLDER"),
        (["--show", "breakaway"], 2, "Give --breakaway"),
        (["--torque", "many"], 2, "is not numbers with commas"),
        (["--show", "change", "--against", "rough", "--temperature", "60"], 2, "two temperatures"),
        (["--temperature", "500"], 1, "outside what was tested"),
        (["--figure", "lock.bmp"], 1, "no figure can be written as '.bmp'"),
    ],
)
def test_a_wrong_question_is_told(tables, args, code, says):
    args = [tables.get(arg, arg) for arg in args]
    told = lock("--table", tables["plain"], *args)
    assert told.exit_code == code
    assert says in " ".join(told.stderr.split())


def test_a_table_without_breakaways_says_so(tables):
    told = lock("--table", tables["rough"], "--show", "breakaway", "--breakaway", "100")
    assert told.exit_code == 1
    assert "there is no breakaway coefficient" in told.stderr


def test_a_folder_that_is_not_there(tables):
    told = lock("--table", tables["rough"] / "none")
    assert told.exit_code == 2
    assert "results/tables/rough/new" in " ".join(told.stderr.split())


@pytest.mark.parametrize(
    ("half", "step"), [(217.0, 50.0), (45.0, 10.0), (2.0, 1.0), (900.0, 200.0)]
)
def test_a_workshop_sets_round_numbers(half, step):
    assert workshop_step(half) == step
    assert to_step(1234.0, step) % step == 0.0
