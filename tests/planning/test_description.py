"""Reading plan.toml: what it gives, and what is told where it is wrong."""

import pytest

from rigdata.errors import CampaignError

TWO_BATCHES = ('# batches = "LA-15, LA-16"', 'batches = "LA-15, LA-16"')
ONE_MATERIAL = (
    "[materials.rough-on-steel]\n"
    'friction_plate = "rough-faced plate, sprayed coating on steel"\n'
    'mating_plate = "plain steel plate, ground"\n',
    "",
)


def test_the_baseline_comes_first_and_batches_are_groups(request_of):
    request = request_of(TWO_BATCHES, ('baseline = "steel', 'baseline = "rough'))
    assert [group.label for group in request.groups] == [
        "rough-on-steel, batch LA-15",
        "rough-on-steel, batch LA-16",
        "steel-on-steel",
    ]
    assert [pair[0].batch for pair in request.ratios] == ["LA-16", "1"]


def test_minutes_left_out_keep_their_default(request_of):
    request = request_of(("# [minutes]", "[minutes]"), ("# drag = 20", "drag = 11"))
    assert (request.minutes.of("drag"), request.minutes.of("speed-sweep")) == (11.0, 4.0)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (("resolve_percent", "resolv_percent"), "Did you mean resolve_percent"),
        (("resolve_percent = 5", "resolve_percent = 0"), "above 0"),
        (("resolve_percent = 5", ""), "nothing says how many packs"),
        (ONE_MATERIAL, "nothing to tell apart"),
        (('baseline = "steel-on-steel"', 'baseline = "steel-on-stel"'), "Did you mean steel-on"),
        (("temperature_c = 90", "temperature_c = 120"), "inside the range of [region], 50 to 110"),
        (("[0.8, 3.0]", "[3.0, 0.8]"), "the lower number first"),
        (("[0.8, 3.0]", "[0.8, 1.2, 3.0]"), "two numbers"),
        (("inner_radius_mm = 40", "inner_radius_mm = 60"), "less than outer_radius_mm, 55"),
        (("friction_faces = 10", ""), "friction_faces: the key is missing"),
        (("friction_faces = 10", 'batch = "B"'), "in [materials.NAME]"),
        (('# batches = "LA-15, LA-16"', 'batches = "LA-15, LA-15"'), "no batch of its own"),
        (("calibration/rig.toml", "calibration/rigg.toml"), "there is no file"),
        (("# packs = 4 ", "packs = 1 "), "at least 2"),
    ],
)
def test_what_is_wrong_is_told(request_of, change, words):
    with pytest.raises(CampaignError) as fault:
        request_of(change)
    assert words in str(fault.value)
    assert "plan.toml" in str(fault.value)
