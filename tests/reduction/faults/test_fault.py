"""How a fault is told."""

from rigdata.errors import Severity
from rigdata.reduction.faults.fault import Action, Fault, FaultyRunError, Kind, Sureness


def fault(action=Action.KEPT, kind=Kind.ZERO_DRIFT, evidence="12 N from start to end"):
    return Fault(kind, "R7", "clamp_load", 0.0, 40.0, Sureness.LIKELY, evidence, action)


def test_a_fault_says_what_how_sure_why_and_what_was_done():
    assert fault().words == (
        "zero of the clamp load drifts beyond its limit (likely): 12 N from start to end; "
        "the run is kept"
    )


def test_a_kept_run_is_a_warning_and_a_lost_one_is_left_out():
    assert fault().notice.severity is Severity.WARNING
    left_out = fault(Action.LEFT_OUT).notice
    assert left_out.severity is Severity.LEFT_OUT
    assert left_out.where == "run R7"
    assert left_out.do


def test_every_kind_says_what_to_do_and_has_a_name_for_files():
    for kind in Kind:
        told = fault(kind=kind).to_dict()
        assert told["do"]
        assert told["kind"] == kind.slug
        assert "_" not in kind.slug
    assert Kind.OPEN_THERMOCOUPLE.slug == "open-thermocouple"


def test_a_run_left_out_is_told_by_the_faults_that_spoil_it():
    error = FaultyRunError((fault(), fault(Action.LEFT_OUT, Kind.SIGN, "pressed with -900 N")))
    assert "wrong sign" in error.what
    assert "drifts" not in error.what
    assert error.where == "run R7"
