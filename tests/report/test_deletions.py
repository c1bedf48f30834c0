"""What the report says of packs and runs left out one at a time."""

from dataclasses import replace
from xml.etree import ElementTree

from rigdata.friction.allowances import RUN, Outlier
from rigdata.friction.case_deletion import largest
from rigdata.friction.results import Group
from rigdata.report.deletions import deletions_section
from rigdata.report.html import render

ROUGH = Group("rough", "new")


def parsed(report):
    return ElementTree.fromstring(render(deletions_section(report).markup()))


def words(node):
    text = " ".join(node.itertext()).replace("\N{NO-BREAK SPACE}", " ")
    return " ".join(text.split())


def rows(report):
    """Cells of the table's rows by group and name."""
    found = [[words(cell) for cell in row] for row in parsed(report).iter("tr")][1:]
    return {(cells[1], cells[0]): cells[2:] for cells in found}


def changed(report, **changes):
    fit = replace(report.fits[ROUGH], **changes)
    return replace(report, fits={**report.fits, ROUGH: fit})


def minus(text):
    return text.replace("-", "\N{MINUS SIGN}")


def test_every_pack_has_its_row_and_the_largest_is_told(full):
    table = rows(full)
    for group, fit in full.fits.items():
        for one in fit.deletions:
            if one.kind == "pack":
                share, change, change_u, most, _ = table[(str(group), one.title)]
                assert float(share.split()[0]) / 100 == one.leverage or (
                    abs(float(share.split()[0]) / 100 - one.leverage) < 0.01
                )
                assert change == minus(f"{100 * one.change:+.2f}")
                assert change_u.split()[0] == minus(f"{one.change_u:+.2f}")
                assert most == minus(f"{100 * one.most:+.2f}")
    one, text = largest(full.fits[ROUGH].deletions), words(parsed(full))
    assert (
        f"rough (new): {one.title} moves mu most, by {minus(f'{100 * one.change:+.1f}')} %" in text
    )
    assert any(name.endswith("static") for name, _ in table) == bool(full.static)


def test_what_drives_the_result_is_told_first(full):
    fit = full.fits[ROUGH]
    first = replace(fit.deletions[0], driving="apart")
    last = replace(fit.deletions[-1], driving="dominates", leverage=0.93)
    told = (first, *fit.deletions[1:-1], last)
    text = words(parsed(changed(full, deletions=told)))
    assert f"rough (new): {first.title} lies further from all the others" in text
    assert f"{last.title} carries 93 % of what is known of mu at the reference." in text
    assert (str(ROUGH), f"{last.title} of {last.pack}") in rows(changed(full, deletions=told))


def test_weights_stand_beside_where_something_counts_less(full):
    assert "Weight" not in words(parsed(full))
    fit = full.fits[ROUGH]
    run = next(one for one in fit.deletions if one.kind == "run")
    outlier = Outlier(RUN, run.name, run.name, run.pack, 0.2, 0.01, 4.0, "")
    table = rows(changed(full, outliers=(outlier,)))
    weight = table[(str(ROUGH), f"{run.title} of {run.pack}")][-1]
    assert float(weight) < 0.01
    assert {cells[-1] for (_, name), cells in table.items() if name == "pack"} <= {"1.0"}


def test_a_run_without_which_mu_is_not_known_says_so(full):
    fit = full.fits[ROUGH]
    none = {"mu": None, "change": None, "change_u": None, "most": None, "most_u": None}
    lost = replace(fit.deletions[-1], leverage=1.0, where={}, **none)
    cells = rows(changed(full, deletions=(*fit.deletions[:-1], lost)))
    shown = cells[(str(ROUGH), f"{lost.title} of {lost.pack}")]
    assert shown == ["100 %", "not known", "–", "–", "–"]


def test_without_anything_left_out_there_is_no_section(full):
    bare = {group: replace(fit, deletions=()) for group, fit in full.fits.items()}
    assert deletions_section(replace(full, fits=bare, static={})) is None
