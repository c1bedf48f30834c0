"""Steps of longer work: counted, told before they begin, optional."""

from rigdata.steps import Step, counted


def test_each_step_is_told_before_it_begins() -> None:
    told: list[Step] = []
    for done, _thing in enumerate(counted(told.append, "do", "ab")):
        assert len(told) == done + 1
    assert told == [Step("do a", 0, 2), Step("do b", 1, 2)]


def test_nobody_need_listen() -> None:
    assert list(counted(None, "do", [1, 2])) == [1, 2]
    assert str(Step("fitting", 1, 3)) == "fitting"
