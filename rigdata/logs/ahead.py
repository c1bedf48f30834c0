"""Work on the next blocks of a log while the caller still looks at this one."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Executor, Future
from typing import TypeVar

AHEAD = 1  # blocks under way beside the next; each costs its text and its numbers in memory

Item = TypeVar("Item")
Result = TypeVar("Result")


def in_order(
    work: Callable[[Item], Result], items: Iterable[Item], pool: Executor | None
) -> Iterator[Result]:
    """Yield the result for each item in their order, with some of them under way in `pool`.

    Without a pool each is worked out when it is asked for.
    """
    if pool is None:
        yield from map(work, items)
        return
    coming: deque[Future[Result]] = deque()
    for item in items:
        coming.append(pool.submit(work, item))
        if len(coming) > AHEAD:
            yield coming.popleft().result()
    while coming:
        yield coming.popleft().result()


def one_ahead(items: Iterator[Item], pool: Executor | None) -> Iterator[Item]:
    """Yield the items while a thread of `pool` makes the next one."""
    if pool is None:
        yield from items
        return
    coming: Future[Item | None] = pool.submit(next, items, None)
    while (item := coming.result()) is not None:
        coming = pool.submit(next, items, None)
        yield item
