"""The whole page: sound, safe, complete, and whole with pieces missing."""

import csv
import io
import itertools
import math
import re
from dataclasses import replace
from html.parser import HTMLParser
from urllib.parse import unquote

import numpy as np
import pytest

from rigdata.comparison.calibration_share import calibration_words
from rigdata.comparison.standings import standings
from rigdata.errors import ResultError
from rigdata.figures.laws import points_of
from rigdata.friction.fit import fit_campaign
from rigdata.friction.slopes import dwell_rise
from rigdata.friction.static import fit_static
from rigdata.report.numbers import percent, rounded
from rigdata.report.page import render_report
from tests.report.undrawn import draw_nothing

VOID = {"meta", "br", "hr", "col"}


class Reader(HTMLParser):
    """What a browser would see: elements with their attributes, and text."""

    def __init__(self, text):
        super().__init__()
        self.open, self.elements, self.text, self.faults = [], [], [], []
        self.rows = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.elements.append((tag, dict(attrs), tuple(self.open)))
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th"):
            self.rows[-1].append("")
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.elements.append((tag, dict(attrs), tuple(self.open)))

    def handle_endtag(self, tag):
        if not self.open or self.open[-1] != tag:
            self.faults.append(tag)
        else:
            self.open.pop()

    def handle_data(self, data):
        self.text.append(data)
        if "td" in self.open or "th" in self.open:
            self.rows[-1][-1] += data

    @property
    def words(self):
        return " ".join("".join(self.text).split())

    def all(self, tag):
        return [attrs for name, attrs, _ in self.elements if name == tag]


@pytest.fixture(scope="module")
def read(page):
    return Reader(page)


def test_elements_are_closed_in_order(read):
    assert read.faults == []
    assert read.open == []


def test_one_first_heading_and_no_level_is_jumped(read):
    levels = [int(tag[1]) for tag, _, _ in read.elements if re.fullmatch(r"h[1-6]", tag)]
    assert levels.count(1) == 1
    assert levels[0] == 1
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))


def test_ids_are_unique_over_the_page(read):
    ids = [attrs["id"] for _, attrs, _ in read.elements if "id" in attrs]
    assert len(ids) > 50
    assert len(ids) == len(set(ids))


def test_every_reference_inside_the_page_is_met(read, page):
    ids = {attrs["id"] for _, attrs, _ in read.elements if "id" in attrs}
    wanted = {attrs["href"] for _, attrs, _ in read.elements if "href" in attrs}
    wanted = {target for target in wanted if not target.startswith("data:text/csv;")}
    assert all(target.startswith("#") for target in wanted)
    assert {target[1:] for target in wanted} <= ids
    assert set(re.findall(r"url\(#([^)]+)\)", page)) <= ids
    for _, attrs, _ in read.elements:
        assert set(attrs.get("aria-labelledby", "").split()) <= ids


def test_nothing_is_loaded_and_no_script_can_run(read, page):
    policy = next(m["content"] for m in read.all("meta") if "http-equiv" in m)
    assert policy == "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
    assert read.all("script") == []
    assert read.all("link") == []
    assert not any("src" in attrs for _, attrs, _ in read.elements)
    assert not any(name.startswith("on") for _, attrs, _ in read.elements for name in attrs)
    assert set(re.findall(r"https?:[^\"'\s)]*", page)) == {"http://www.w3.org/2000/svg"}


def test_the_style_sheet_is_not_changed_by_escaping(page):
    sheet = page.split("<style>")[1].split("</style>")[0]
    assert "&" not in sheet
    assert "@page { margin:" in sheet
    assert "size:" not in sheet.replace("font-size:", "")  # A4 or Letter, as the printer has it
    assert "prefers-color-scheme: dark" in sheet


def test_every_figure_has_an_alternative_a_caption_and_numbers(read):
    drawings = [(a, inside) for tag, a, inside in read.elements if tag == "svg"]
    assert len(drawings) >= 12
    assert all(attrs["role"] == "img" and inside[-1] == "figure" for attrs, inside in drawings)
    for child in ("title", "desc"):
        inside_svg = [inside for tag, _, inside in read.elements if tag == child]
        assert sum(inside[-1] == "svg" for inside in inside_svg) == len(drawings)
    assert len(read.all("figcaption")) == len(read.all("figure")) == len(drawings)
    assert len(read.all("caption")) == len(read.all("table")) >= len(drawings)


def test_every_figure_has_its_data_as_csv(read, full):
    links = [a for tag, a, inside in read.elements if tag == "a" and "figcaption" in inside]
    assert len(links) == len(read.all("figure"))
    assert len({a["download"] for a in links}) == len(links)
    for link in links:
        kind, _, text = link["href"].partition(",")
        assert kind == "data:text/csv;charset=utf-8"
        assert not re.search(r"[\n\t#\"]", text)
        head, *rows = list(csv.reader(io.StringIO(unquote(text))))
        assert rows, link["download"]
        assert {len(row) for row in rows} == {len(head)}
        assert "series" in head
        starts = tuple("=+-@")
        cells = [c for row in (head, *rows) for c in row if len(c) > 1 and c.startswith(starts)]
        assert all(is_number(cell) for cell in cells)


def test_the_data_of_a_curve_are_its_points(read, full):
    link = next(a for a in read.all("a") if a.get("download") == "speed-curve.csv")
    rows = list(csv.DictReader(io.StringIO(unquote(link["href"].partition(",")[2]))))
    speed = "Slip speed [m/s]"
    for group in full.fits:
        own = full.points.select(points_of(full.points, group))
        for pack in set(own.pack.tolist()):
            told = [r for r in rows if r["series"].startswith(f"{group} {pack}")]
            drawn = sorted(float(row[speed]) for row in told)
            tested = np.sort(own.slip_speed_m_s[own.pack == pack])
            np.testing.assert_allclose(drawn, tested, rtol=1e-4)


def is_number(text):
    try:
        float(text)
    except ValueError:
        return False
    return True


def test_tables_name_their_rows_and_columns(read):
    scopes = [attrs.get("scope") for attrs in read.all("th")]
    assert set(scopes) == {"col", "row"}


def test_contents_list_every_section(read):
    listed = [a["href"] for tag, a, inside in read.elements if tag == "a" and "nav" in inside]
    assert listed == [f"#{attrs['id']}" for attrs in read.all("section")]


def test_what_files_say_stays_text(read, page):
    hostile = '<script>alert("x")</script> $x_1$ & </style>'
    assert "<script" not in page
    assert read.words.count(hostile) >= 2  # a material's note and a notice
    assert "B$1 & co" in read.words
    assert "pack B$1 & co" in read.words  # in the key of a figure


def test_every_run_left_out_is_there_with_its_reason(read, full):
    assert len(full.reduction.left_out) == 2
    for run, why in full.reduction.left_out.items():
        assert run in read.words
        assert why in read.words


def test_points_left_out_are_counted_by_reason(read, full):
    lost = full.points.reason[~full.points.used].tolist()
    assert set(lost) == {"bedding", "stick-slip in the window"}
    for reason in set(lost):
        assert [reason, str(lost.count(reason))] in [row[:2] for row in read.rows]
    assert f"{len(lost)} of {len(full.points)} friction points not used" in read.words


def test_flagged_samples_and_notices_are_told(read, full):
    flagged = sum(s.flagged["torque"]["SPIKE"] for s in full.reduction.summaries.values())
    assert ["torque", "spike", str(flagged)] in [row[:3] for row in read.rows]
    assert not any(row[:2] == ["torque", "missing"] for row in read.rows)  # there were none
    assert ["warning", "run R003", "the zero moved by 1.3 N*m", "Check the cell."] in read.rows
    assert any(row[0] == "warning" and row[1] == "rough (worn)" for row in read.rows)


def test_provenance_names_version_records_and_hashes(read, full):
    assert "0.1.0" in read.words
    assert "rigdata run demo" in read.words
    for record in ("TC-0312", "LC-0077"):
        assert record in read.words
    for file in full.campaign.inputs:
        assert file.sha256 in read.words
    assert "../bench/rig.toml" in read.words
    for summary in full.reduction.summaries.values():
        assert summary.log_sha256 in read.words


def test_a_comparison_opens_with_one_look_and_tells_every_trait(read, page, full):
    section = page.split('id="ratios"')[1].split("</section>")[0]
    assert section.index("at one look") < section.index("<table")
    rows = {row[0]: row for row in Reader(section).rows}
    of_materials = [one for one in full.traits if one.group.material != one.against.material]
    for one in of_materials:
        name = one.trait if one.unit == "1" else f"{one.trait} [{one.unit}]"
        told = rows[name]
        if one.measured is None:
            assert "not compared" in told
            assert one.words in Reader(section).words
        else:
            assert told[5].startswith(one.verdict)
            assert told[3].lstrip("\N{MULTIPLICATION SIGN} ") == rounded(
                one.measured.difference.value, one.measured.difference.u
            )
    for ratio in full.ratios:
        words = calibration_words(ratio.calibration)
        assert words.split(":")[0] in read.words
        for one in standings(ratio):
            assert any(one.grips in row and one.bounds in row for row in read.rows)


def test_verdicts_come_first_and_in_words(read, full):
    words = read.words.replace("\N{NO-BREAK SPACE}", " ")
    for ratio in full.ratios:
        told = ratio.words.replace("degC", "°C")
        assert words.index(told) < words.index("Friction coefficients at")
        assert ratio.verdict in words
    first = next(a for tag, a, _ in read.elements if tag == "section")
    assert first["id"] == "verdicts"


def test_what_to_do_comes_second_and_provenance_last(read, full):
    ids = [a["id"] for a in read.all("section")]
    assert ids[:2] == ["verdicts", "next"]
    assert ids[-3:] == ["left-out", "cautions", "provenance"]
    steps = read.words.split("What to do next")[-1].split("Coefficient against slip speed")[0]
    assert f"{len(full.reduction.left_out)} runs without a result" in steps
    assert "Test a second pack of rough (worn)" in steps
    assert "Check the cell. Asked for by run R003" in steps
    for ratio in full.ratios:
        assert (f"{ratio.group} and {ratio.against}" in steps) == (ratio.verdict == "not resolved")


def test_numbers_at_the_reference_have_two_digits_of_their_uncertainty(read, full):
    for group, fit in full.fits.items():
        mu, u = fit.parameters["mu0"], math.sqrt(fit.covariance[0, 0])
        digits = 1 - math.floor(math.log10(u))
        row = next(row for row in read.rows if row[0] == str(group))
        assert row[1] == f"{mu:.{digits}f}"
        assert row[2].startswith(f"{u:.{digits}f} ")


def test_cautions_are_there(read):
    for word in ("not a guarantee on the vehicle", "can injure", "qualified people"):
        assert word in read.words


def test_the_same_input_gives_the_same_page(full, page):
    assert render_report(full) == page


def test_a_material_looks_the_same_in_every_figure(full):
    assert [str(group) for group in full.marks] == ["plain (new)", "rough (new)", "rough (worn)"]
    assert list(full.ordered_fits) == list(full.marks)


@pytest.fixture
def undrawn(monkeypatch):
    draw_nothing(monkeypatch)


def sections(text):
    return [attrs["id"] for attrs in Reader(text).all("section")]


@pytest.mark.usefixtures("undrawn")
def test_one_material_without_breakaway_bedding_or_tables(bare):
    text = render_report(bare)
    found = sections(text)
    for missing in ("ratios", "worn", "breakaway", "bedding", "tables"):
        assert missing not in found
    assert {"verdicts", "speed", "budget", "quality", "scatter", "left-out"} <= set(found)
    assert "only one pack was tested" in Reader(text).words


def test_breakaway_tells_the_rise_with_the_dwell(full, page):
    laws = {fit.law: fit for fit in full.static.values()}
    assert "dwell" in laws
    reader = Reader(page)
    assert any("breakaway-dwell" in str(attrs) for attrs in reader.all("svg"))
    rise = dwell_rise(laws["dwell"])
    assert rise.low < 0.03 < rise.high  # planted: 3 % for ten times the dwell
    assert "at rest (law dwell); it rises by" in reader.words


@pytest.mark.usefixtures("undrawn")
def test_breakaway_without_dwells_is_a_mean(full):
    points = replace(full.points, dwell_s=np.full(len(full.points), np.nan))
    static, _ = fit_static(points, full.campaign.reference)
    reduction = replace(full.reduction, points=points)
    text = render_report(replace(full, reduction=reduction, static=static))
    reader = Reader(text)
    assert "breakaway" in sections(text)
    assert "for ten times the dwell" not in reader.words
    assert "the mean of all breakaways" in reader.words


@pytest.mark.usefixtures("undrawn")
def test_nothing_fitted(unfitted):
    text = render_report(unfitted)
    assert "No law could be fitted" in Reader(text).words
    assert {"speed", "budget", "quality"}.isdisjoint(sections(text))
    assert {"left-out", "provenance", "cautions", "traces"} <= set(sections(text))


@pytest.mark.usefixtures("undrawn")
def test_no_traces_and_no_worn_packs(full):
    ratios = [ratio for ratio in full.ratios if ratio.group.state == "new"]
    text = render_report(replace(full, ratios=ratios, reduction=replace(full.reduction, traces={})))
    found = sections(text)
    assert "worn" not in found
    assert "traces" not in found


@pytest.mark.usefixtures("undrawn")
def test_nothing_left_out(bare):
    points = bare.points.select(bare.points.used)
    reduction = replace(bare.reduction, points=points, left_out={}, notices=(), summaries={})
    words = Reader(render_report(replace(bare, reduction=reduction))).words
    assert "No run was left out" in words
    assert f"All {len(points)} friction points are used" in words


def test_fits_of_other_points_are_refused(full):
    fewer = full.points.select(full.points.pack != "A1")
    with pytest.raises(ResultError, match="Fit the points again"):
        render_report(replace(full, reduction=replace(full.reduction, points=fewer)))


def test_scatter_is_told_with_its_limits_and_both_choices(full, page):
    words = Reader(page).words
    fit = next(iter(full.fits.values()))
    told = fit.scatter.run_limit
    assert percent(told).split()[0] in words
    assert "one run of a pack not tested yet" in words
    assert "Each interval rests on the scatter of its own group, which is the rule." in words
    assert "of 2 groups" in words
    assert "ratio that would be found" in words


@pytest.mark.usefixtures("undrawn")
def test_a_scatter_of_zero_is_told_in_words(full):
    group, fit = next(iter(full.fits.items()))
    none = replace(fit.scatter, run=0.0, run_limit=0.004)
    text = render_report(replace(full, fits={group: replace(fit, scatter=none)}))
    assert "runs of one pack differ by less than 0.4 %" in plain_words(text)


@pytest.mark.usefixtures("undrawn")
def test_pooled_scatter_is_named_with_its_reason(full):
    fits = fit_campaign(full.points, full.campaign.reference, laws=["log-speed"], pool_scatter=True)
    words = plain_words(render_report(replace(full, fits=fits)))
    assert "As asked for, the scatter between packs" in words
    assert "because no test speaks against its being equal" in words


def plain_words(text):
    return " ".join(Reader(text).words.split())
