"""Contributions of several changed inputs to one change, averaged over the orders in which they can change.

What an input contributes depends on which others have changed before it. The mean over all orders is the Shapley value: the
contributions add up to the whole change, and no order is preferred.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Sequence
from itertools import islice, permutations

from compute.base.errors import ComputeError

# Up to this many inputs every order counts: 30 sets of five inputs lie between none and all.
MAX_INPUTS_ALL_ORDERS = 5
# Of more inputs so many random orders count, each forward and backward.
ORDER_PAIRS, SEED = 8, 20261201

Chosen = frozenset[int]
ValueOf = Callable[[Chosen], float]


def averaged_contributions(
    count: int, value_of: ValueOf, first: float, last: float
) -> tuple[float, ...] | None:
    """Return the contribution of each input to the change from the first value to the last.

    Parameters
    ----------
    count : int  number of inputs that change, 1 or more
    value_of : callable  set of indexes of the changed inputs to the value; it is asked for each set once, not for none or all; a
        ComputeError: these inputs do not go together
    first : float [any unit]  value with no input changed
    last : float [as first]  value with all inputs changed

    Returns
    -------
    contributions : tuple of float or None [as first]  their sum is last - first; None if no order is possible

    Source
    ------
    Shapley, A Value for n-Person Games, 1953 (from memory): mean over all orders of the change that an input makes. Orders through an
        impossible set do not count. Of more than five inputs eight random orders with a fixed seed count, each also reversed (Castro, Gomez
        and Tejada 2009, from memory: sampled orders are unbiased).
    """
    known: dict[Chosen, float | None] = {frozenset(): first, frozenset(range(count)): last}

    def value(chosen: Chosen) -> float | None:
        if chosen not in known:
            try:
                known[chosen] = value_of(chosen)
            except ComputeError:
                known[chosen] = None
        return known[chosen]

    sums, orders = [0.0] * count, 0
    for order in _orders(count):
        steps = [value(frozenset(order[:size])) for size in range(count + 1)]
        if None in steps:
            continue
        orders += 1
        for index, before, after in zip(order, steps, steps[1:], strict=False):
            sums[index] += after - before  # type: ignore[operator]
    if not orders:
        return None
    return _exact([total / orders for total in sums], last - first)


def _orders(count: int) -> Iterator[Sequence[int]]:
    if count <= MAX_INPUTS_ALL_ORDERS:
        yield from permutations(range(count))
        return
    generator = random.Random(SEED)  # noqa: S311 not a secret
    for order in islice(iter(lambda: generator.sample(range(count), count), None), ORDER_PAIRS):
        yield order
        yield order[::-1]


def _exact(contributions: list[float], change: float) -> tuple[float, ...]:
    """Put the rounding of the sums into the largest contribution."""
    largest = max(range(len(contributions)), key=lambda index: abs(contributions[index]))
    others = sum(one for index, one in enumerate(contributions) if index != largest)
    contributions[largest] = change - others
    return tuple(contributions)
