"""The look-up panel: what is embedded, and what a browser makes of it."""

import base64
import hashlib
import html
import itertools
import json
import re
import shutil
import subprocess
from dataclasses import replace
from importlib.resources import files

import numpy as np
import pytest

from rigdata.errors import TableError
from rigdata.friction.results import Group
from rigdata.report import layout
from rigdata.report.html import element, render
from rigdata.report.lookup import lookup_section, panel_data
from rigdata.tables.build import build_tables
from rigdata.tables.read import read_table
from rigdata.tables.write import write_tables

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "chrome"))), None)
# Inside, on a node, between nodes, at an end; then beyond an axis, and never tested together.
PLACES = (
    (0.1, 80.0, 0.8),
    (0.0137, 81.7, 0.83),
    (0.31, 60.0, 0.9),
    (0.1, 120.0, 0.8),
    (7.0, 80.0, 0.8),
    (0.1, 300.0, 0.8),
    (0.1, 80.0, 9.0),
    (1.4, 149.0, 1.5),
)
HOSTILE = "</script><b>x"


@pytest.fixture(scope="module")
def shown(full, bare):
    """A report with tables of several packs, and of a single one under a hostile name."""
    several = build_tables(full.fits, full.points, full.campaign).tables
    (single,) = build_tables(bare.fits, bare.points, bare.campaign).tables.values()
    single = replace(single, material=HOSTILE)
    other, points = full.points.pack == "A8", full.points
    points = replace(
        points,
        material=np.where(other, HOSTILE, points.material),
        state=np.where(other, single.state, points.state),
    )
    tables = [*(t for group, t in several.items() if group.state == "new"), single]
    campaign = replace(
        full.campaign,
        materials={**full.campaign.materials, HOSTILE: full.campaign.materials["rough"]},
    )
    return replace(
        full, campaign=campaign, reduction=replace(full.reduction, points=points), tables=tables
    )


def panel(report):
    """Return a page with the panel alone."""
    parts = {"Outcome": [lookup_section(report)]}
    text = layout.page("Look up", header=None, parts=parts, footer=None, script="lookup.js")
    return text.replace('href="#tables"', 'href="#lookup"')


def embedded(text):
    """Return the data as a browser finds it: the text up to the first end tag."""
    return json.loads(re.search(r'id="lookup-data"[^>]*>(.*?)</script', text, re.DOTALL)[1])


def test_embedded_tables_are_those_of_the_files(shown, tmp_path):
    tables = {Group(t.material, t.state): t for t in shown.tables if t.material != HOSTILE}
    write_tables(tables, tmp_path)
    found = {one["name"]: one for one in embedded(panel(shown))}
    assert len(found) == len(shown.tables)
    for folder in tmp_path.rglob("coefficients.json"):
        table = read_table(folder.parent)
        one = found[f"{table.material} ({table.state})"]
        for nodes, mine in zip(table.axes, one["axes"], strict=True):
            np.testing.assert_array_equal(mine, nodes)
        for name, values in one["fields"].items():
            np.testing.assert_allclose(values, table.field(name).ravel(), rtol=1e-8)
        np.testing.assert_array_equal(one["normals"], table.envelope.normals)
        np.testing.assert_array_equal(one["offsets"], table.envelope.offsets)
        assert one["reference"] == list(table.reference)


def test_a_name_cannot_end_the_data(shown):
    assert "<" not in panel_data(shown)
    assert embedded(panel(shown))[-1]["name"].startswith(HOSTILE)


def test_what_only_several_packs_tell_is_null_for_one(shown):
    fields = embedded(panel(shown))[-1]["fields"]
    assert set(fields["next_pack_low"]) == {None}
    assert None not in fields["mean_low"]


def test_only_the_script_of_the_panel_may_run(full, shown):
    text = panel(shown)
    code = re.search(r"<script>(.*?)</script>", text, re.DOTALL)[1]
    assert code == files("rigdata.report").joinpath("lookup.js").read_text(encoding="utf-8")
    digest = base64.b64encode(hashlib.sha256(code.encode()).digest()).decode()
    policy = html.unescape(re.search(r'Policy" content="([^"]*)"', text)[1])
    assert policy.startswith("default-src 'none'; style-src 'unsafe-inline'; img-src data:")
    assert policy.endswith(f"; script-src 'sha256-{digest}'")
    assert text.count("<script") == 2
    assert not re.search(r"\b(fetch|import|eval|XMLHttpRequest|innerHTML|http)\b", code.replace(
        "http://www.w3.org/2000/svg", ""))  # fmt: skip


def test_text_that_would_end_a_script_is_refused():
    with pytest.raises(ValueError, match="would end"):
        render(element("script", "a </script> b"))


def test_every_input_has_a_label_and_the_readout_is_announced(shown):
    text = panel(shown)
    assert len(re.findall(r"<label>[^<]+<(?:input|select) ", text)) == 4
    assert re.search(r'id="lookup-readout" role="status" aria-live="polite"', text)
    assert re.search(r"<noscript>.*coefficient tables.*</noscript>", text, re.DOTALL)
    assert re.search(r'<form id="lookup-form" hidden="hidden"', text)


def test_the_panel_stands_in_a_report_with_tables_alone(full, page):
    assert "lookup" not in re.findall(r'<section id="([^"]*)"', page)
    assert lookup_section(full) is None


def in_browser(path, *, address=""):
    """Return the page as Chromium leaves it, and what it says on its console."""
    command = [CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu", "--enable-logging=stderr",
               "--virtual-time-budget=2000", "--dump-dom", path.as_uri() + address]  # fmt: skip
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, check=True)
    said = [line for line in done.stderr.splitlines() if "CONSOLE" in line]
    return done.stdout, said


def readout(text):
    """Return the coefficient read, None where there is none, and the words."""
    inner = re.search(r'id="lookup-readout"[^>]*>(.*?)</p>', text, re.DOTALL)[1]
    number = re.search(r'<data value="([^"]*)"', inner)
    words = html.unescape(re.sub(r"<[^>]*>", "", inner))
    return float(number[1]) if number else None, words


@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium to look with")
def test_the_panel_reads_what_the_table_reads(shown, tmp_path):
    """Ask the panel in a page whose policy lets one more script ask the questions."""
    asked = list(itertools.product(shown.tables, PLACES))
    hashes = [f"#lookup={t.material} ({t.state}),{v},{c},{p}" for t, (v, c, p) in asked]
    ask = f"""
      const found = {json.dumps(hashes).replace("<", chr(92) + "u003c")}.map((asked) => {{
        history.replaceState(null, "", asked.replace(/[</>]/g, encodeURIComponent));
        window.dispatchEvent(new HashChangeEvent("hashchange"));
        return document.getElementById("lookup-readout").outerHTML;
      }});
      const answers = document.createElement("pre");
      answers.textContent = JSON.stringify(found);
      document.body.append(answers);
    """
    digest = base64.b64encode(hashlib.sha256(ask.encode()).digest()).decode()
    text = panel(shown).replace("script-src ", f"script-src &#x27;sha256-{digest}&#x27; ")
    file = tmp_path / "panel.html"
    file.write_text(text.replace("</body>", f"<script>{ask}</script></body>"), encoding="utf-8")
    dom, said = in_browser(file)
    assert said == []
    answers = json.loads(html.unescape(re.search(r"<pre>(.*?)</pre>", dom, re.DOTALL)[1]))
    read = 0
    for (table, place), answer in zip(asked, answers, strict=True):
        value, words = readout(answer)
        try:
            expected = table.mu(*place)
        except TableError:
            assert value is None
            assert words.startswith("No value: ")
            continue
        read += 1
        assert value == pytest.approx(float(expected.mu[0]), rel=1e-6)
        assert f"{expected.mean_low[0]:.4f} to {expected.mean_high[0]:.4f}" in words
        one = np.isnan(expected.next_pack_low[0])
        assert ("only one pack was tested" in words) == one
    assert 3 * len(shown.tables) <= read <= len(asked) - 3 * len(shown.tables)


@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium to look with")
def test_an_address_opens_the_panel_at_its_condition(shown, tmp_path):
    table = shown.tables[0]
    file = tmp_path / "report.html"
    file.write_text(panel(shown), encoding="utf-8")
    dom, said = in_browser(file, address=f"#lookup={table.material} ({table.state}),0.2,75,0.8")
    assert said == []
    value, words = readout(dom)
    assert value == pytest.approx(float(table.mu(0.2, 75.0, 0.8).mu[0]), rel=1e-6)
    assert words.startswith(f"{table.material} ({table.state}) at 0.2 m/s, 75 °C, 0.8 MPa")
    assert 'id="lookup-form" hidden' not in dom
    drawn = re.search(r'<svg id="lookup-drawing".*?</svg>', dom, re.DOTALL)[0]
    assert "Slip speed [m/s]" in drawn
    assert 'stroke="var(--muted)" stroke-width="1.5"' in drawn
    assert "<circle" in drawn
