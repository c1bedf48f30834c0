"""NIST Statistical Reference Datasets, one-way analysis of variance (certified values).

The files in data/nist_anova are those of NIST, in the public domain.  What the package makes of
such a layout are the mean squares of a mixed model, between groups over their size and within.
It fits what is left of a curve, so the leading digits are off before any square is summed: a
first value stands for the curve here.  The digits asked for are those that the data still have
as double precision numbers, less a few: 13 and more where they are small, 4 where each reading
is 10^12 and a few tenths.
"""

import re
from pathlib import Path

import numpy as np
import pytest

from rigdata.friction.columns import dense_columns
from rigdata.friction.linear_fit import linear_fit
from rigdata.friction.mixed_model import Component, MixedModel

FOLDER = Path(__file__).parent / "data" / "nist_anova"


def read(name):
    """Groups, values, and the certified F and residual standard deviation."""
    text = (FOLDER / f"{name}.dat").read_text(encoding="ascii")
    (f_value,) = re.findall(r"^Between .*\s(\S+)\s*$", text, re.MULTILINE)
    (deviation,) = re.findall(r"Standard Deviation\s+(\S+)\s*$", text, re.MULTILINE)
    rows = re.findall(r"^\s*(\d+)\s+(\d\S*)\s*$", text.split("Data:")[-1], re.MULTILINE)
    group, values = np.array(rows, dtype=float).T
    return group.astype(int), values, float(f_value), float(deviation)


@pytest.mark.parametrize(
    ("name", "groups", "n", "digits"),
    [("SiRstv", 5, 25, 12), ("SmLs01", 9, 189, 12), ("AtmWtAg", 2, 48, 8), ("SmLs04", 9, 189, 8),
     ("SmLs07", 9, 189, 4)],
)  # fmt: skip
def test_certified_mean_squares(name, groups, n, digits):
    group, values, f_value, deviation = read(name)
    assert (len(set(group)), values.size) == (groups, n)
    each = n // groups
    left = values - values[0]
    spread = np.var(left) / 2.0
    model = MixedModel(
        residual=left,
        design=np.ones((n, 1)),
        diagonal=np.zeros(n),
        columns=dense_columns(np.zeros((n, 0)), np.eye(groups)[group - 1]),
        components=(Component("pack"), Component("misfit", weights=np.ones(n))),
    )
    estimate, _ = linear_fit(model, np.array([spread, spread]))
    between, within = each * estimate.mean_square[0], estimate.mean_square[1]
    assert between / within == pytest.approx(f_value, rel=10.0**-digits)
    assert np.sqrt(within) == pytest.approx(deviation, rel=10.0**-digits)
    assert estimate.dof == pytest.approx([groups - 1.0, n - groups], rel=1e-6)
