from rigdata.errors import Notice, RigdataError, Severity, gathered


def test_a_message_says_what_where_expected_and_do():
    fault = RigdataError("unit is unknown", where="rig.toml", expected="N*m", do="Correct it.")
    assert str(fault) == "rig.toml: unit is unknown; expected N*m. Correct it."
    assert str(RigdataError("no log")) == "no log."


def test_the_same_thing_said_of_many_runs_is_said_once():
    many = [Notice(Severity.WARNING, f"run R{i}", "no zero", "Log it.") for i in range(12)]
    other = Notice(Severity.NOTE, "pack P1", "one pack only")
    found = gathered([*many, other, many[0]])
    assert [n.where for n in found] == ["runs R0, R1, R2 and 9 more", "pack P1"]
    assert found[0].what == "no zero"
    assert gathered(many[:2])[0].where == "runs R0, R1"


def test_different_severity_stays_apart():
    pair = [Notice(s, "run R1", "x") for s in (Severity.NOTE, Severity.LEFT_OUT)]
    assert gathered(pair) == tuple(pair)
