from dataclasses import fields

import numpy as np
import pytest

from rigdata.campaign.inspections import COLUMNS, read_inspections
from rigdata.errors import CampaignError

HEAD = ",".join(COLUMNS) + "\n"
ROWS = (
    "A1,0,F1,friction,2.001,87.70,1.55,\n"
    "A1,40.5,F1,friction,1.996,87.52,,after test\n"
    "A1,40.5,M1,mating,1.981,,0.31,\n"
)


@pytest.fixture
def read(tmp_path):
    def of(text: str):
        path = tmp_path / "inspections.csv"
        path.write_text(text, "utf-8")
        return read_inspections(path, ["A1", "B1"])

    return of


def test_readings_with_blanks(read):
    found = read(HEAD + ROWS)
    assert found.plate.tolist() == ["F1", "F1", "M1"]
    assert found.member.tolist() == ["friction", "friction", "mating"]
    assert found.service_hours.tolist() == [0.0, 40.5, 40.5]
    assert found.thickness_mm.tolist() == [2.001, 1.996, 1.981]
    assert np.isnan(found.mass_g[2])
    assert np.isnan(found.roughness_ra_um[1])
    assert found.note.tolist() == ["", "after test", ""]


def test_a_selection_keeps_every_column(read):
    found = read(HEAD + ROWS)
    part = found.select(found.member == "mating")
    assert len(part) == 1
    for field in fields(part):
        whole, own = getattr(found, field.name), getattr(part, field.name)
        if isinstance(whole, np.ndarray):
            assert own.shape == (1,)


def test_the_note_may_be_left_out(read):
    short = "\n".join(line.rsplit(",", 1)[0] for line in (HEAD + ROWS).splitlines())
    assert read(short).note.tolist() == ["", "", ""]


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("A1,0,", "a1,0,", ["line 2", "there is no pack 'a1'", "Did you mean A1?"]),
        ("M1,mating", "M1,steel", ["line 4", "member is 'steel'", "friction or mating"]),
        ("40.5,M1,mating", "40.5,F1,mating", ["line 4", "plate F1", "friction, as in the lines"]),
        ("2.001", "2,001", ["line 2", "9 cells", "8 as the header"]),
        ("1.981", "-1.981", ["line 4", "thickness_mm is -1.981", "above 0"]),
        ("1.981,,0.31", ",,", ["line 4", "nothing was measured"]),
        ("A1,0,", "A1,-1,", ["line 2", "service_hours is below 0"]),
        ("A1,0,", "A1,inf,", ["line 2", "service_hours is 'inf'", "a finite number"]),
        (",F1,friction,2.001", ",,friction,2.001", ["line 2", "plate is empty"]),
        ("thickness_mm", "thicknes_mm", ["line 1", "unknown column", "mean thickness_mm"]),
        (",mass_g", "", ["line 1", "column mass_g is missing"]),
    ],
)
def test_faults_name_the_line(read, old, new, words):
    text = HEAD + ROWS
    assert old in text
    with pytest.raises(CampaignError) as caught:
        read(text.replace(old, new, 1))
    for word in ["inspections.csv", *words]:
        assert word in str(caught.value)
