"""The workers of a cluster, through the optional package dask.distributed.

Jobs travel and logs do not: a worker reads a log where it lies, so the campaign's
folder is to be found under the same path everywhere.  The scheduler hands the jobs
of a lost worker to another.
"""

from __future__ import annotations

import contextlib
import logging
import platform
import uuid
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from rigdata.engines.engine import Apply, Engine, Job, Result
from rigdata.engines.parcels import packed, parcel, unpacked, worked_off
from rigdata.engines.sameness import likeness, software
from rigdata.errors import EngineError, RigdataError
from rigdata.extras import wanted_package

CONNECT_S = 10.0  # until a scheduler must have answered
WORKERS_S = 30.0  # until a worker must be there, at first and after the last one went
_LOOK_S = 5.0  # between looks whether those who work are still there
_RETRIES = 2  # of a job that failed by a fault that is not its own, as a disk out of reach


def cluster(address: str, *, connect_s: float = CONNECT_S, workers_s: float = WORKERS_S) -> Engine:
    """Return the engine that works with the workers of a dask cluster.

    Parameters
    ----------
    address : str
        Of its scheduler, as ``tcp://10.0.0.5:8786``.
    connect_s, workers_s : float
        How long to wait for the scheduler, and for a worker. [s]

    Notes
    -----
    Whoever reaches an open scheduler can run code on all its workers, so its port must
    be closed to others, or the address be ``tls://`` with the certificates in the
    configuration of dask.  Certificates are then taken from there.
    """

    @contextmanager
    def opened(_files: Sequence[Path]) -> Iterator[Apply]:
        distributed = wanted_package("distributed", "cluster", EngineError, needing="engine")
        with _quiet():
            client = _connected(distributed, address, connect_s)
            try:
                work = _Cluster(distributed, client, address, workers_s)
                work.wait_for_workers()
                yield work
            finally:
                with contextlib.suppress(TimeoutError, OSError):
                    client.close(timeout=_LOOK_S)

    return opened


def _connected(distributed: Any, address: str, connect_s: float) -> Any:
    try:
        return distributed.Client(
            address, timeout=connect_s, set_as_default=False, heartbeat_interval="2s"
        )
    except (OSError, ValueError, TypeError) as fault:
        raise EngineError(
            f"no scheduler answers within {connect_s:g} s ({fault})",
            where=address,
            expected="the address of a running dask scheduler, as tcp://10.0.0.5:8786",
            do="Start one with 'dask scheduler', or leave --scheduler out to work on this machine",
        ) from None


class _Cluster:
    """A connection to a scheduler, and what waits for its workers."""

    def __init__(self, distributed: Any, client: Any, address: str, workers_s: float) -> None:
        self._distributed = distributed
        self._client = client
        self._address = address
        self._workers_s = workers_s

    def __call__(
        self, function: Callable[..., Result], jobs: Sequence[Job]
    ) -> Iterator[Result | RigdataError]:
        """Yield the outcome of each job, in their order."""
        batch = uuid.uuid4().hex  # keys of its own: dask would give an old result for an old key
        futures = [
            self._client.submit(
                worked_off_alike,
                parcel(function, job),
                str(job.reads),
                likeness(job.reads),
                software(),
                key=f"rigdata-{batch}-{number}",
                pure=False,
                retries=_RETRIES,
            )
            for number, job in enumerate(jobs)
        ]
        for job in jobs:
            future = futures.pop(0)  # let go of at once: its result lies on a worker until then
            yield self._outcome(future, job)

    def wait_for_workers(self) -> None:
        try:
            self._client.wait_for_workers(1, timeout=self._workers_s)
        except TimeoutError:
            raise EngineError(
                f"no worker is there within {self._workers_s:g} s",
                where=self._address,
                do=f"Start some with 'dask worker {self._address} --nthreads 1' where rigdata is "
                "installed: a worker without it ends as soon as it is given work",
            ) from None

    def _outcome(self, future: Any, job: Job) -> Any:
        try:
            outcome = unpacked(self._result(future))
        except self._distributed.KilledWorker:
            return EngineError(
                "every worker that worked on it was lost in the middle of it",
                where=job.name,
                do="Look at the memory of the workers",
            )
        except self._distributed.client.FutureCancelledError:
            raise EngineError(
                "the connection to the scheduler was lost",
                where=self._address,
                do="Nothing was written; see that the scheduler runs, and start again",
            ) from None
        if isinstance(outcome, EngineError):
            raise outcome
        return outcome

    def _result(self, future: Any) -> bytes:
        while True:
            try:
                content: bytes = future.result(timeout=_LOOK_S)
            except TimeoutError:
                if future.status == "error":  # the job's own
                    raise
                self._look()
            except ImportError as fault:
                raise self._not_understood(fault) from None
            except RuntimeError as fault:
                if "deserialization" not in str(fault):
                    raise
                raise self._not_understood(fault) from None
            else:
                return content

    def _look(self) -> None:
        """See that the scheduler answers and has a worker."""
        identity = self._client.scheduler.identity
        try:
            known = self._client.sync(identity, callback_timeout=self._workers_s)
        except (TimeoutError, OSError):
            raise EngineError(
                f"the scheduler does not answer within {self._workers_s:g} s",
                where=self._address,
                do="Nothing was written; see that the scheduler runs, and start again",
            ) from None
        if not known["workers"]:
            self.wait_for_workers()

    def _not_understood(self, fault: Exception) -> EngineError:
        return EngineError(
            f"the cluster cannot take the work ({str(fault).splitlines()[0]})",
            where=self._address,
            expected="the same rigdata on the scheduler and on every worker",
            do="Install it there, in the same version",
        )


def worked_off_alike(content: bytes, reads: str, like: str, expected: dict[str, str]) -> bytes:
    """Do a job on a worker, if software and file are those of the one who asks."""
    here = platform.node()
    own = software()
    other = [
        f"{name} {own[name]} instead of {has}" for name, has in expected.items() if own[name] != has
    ]
    if other:
        return packed(
            EngineError(
                f"a worker on {here} has other software: {', '.join(other)}",
                expected="the same everywhere, so that results are the same to the last bit",
                do="Install the same versions on the workers",
            )
        )
    seen = likeness(Path(reads))
    if seen != like:
        return packed(
            EngineError(
                f"a worker on {here} {'finds another file' if seen else 'does not see the log'}",
                where=reads,
                expected="the same file under the same path: logs are read where they lie",
                do="Share the campaign's folder with the workers, under one path",
            )
        )
    return worked_off(content)


@contextmanager
def _quiet() -> Iterator[None]:
    """Keep the client's own log from the terminal: what matters is told as a message."""
    log = logging.getLogger("distributed.client")
    before = log.level
    log.setLevel(logging.CRITICAL + 1)
    try:
        yield
    finally:
        log.setLevel(before)
