"""Several processes of this machine."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from rigdata.engines.engine import Apply, Engine, Job, Result, alone
from rigdata.engines.parcels import parcel, unpacked, worked_off
from rigdata.errors import EngineError, RigdataError

# What a run and a megabyte of log take, and how many cores the threads that read it keep busy,
# measured (see DEVELOPERS.md); and what processes must bring, twice the time that one needs to
# load numpy, scipy and pandas.
_RUN_S, _MB_S, _BUSY_CORES, _WORTH_S = 0.05, 0.0045, 1.75, 2.4
_BYTES_PER_MB = 1e6
# Threads of the linear algebra would get in each other's way, and might change a last digit.
_ONE_THREAD = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")
_THREADS = "RIGDATA_THREADS"  # tells a process its share of the cores


def processes(workers: int | None = None) -> Engine:
    """Return the engine that works with so many processes of this machine.

    Parameters
    ----------
    workers : int, optional
        How many.  By default one for each core that this process may use, and none
        beside it where there is too little to read to pay for starting them.

    Notes
    -----
    Processes are started afresh ("spawn"), the same on every system: a copy of a
    process that has threads may hang, and pandas with pyarrow brings threads.  So a
    script that asks for more than one begins with ``if __name__ == "__main__":``.
    """

    @contextmanager
    def opened(files: Sequence[Path]) -> Iterator[Apply]:
        count = min(workers or usable_cores(), len(files))
        if count < 2 or (workers is None and not _pays(files, count)):
            with alone(files) as apply:
                yield apply
            return
        pool = _Pool(count)
        try:
            yield pool
        except BaseException:
            pool.stop()
            raise
        pool.close()

    return opened


def usable_cores() -> int:
    """Return how many cores this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def usable_threads(most: int) -> int:
    """Return how many threads a piece of work may start, up to `most`.

    Processes that work side by side share the cores between them.
    """
    said = os.environ.get(_THREADS, "")
    return max(min(int(said), most), 1) if said.isdecimal() else most


def _pays(files: Sequence[Path], workers: int) -> bool:
    """Whether processes bring more than starting them costs, by the size of the logs."""
    megabytes = sum(file.stat().st_size for file in files if file.is_file()) / _BYTES_PER_MB
    reading_s = _MB_S * megabytes * max(0.0, 1.0 - _BUSY_CORES / workers)
    return _RUN_S * len(files) * (1.0 - 1.0 / workers) + reading_s > _WORTH_S


class _Pool:
    """Worker processes, started anew where one of them died."""

    def __init__(self, workers: int) -> None:
        self._workers = workers
        self._crew = _Crew(workers)

    def __call__(
        self, function: Callable[..., Result], jobs: Sequence[Job]
    ) -> Iterator[Result | RigdataError]:
        """Yield the outcome of each job, in their order."""
        parcels = [parcel(function, job) for job in jobs]
        futures = [self._crew.hand_out(content) for content in parcels]
        for place, job in enumerate(jobs):
            outcome: bytes | EngineError
            try:
                outcome = futures[place].result()
            except BrokenProcessPool:
                # One death takes every job in hand with it, and does not say whose it was.
                outcome = self._by_itself(parcels[place], job)
                for later in range(place + 1, len(jobs)):
                    if isinstance(futures[later].exception(), BrokenProcessPool):
                        futures[later] = self._crew.hand_out(parcels[later])
            yield unpacked(outcome) if isinstance(outcome, bytes) else outcome

    def _by_itself(self, content: bytes, job: Job) -> bytes | EngineError:
        """Do a job once more with nothing beside it, so that a second death is its own."""
        self._start_anew()
        try:
            self._crew.hand_out(None).result()
        except BrokenProcessPool:
            raise EngineError(
                "the processes that were to do the work end as soon as they start",
                do="Give --workers 1 to do without them. A script that asks for workers must begin "
                "its work below 'if __name__ == \"__main__\":'",
            ) from None
        try:
            return self._crew.hand_out(content).result()
        except BrokenProcessPool:
            self._start_anew()
            return EngineError(
                "the process that worked on it ended twice in the middle of it",
                where=job.name,
                do="Where memory ran out, give fewer --workers",
            )

    def _start_anew(self) -> None:
        self._crew.close()
        self._crew = _Crew(self._workers)

    def stop(self) -> None:
        """End the processes now, whatever they are at."""
        self._crew.stop()

    def close(self) -> None:
        """End the processes, which have nothing left to do."""
        self._crew.close()


class _Crew:
    """One set of worker processes and the line that they live by."""

    def __init__(self, workers: int) -> None:
        context = multiprocessing.get_context("spawn")
        share = max(usable_cores() // workers, 1)
        self._told = {**dict.fromkeys(_ONE_THREAD, "1"), _THREADS: str(share)}
        self._held, self._line = context.Pipe(duplex=False)
        self._executor = ProcessPoolExecutor(
            workers, context, initializer=_attend, initargs=(self._held,)
        )

    def hand_out(self, content: bytes | None) -> Future[bytes]:
        with _starting(self._told):
            try:
                return self._executor.submit(_work, content)
            except BrokenProcessPool as fault:
                lost: Future[bytes] = Future()
                lost.set_exception(fault)
                return lost

    def stop(self) -> None:
        """End the processes now, whatever they are at."""
        self._line.close()
        self.close()

    def close(self) -> None:
        """End the processes when they have done what they were given."""
        self._executor.shutdown(cancel_futures=True)
        self._line.close()
        self._held.close()


def _work(content: bytes | None) -> bytes:
    return b"" if content is None else worked_off(content)


def _attend(line: Connection) -> None:
    """Make this process end when the one that started it lets go of the line, or dies."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the process that started it

    def watch() -> None:
        try:
            line.recv_bytes()
        except (EOFError, OSError):
            os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


@contextmanager
def _starting(told: Mapping[str, str]) -> Iterator[None]:
    """Let processes that start inherit what they are told of threads, and no Ctrl-C."""
    before: dict[str, Any] = {name: os.environ.get(name) for name in told}
    os.environ.update(told)
    # Held back, not ignored: it reaches this process at the end of the block.
    masked = hasattr(signal, "pthread_sigmask")
    mask = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT}) if masked else set()
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value
        if masked:
            signal.pthread_sigmask(signal.SIG_SETMASK, mask)
