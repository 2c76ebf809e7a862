"""Preparation of the next item on a second thread, while the caller uses the current one."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from itertools import islice
from typing import TypeVar

Item = TypeVar("Item")
Product = TypeVar("Product")

# Blocks prepared at any time; each occupies memory.
DEPTH = 2


def prefetch(
    make: Callable[[Item], Product], items: Iterable[Item], *, depth: int = DEPTH
) -> Iterator[Product]:
    """Yield `make` of each item, in order, computed on another thread while the caller works.

    The items are read on the caller's thread, so they may come from a database connection that belongs to
    it. An error of `make` is raised where its item is due. A single item is computed at once, without a thread.
    It is faster where `make` lets other threads run, as decompression and numpy do.

    Parameters
    ----------
    make : callable  safe to run beside the caller
    items : iterable
    depth : int  items in the making or waiting, 1 or more

    Returns
    -------
    created : iterator

    Source
    ------
    custom : a bounded queue of futures.
    """
    remaining = iter(items)
    first = list(islice(remaining, 2))
    if len(first) < 2:
        yield from map(make, first)
        return
    with ThreadPoolExecutor(max_workers=1, thread_name_prefix="ahead") as thread:
        waiting: deque[Future[Product]] = deque()
        try:
            waiting.extend(
                thread.submit(make, item) for item in [*first, *islice(remaining, max(depth - 2, 0))]
            )
            while waiting:
                created = waiting.popleft().result()
                waiting.extend(thread.submit(make, item) for item in islice(remaining, 1))
                yield created
        finally:
            for future in waiting:
                future.cancel()


def alternating_threads(make: Callable[[Item], Product], items: Sequence[Item]) -> Iterator[Product]:
    """Return `make` of each item, in order, every other one computed on another thread.

    An error of `make` is raised where its item is due.

    Parameters
    ----------
    make : callable  safe to run beside itself
    items : sequence

    Returns
    -------
    created : iterator

    Source
    ------
    custom : `prefetch` for half of the items.
    """
    theirs = prefetch(make, items[1::2])
    for item in items[::2]:
        yield make(item)
        yield from islice(theirs, 1)
