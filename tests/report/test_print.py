"""The report on paper, as a browser prints it: A4 and Letter, no page empty or lost."""

import re
import shutil
import subprocess
import zlib

import pytest

CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "chrome"))), None)
SIZES = {"A4": (595, 842), "letter": (612, 792)}  # points; ISO 216 and ANSI Y14.1 A


def pages_of(data):
    """Return width, height and the drawing commands of each page of a PDF."""
    found = []
    for page in re.findall(rb"<</Type /Page\b.*?endobj", data, re.DOTALL):
        box = [float(x) for x in re.search(rb"/MediaBox \[([^\]]*)\]", page)[1].split()]
        number = re.search(rb"/Contents (\d+) 0 R", page)[1]
        stream = re.search(
            rb"\n" + number + rb" 0 obj.*?stream\r?\n(.*?)\nendstream", data, re.DOTALL
        )[1]
        found.append((box[2], box[3], zlib.decompress(stream)))
    return found


@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium to print with")
@pytest.mark.parametrize("size", SIZES)
def test_every_page_is_of_its_size_and_holds_text(page, tmp_path, size):
    source, printed = tmp_path / "report.html", tmp_path / "report.pdf"
    sheet = f"<style>@page {{ size: {size} }}</style></head>"
    source.write_text(page.replace("</head>", sheet, 1), encoding="utf-8")
    subprocess.run(
        [CHROMIUM, "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer",
         f"--user-data-dir={tmp_path / 'profile'}",
         f"--print-to-pdf={printed}", source.as_uri()],
        capture_output=True, timeout=90, check=True,
    )  # fmt: skip
    data = printed.read_bytes()
    pages = pages_of(data)
    assert 5 < len(pages) < 60
    for width, height, drawn in pages:
        assert (width, height) == pytest.approx(SIZES[size], abs=1.0)
        assert len(re.findall(rb"\bT[jJ]\b", drawn)) > 10
    assert b"/MarkInfo" in data  # tagged, for a screen reader
