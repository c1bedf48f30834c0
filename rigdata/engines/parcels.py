"""Jobs and outcomes as bytes, for the way to another process and back.

Pickled by protocol 5, which keeps arrays read-only; the default of Python 3.11
does not.  Only bytes of our own making are opened.
"""

from __future__ import annotations

import pickle
from collections.abc import Callable
from typing import Any

from rigdata.engines.engine import Job, attempted

_PROTOCOL = 5


def parcel(function: Callable[..., Any], job: Job) -> bytes:
    """Return a job as bytes."""
    return pickle.dumps((function, job.arguments), _PROTOCOL)


def worked_off(parcelled: bytes) -> bytes:
    """Do a job in another process; return its outcome as bytes."""
    function, arguments = pickle.loads(parcelled)
    return packed(attempted(function, arguments))


def packed(outcome: object) -> bytes:
    """Return an outcome as bytes."""
    return pickle.dumps(outcome, _PROTOCOL)


def unpacked(outcome: bytes) -> Any:
    """Return an outcome."""
    return pickle.loads(outcome)
