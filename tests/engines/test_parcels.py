"""What travels arrives as it was."""

import pickle
from pathlib import Path
from types import MappingProxyType

import numpy as np
import pytest

from rigdata.arrays import frozen
from rigdata.engines.engine import Job
from rigdata.engines.parcels import packed, parcel, unpacked, worked_off
from rigdata.errors import CalibrationError, LogError, RigdataError
from tests.engines.jobs import odd_refused, squared


@pytest.mark.parametrize("kind", [RigdataError, LogError, CalibrationError])
def test_a_fault_keeps_its_kind_and_its_parts(kind):
    fault = kind("too short", where="a.csv, line 3", expected="five columns", do="Look at it")
    for protocol in range(2, pickle.HIGHEST_PROTOCOL + 1):
        again = pickle.loads(pickle.dumps(fault, protocol))
        assert type(again) is kind
        assert vars(again) == vars(fault)
        assert str(again) == str(fault)


def test_arrays_and_mappings_of_results_stay_read_only():
    array, mapping = unpacked(packed((frozen([1.0, np.nan]), MappingProxyType({"a": 1}))))
    assert not array.flags.writeable
    np.testing.assert_array_equal(array, [1.0, np.nan])
    assert type(mapping) is MappingProxyType
    assert mapping == {"a": 1}


def test_a_job_gives_its_result_or_its_fault():
    one, two = (Job(f"number {n}", Path(), (n,)) for n in (1, 2))
    assert unpacked(worked_off(parcel(squared, two))) == 4
    fault = unpacked(worked_off(parcel(odd_refused, one)))
    assert isinstance(fault, LogError)
    assert fault.where == "number 1"
