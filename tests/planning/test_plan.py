"""A whole plan: packs for the aim, blocks, order, and the campaign file."""

import datetime
from collections import Counter
from dataclasses import replace

import pytest

from rigdata.campaign.campaign import read_campaign
from rigdata.errors import CampaignError, FitError
from rigdata.planning.blocks import laid_out
from rigdata.planning.campaign_text import campaign_text
from rigdata.planning.candidates import candidates, levels
from rigdata.planning.plan import make_plan
from rigdata.planning.words import design_words

LOOSE = ("resolve_percent = 5 ", "resolve_percent = 12 ")
FEW = (LOOSE, ("# tests = 6 ", "tests = 5 "))


@pytest.fixture(scope="module")
def plan(request_of):
    return make_plan(request_of(*FEW))


def test_the_fewest_packs_that_reach_the_aim(plan):
    fewer, taken, *more = plan.options
    assert taken is plan.taken
    assert taken.resolvable <= 0.12 < fewer.resolvable
    assert fewer.packs == taken.packs - 1
    assert [option.packs for option in more] == [taken.packs + 1, taken.packs + 2]
    assert [option.resolvable for option in plan.options] == sorted(
        (option.resolvable for option in plan.options), reverse=True
    )


def test_precision_can_be_the_aim(request_of):
    plan = make_plan(request_of(("resolve_percent = 5 ", "precision_percent = 6 ")))
    assert plan.taken.half_width <= 0.06


def test_an_aim_out_of_reach_says_what_limits(request_of):
    with pytest.raises(CampaignError) as fault:
        make_plan(request_of(("resolve_percent = 5 ", "precision_percent = 0.2 ")))
    assert "even 30 packs of each give mu within" in str(fault.value)
    assert "% of the variance" in str(fault.value)


@pytest.mark.parametrize(
    ("changes", "error", "words"),
    [
        ((('# law = "log-speed"', 'law = "quadratic"'),), FitError, "needs its parameters"),
        ((('# law = "log-speed"', 'law = "logspeed"'),), FitError, "there is no law 'logspeed'"),
        ((("# hours_per_day = 8", "hours_per_day = 2"),), CampaignError, "longer than a day"),
    ],
)
def test_what_cannot_be_planned(request_of, changes, error, words):
    with pytest.raises(error, match=words):
        make_plan(request_of(*changes))


def test_every_block_has_the_same_tests_and_the_reference_through_the_day(plan):
    contents = set()
    for block in plan.blocks:
        names = [run.test.procedure for run in block.runs]
        assert names[:3] == ["zero", "drag", "bedding"]
        checks = [i for i, run in enumerate(block.runs) if run.purpose == "reference"]
        assert checks[0] == 3
        assert checks[2] == len(names) - 1
        assert abs((checks[1] - checks[0]) - (checks[2] - checks[1])) <= 1
        contents.add(frozenset(Counter(f"{r.test.procedure} {r.test.setting}" for r in block.runs)))
    assert len(contents) == 1


def test_each_round_has_one_pack_of_every_group(plan):
    labels = [block.group.label for block in plan.blocks]
    size = len(plan.request.groups)
    rounds = [labels[i : i + size] for i in range(0, len(labels), size)]
    assert all(len(set(each)) == size for each in rounds)
    assert len({block.pack for block in plan.blocks}) == len(plan.blocks)


def test_the_order_is_that_of_the_seed(plan):
    def order(seed):
        blocks = laid_out(replace(plan.request, seed=seed), plan.chosen, plan.taken.packs)
        return [(run.id, run.pack, run.test.setting) for b in blocks for run in b.runs]

    planned = [(run.id, run.pack, run.test.setting) for b in plan.blocks for run in b.runs]
    assert order(1) == planned
    assert order(1) != order(2)


def test_each_block_has_an_order_of_its_own(plan):
    orders = {tuple(run.test.setting for run in block.runs) for block in plan.blocks}
    assert len(orders) == len(plan.blocks)


def test_time_adds_up(plan):
    request = plan.request
    minutes = sum(run.test.minutes for b in plan.blocks for run in b.runs)
    minutes += request.minutes.mount * len(plan.blocks)
    assert plan.taken.hours == pytest.approx(minutes / 60.0)
    by_day = Counter()
    for block in plan.blocks:
        by_day[block.day] += block.minutes
    assert max(by_day.values()) <= 60.0 * request.hours_per_day


def test_worn_packs_are_not_bedded_in(request_of):
    made = make_plan(request_of(*FEW, ('# state = "new" ', 'state = "worn" ')))
    assert all(run.test.procedure != "bedding" for run in made.blocks[0].runs)


def test_levels_of_a_range():
    assert levels((50.0, 110.0), 90.0) == (50.0, 90.0, 110.0)
    assert levels((50.0, 90.0), 90.0) == (50.0, 90.0)


def test_a_range_of_next_to_nothing_has_no_sweep_over_it(request_of):
    request = request_of()
    flat = replace(request.region, temperatures_c=(90.0, 90.0))
    offered = candidates(flat, request.reference, request.minutes)
    assert {test.procedure for test in offered} == {"speed-sweep", "load-sweep"}


def test_ranges_too_narrow_for_a_parameter_are_told(plan, request_of):
    assert plan.hidden == ()
    narrow = make_plan(
        request_of(*FEW, ("temperatures_c = [50, 110]", "temperatures_c = [88, 92]"))
    )
    assert narrow.hidden == ("relative change of mu per kelvin",)
    assert "do not show the relative change of mu per kelvin" in design_words(narrow)


def test_the_campaign_file_is_read_back(request_of, tmp_path):
    plan = make_plan(request_of(*FEW, ("# first_day = 2026-03-02", "first_day = 2026-03-06")))
    folder = tmp_path / "campaign"
    folder.mkdir()
    (folder / "campaign.toml").write_text(campaign_text(plan, folder), encoding="utf-8")
    read = read_campaign(folder)
    planned = [run for block in plan.blocks for run in block.runs]
    assert [(r.id, r.pack, r.procedure) for r in read.runs] == [
        (run.id, run.pack, run.test.procedure) for run in planned
    ]
    assert read.runs[0].date == datetime.date(2026, 3, 6)
    assert all(run.date.weekday() < 5 for run in read.runs)
    assert read.reference == plan.request.reference
    assert read.baseline == plan.request.baseline
    block = plan.blocks[0]
    assert read.packs[block.pack].material == block.group.material
    assert read.packs[block.pack].outer_radius_mm == plan.request.pack.outer_radius_mm
    missing = [notice for notice in read.notices if "there is no log" in notice.what]
    assert len(missing) == len(planned)
