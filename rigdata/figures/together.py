"""Many figures drawn by several processes: most of a report's time is drawing.

The processes are forks of this one, so that they find the figures as they are and send
back only text.  A figure comes out the same wherever it is drawn, so the report does not
depend on the number of processes.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
import time
import warnings
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool

from rigdata.engines.local import usable_cores
from rigdata.figures.picture import Picture
from rigdata.figures.svg import InlineSvg
from rigdata.steps import Progress, counted

_LOOK_S = 0.5  # after which a process that draws sees that its parent is gone
_FEW = 4  # figures that are drawn sooner than a process is started

_to_draw: Sequence[Picture] = ()  # what a fork finds


def draw_all(
    pictures: Sequence[Picture], *, progress: Progress | None = None, processes: int | None = None
) -> None:
    """Draw figures for a page, so that each has its `inline` at hand.

    Parameters
    ----------
    pictures : sequence of Picture
    progress : callable, optional
        Told each figure before it is waited for.
    processes : int, optional
        How many draw; one for each core that this process may use unless told otherwise.
    """
    usable = usable_cores() if processes is None else processes
    if usable > 1 and len(pictures) > _FEW and "fork" in multiprocessing.get_all_start_methods():
        drawn = _drawn_by_forks(pictures, min(usable, len(pictures)))
    else:
        drawn = _drawn_here(pictures)
    for picture in counted(progress, "drawing", pictures):
        picture.has_been_drawn(next(drawn))


def _drawn_here(pictures: Sequence[Picture]) -> Iterator[InlineSvg]:
    for picture in pictures:
        yield picture.inline


def _drawn_by_forks(pictures: Sequence[Picture], processes: int) -> Iterator[InlineSvg]:
    """Yield the figures in their order; those of a process that was lost are drawn here."""
    global _to_draw
    _to_draw = pictures
    context = multiprocessing.get_context("fork")
    try:
        with (
            warnings.catch_warnings(),
            ProcessPoolExecutor(processes, context, _serve, (os.getpid(),)) as pool,
        ):
            # Forks of a process with threads: these draw and end, and take no lock of a thread.
            warnings.simplefilter("ignore", DeprecationWarning)
            waiting = [pool.submit(_drawn, number) for number in range(len(pictures))]
            try:
                for picture, future in zip(pictures, waiting, strict=True):
                    yield _outcome(future.result, picture)
            except BaseException:  # Ctrl-C: what is not begun is not waited for
                pool.shutdown(wait=False, cancel_futures=True)
                raise
    finally:
        _to_draw = ()


def _serve(parent: int) -> None:
    """Begin a process that draws: signals are its parent's to answer, and it ends with that."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(_LOOK_S)
        os._exit(1)  # killed: it would wait for work for ever

    threading.Thread(target=watch, daemon=True).start()


def _outcome(result: Callable[[], str], picture: Picture) -> InlineSvg:
    try:
        return InlineSvg(result())
    except BrokenProcessPool:
        return picture.inline


def _drawn(number: int) -> str:
    return _to_draw[number].inline.markup
