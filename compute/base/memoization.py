"""Cached results of pure functions, which many surveys of one pipe call with the same entries."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache, wraps
from typing import ParamSpec, TypeVar

Given = ParamSpec("Given")
Answer = TypeVar("Answer")

# Maximum number of results; they are small records, so the cache takes a few megabytes at most.
REMEMBERED = 1024


def memoized(function: Callable[Given, Answer]) -> Callable[Given, Answer]:
    """A pure function of records that are never changed, with its last results cached.

    Called with arrays, which have no hash, it calculates again. Errors are not cached.

    Parameters
    ----------
    function : callable  its answers are frozen and hold nothing that anyone changes

    Returns
    -------
    function : callable

    Source
    ------
    custom : least recently used answers are dropped.
    """
    kept = lru_cache(maxsize=REMEMBERED)(function)

    @wraps(function)
    def call(*args: Given.args, **kwargs: Given.kwargs) -> Answer:
        try:
            hash((args, tuple(kwargs.values())))
        except TypeError:
            return function(*args, **kwargs)
        return kept(*args, **kwargs)  # type: ignore[arg-type]  # hashed above

    return call
