"""Files that somebody made to do harm: what they try, and that it is not done."""

import csv
import errno
import gzip
import io
import json
import os
import shutil
import sys
import tomllib
from dataclasses import replace

import pytest
from click.testing import CliRunner

from rigdata.campaign.campaign import read_campaign
from rigdata.campaign.dcc import read_certificate
from rigdata.campaign.files import MOST_LINE, MOST_TOML_BYTES, read_toml
from rigdata.campaign.inspections import COLUMNS, inspections_of
from rigdata.cli.main import main
from rigdata.cli.terminal import say
from rigdata.comparison.ratios_file import ratios_text, read_ratios
from rigdata.errors import CampaignError, LogError, ResultError, RigdataError
from rigdata.friction.results import Group
from rigdata.logs import rawbytes
from rigdata.logs.rawbytes import EXPANSION_FREE, pieces
from rigdata.pipeline.folder import cache_of, results_folder, results_stage
from rigdata.reduction.points_file import read_cell, written_cell
from rigdata.simulation.campaign import simulate_campaign
from rigdata.simulation.demo import study_spec
from rigdata.storage.files import check_new, opened, read_whole
from rigdata.storage.folders import write_manifest
from rigdata.storage.json_files import read_json
from rigdata.storage.lock import owned
from rigdata.storage.toml_text import toml_table

needs_links = pytest.mark.skipif(sys.platform == "win32", reason="links need rights on Windows")
needs_pipes = pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names here")


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("made") / "study"
    simulate_campaign(study_spec(packs=1, tests=("zero", "drag", "sweep-light")), 5, folder)
    return folder


@pytest.fixture
def campaign(made, tmp_path):
    return shutil.copytree(made, tmp_path / "campaign")


def edit(path, old, new):
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


# --- paths and links


@pytest.mark.parametrize(
    "path",
    [
        "../outside.csv",
        "logs/../../outside.csv",
        "/etc/passwd",
        r"C:\\logs\\R001.csv",
        r"c:R001.csv",
        r"\\\\server\\share\\R001.csv",
        "//server/share/R001.csv",
    ],
)
def test_a_log_lies_in_its_campaign(campaign, tmp_path, path):
    (tmp_path / "outside.csv").write_text("secret")
    edit(campaign / "campaign.toml", '"logs/R001.csv"', f'"{path}"')
    with pytest.raises(CampaignError, match=r"leads out of|drive or share") as fault:
        read_campaign(campaign)
    assert "runs.R001.log" in str(fault.value)


@needs_links
def test_links_out_of_the_campaign_are_not_followed(campaign, tmp_path):
    outside = tmp_path / "outside"
    outside.mkdir()
    (outside / "R001.csv").write_bytes((campaign / "logs" / "R001.csv").read_bytes())
    (campaign / "logs" / "R001.csv").unlink()
    (campaign / "logs" / "R001.csv").symlink_to(outside / "R001.csv")
    with pytest.raises(CampaignError, match="leads out of the folder"):
        read_campaign(campaign)


@needs_links
def test_inspections_behind_a_link_are_not_read(campaign, tmp_path):
    (tmp_path / "elsewhere.csv").write_text(",".join(COLUMNS) + "\n")
    read = read_campaign(campaign)
    (campaign / "inspections.csv").symlink_to(tmp_path / "elsewhere.csv")
    with pytest.raises(CampaignError, match="leads out of the folder"):
        inspections_of(read)
    with pytest.raises(CampaignError, match="leads out of the folder"):
        read_campaign(campaign)


@needs_links
@pytest.mark.parametrize("place", [results_folder, cache_of])
def test_a_campaign_cannot_send_our_writing_elsewhere(campaign, tmp_path, place):
    read = read_campaign(campaign)
    for name in ("results", ".rigdata-cache"):
        (campaign / name).symlink_to(tmp_path, target_is_directory=True)
    with pytest.raises(ResultError, match="leads out of the campaign"):
        place(read)


@needs_links
def test_a_lock_that_is_a_link_harms_no_other_file(campaign, tmp_path):
    other = tmp_path / "keys"
    other.write_text("precious")
    (campaign / ".results.lock").symlink_to(other)
    with pytest.raises(ResultError), owned(campaign / "results", "rigdata run"):
        pass
    assert other.read_text() == "precious"


@needs_links
def test_results_with_links_are_not_written_through(campaign, tmp_path):
    read = read_campaign(campaign)
    folder = campaign / "results"
    folder.mkdir()
    write_manifest(folder, {"format": 1})
    other = tmp_path / "other.csv"
    other.write_text("precious")
    (folder / "points.csv").symlink_to(other)
    with (
        pytest.raises(ResultError, match="is a link"),
        results_stage(read, folder, "fit", {}),
    ):
        pass
    assert other.read_text() == "precious"


@needs_links
def test_a_link_to_nothing_is_no_free_place(tmp_path):
    (tmp_path / "plan.toml").symlink_to(tmp_path / "not yet there")
    with pytest.raises(ResultError, match="is there already"):
        check_new([tmp_path / "plan.toml"])


def test_a_name_too_long_for_the_system_is_one_message(campaign):
    edit(campaign / "campaign.toml", '"logs/R001.csv"', f'"logs/{"x" * 5000}.csv"')
    with pytest.raises(CampaignError, match=r"runs\.R001\.log"):
        read_campaign(campaign)


# --- what never ends


@needs_pipes
def test_a_pipe_is_no_file(tmp_path):
    pipe = tmp_path / "R001.csv"
    os.mkfifo(pipe)
    for read in (opened, lambda path: read_whole(path, 10), lambda path: [*pieces(path, 10)]):
        with pytest.raises((OSError, LogError), match="no regular file"):
            read(pipe)
    with pytest.raises(ResultError, match="no regular file"):
        read_json(pipe)
    outcome = CliRunner().invoke(main, ["logs", str(pipe)])
    assert outcome.exit_code == 1
    assert "no regular file" in outcome.stderr


@pytest.mark.skipif(sys.platform != "linux", reason="a device that never ends")
def test_a_device_is_no_file():
    outcome = CliRunner().invoke(main, ["logs", "/dev/zero"])
    assert outcome.exit_code == 1
    assert "no regular file" in outcome.stderr


def test_files_are_read_up_to_their_limit(tmp_path):
    path = tmp_path / "big.toml"
    path.write_bytes(b"#\n" * (MOST_TOML_BYTES // 2 + 1))
    with pytest.raises(CampaignError, match="holds more than 4 MB"):
        read_toml(path)
    with pytest.raises(OSError, match="more than") as fault:
        read_whole(path, 1000)
    assert fault.value.errno == errno.EFBIG
    assert len(read_whole(path, path.stat().st_size)) == path.stat().st_size


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("format = 1\n" + ".".join("a" * MOST_LINE) + " = 1\n", "line 2: the line holds more"),
        ("a = " + "[" * 4000 + "]" * 4000, "nested too deeply"),
        ("a = " + "9" * 5000, "cannot be read"),
    ],
)
def test_toml_that_would_take_for_ever(tmp_path, text, words):
    path = tmp_path / "campaign.toml"
    path.write_text(text)
    with pytest.raises(CampaignError, match=words):
        read_toml(path)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[" * 100_000 + "]" * 100_000, "nested too deeply"),
        ('{"a": 1e999}', "too large for a number"),
        ('{"a": NaN}', "not JSON"),
        ('{"a": ' + "9" * 5000 + "}", "too large"),
        (r'{"a": "\ud800"}', "not UTF-8"),
    ],
)
def test_json_that_is_none_of_ours(tmp_path, text, words):
    path = tmp_path / "fits.json"
    path.write_text(text)
    with pytest.raises(ResultError, match=words):
        read_json(path)


def test_whole_pairs_of_surrogates_are_text(tmp_path):
    path = tmp_path / "fits.json"
    path.write_text(r'{"a": "\ud83d\ude00"}')
    assert read_json(path) == {"a": "😀"}


def test_a_packed_log_that_swells_is_found_early(tmp_path):
    path = tmp_path / "R001.csv.gz"
    line = b"0.0,1.0,2.0\n" * 2**16
    with gzip.open(path, "wb") as packed:
        for _ in range(2 * EXPANSION_FREE // len(line)):
            packed.write(line)
    # As if ever so much followed: what was read so far is enough to tell.
    with path.open("ab") as file:
        file.write(os.urandom(2**20))
    found = pieces(path, 2**20)
    for _ in range(EXPANSION_FREE // 2**20):
        next(found)
    with pytest.raises(LogError, match=f"more than {rawbytes.MOST_EXPANSION} times"):
        next(found)


def test_certificates_bring_nothing_in(tmp_path):
    path = tmp_path / "cell.xml"
    secret = tmp_path / "secret"
    secret.write_text("secret")
    for text in (
        f'<!DOCTYPE x [<!ENTITY e SYSTEM "{secret.as_uri()}">]><x>&e;</x>',
        '<!DOCTYPE x [<!ENTITY a "aa"><!ENTITY b "&a;&a;">]><x>&b;</x>',
        '<!DOCTYPE x SYSTEM "http://example.org/x.dtd"><x/>',
    ):
        path.write_text(text)
        with pytest.raises(CampaignError, match="document type"):
            read_certificate(path)
    path.write_text("<x>" + "<a/>" * 300_000 + "</x>")
    with pytest.raises(CampaignError, match="more than 200000 elements"):
        read_certificate(path)
    path.write_text("<a>" * 1000)
    with pytest.raises(CampaignError, match="nested deeper"):
        read_certificate(path)


# --- names are text


TERMINAL = "\x1b]0;owned\x07\x1b[2J\x9b31m\u202e\r"


def test_messages_hold_nothing_that_a_terminal_obeys():
    fault = RigdataError(TERMINAL, where=TERMINAL, expected=TERMINAL, do=TERMINAL)
    assert str(fault).isprintable()


def test_what_is_printed_holds_nothing_that_a_terminal_obeys(capsys):
    say(f"one{TERMINAL}\ntwo")
    assert [line.isprintable() for line in capsys.readouterr().out.splitlines()] == [True, True]


def test_columns_of_a_log_named_to_cheat_a_terminal(tmp_path):
    log = tmp_path / "R001.csv"
    rows = "".join(f"{i / 10},{i}\n" for i in range(50))
    log.write_text(f"Time [s],T\x1b[31m\u202e\x9d\n{rows}", encoding="utf-8")
    outcome = CliRunner().invoke(main, ["logs", str(log)])
    assert outcome.exit_code == 0, outcome.output
    assert "T?[31m??" in outcome.output
    assert all(c.isprintable() or c == "\n" for c in outcome.output)
    missing = CliRunner().invoke(main, ["logs", str(log), "--time", "\x1b[0m"])
    assert missing.exit_code == 1
    assert all(c.isprintable() or c == "\n" for c in missing.output)


def test_toml_that_we_write_holds_no_raw_control():
    name = f'a "quoted" \\ name{TERMINAL}\x7f\ue000\U000e0001'
    text = toml_table("", {"name": name})
    assert all(c.isprintable() or c == "\n" for c in text)
    assert tomllib.loads(text) == {"name": name}


FORMULAS = ("=1+1", "+cmd|'/c calc'!A0", "-2+3", "@SUM(1)", "\t=1", "\r=1", "'=1")


@pytest.mark.parametrize("name", FORMULAS)
def test_no_cell_of_ours_is_a_formula(name):
    cell = written_cell(name)
    assert cell.startswith("'")
    assert read_cell(cell) == name


def test_comparisons_hold_no_formula(campaign, tmp_path):
    out = tmp_path / "out"
    outcome = CliRunner().invoke(
        main, ["run", str(campaign), "--out", str(out), "--law", "constant"]
    )
    assert outcome.exit_code in (0, 3), outcome.output
    found = read_ratios(out / "comparison.csv")
    assert found
    named = [replace(one, group=Group("=cmd()", "@new"), words="=1") for one in found]
    path = tmp_path / "comparison.csv"
    path.write_text(ratios_text(named), encoding="utf-8")
    cells = [cell for row in csv.reader(io.StringIO(path.read_text())) for cell in row]
    assert not [cell for cell in cells if cell.startswith(("=", "@", "+"))]
    assert [one.group for one in read_ratios(path)] == [Group("=cmd()", "@new")] * len(found)
    assert all(one.words == "=1" for one in read_ratios(path))


def test_markup_in_names_and_remarks_stays_text(campaign, tmp_path):
    script = "</script><script>alert(1)</script><img src=x onerror=alert(1)>"
    file = campaign / "campaign.toml"
    edit(file, 'id = "R001"\n', f'id = "R001"\nremark = "{script}"\n')
    edit(file, "friction_plate = ", f'friction_plate = "{script}" #')
    out = tmp_path / "out"
    outcome = CliRunner().invoke(
        main, ["run", str(campaign), "--out", str(out), "--law", "constant"]
    )
    assert outcome.exit_code in (0, 3), outcome.output
    page = (out / "report.html").read_text(encoding="utf-8")
    assert "<img src=x" not in page
    assert page.count("<script") == 2  # the panel and its data
    assert "&lt;img src=x onerror" in page


def test_results_that_were_changed_are_not_taken_for_ours(campaign, tmp_path):
    out = tmp_path / "out"
    run = CliRunner().invoke
    assert run(main, ["reduce", str(campaign), "--out", str(out)]).exit_code in (0, 3)
    assert run(main, ["fit", str(campaign), "--out", str(out), "--law", "constant"]).exit_code in (
        0,
        3,
    )
    fits = json.loads((out / "fits.json").read_text())
    fits["kinetic"][0]["parameters"][0]["value"] *= 1.01
    (out / "fits.json").write_text(json.dumps(fits))
    outcome = run(main, ["tables", str(campaign), "--out", str(out)])
    assert outcome.exit_code == 1
    assert "is not the file that manifest.json describes" in outcome.stderr
