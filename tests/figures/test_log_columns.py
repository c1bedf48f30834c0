"""The figure of a log: one panel a column, gaps stay open, flags have shapes."""

import numpy as np
import pytest

from rigdata.figures.log_columns import MOST_PANELS, described, log_columns
from rigdata.logs.flags import Flag
from rigdata.logs.inspection import look_at

TIME = np.arange(3000) / 100.0


@pytest.fixture
def look(tmp_path):
    def do(n_columns):
        rng = np.random.default_rng(4)
        values = np.round(rng.normal(10.0, 0.5, (TIME.size, n_columns)), 3)
        values[700, 0], values[1500, 0] = 90.0, np.nan
        time = TIME + np.where(TIME >= 20.0, 5.0, 0.0)
        rows = [
            f"{t:.2f}," + ",".join("" if np.isnan(v) else f"{v:.3f}" for v in row) + "\n"
            for t, row in zip(time, values, strict=True)
        ]
        names = ",".join(f"c{i} [degC]" for i in range(n_columns))
        path = tmp_path / "R.csv"
        path.write_text(f"Time [s],{names}\n" + "".join(rows))
        return look_at(path)

    return do


def test_panels_gaps_and_marks(look):
    seen = look(3)
    drawing = log_columns(seen)
    assert len(drawing.axes) == 3
    line = next(found for found in drawing.axes[0].lines if found.get_gid() == "c0 [degC]")
    time, middle = line.get_xdata(), line.get_ydata()
    assert np.isnan(middle[(time > 20.2) & (time < 24.8)]).all()
    assert np.isnan(middle).sum() == 1
    band = drawing.axes[0].collections[0].get_paths()
    assert max(path.vertices[:, 1].max() for path in band) == pytest.approx(90.0)
    assert set(seen.columns[0].counts) == {Flag.SPIKE, Flag.MISSING, Flag.GAP}
    markers = {found.get_marker() for found in drawing.axes[0].lines if found.get_ls() == "None"}
    assert len(markers) == 3
    legend = [text.get_text() for text in drawing.legends[0].get_texts()]
    assert legend == ["missing", "spike", "after a gap"]
    assert drawing.axes[0].get_title(loc="left").startswith("c0 [degC]; 1 missing, 1 spike")


def test_what_is_drawn_is_also_said(look):
    words = described(look(2))
    assert words.startswith("Against time from 0 s to 34.99 s: c0 [degC] from ")
    assert "1 spike" in words


def test_more_columns_than_panels_are_told(look):
    drawing = log_columns(look(MOST_PANELS + 2))
    assert len(drawing.axes) == MOST_PANELS
    assert "2 more columns are not drawn" in drawing.axes[-1].get_xlabel()
