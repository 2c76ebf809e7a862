"""Several actions in one request: all or none, with the problems of each row."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import transaction

Problems = list[dict[str, str]]


@dataclass(frozen=True, slots=True)
class BulkAction:
    """The action of one row of a table."""

    row: int
    do: Callable[[], Any]


def do_all(
    actions: Sequence[BulkAction],
    *,
    hold: Callable[[], None],
    explain: Callable[[Exception], Problems | None],
    dry_run: bool,
) -> dict[int, Problems]:
    """Do every action in order, in one transaction; if one fails, or on a dry run, nothing is stored.

    `hold` takes all locks first, in the common order, so that two requests cannot deadlock. Returns the problems
    by row; `explain` gives the problems of an error, None for an internal error, which is raised.
    """
    wrong: dict[int, Problems] = {}
    with transaction.atomic():
        hold()
        for action in actions:
            try:
                with transaction.atomic():
                    action.do()
            except Exception as error:
                problems = explain(error)
                if problems is None:
                    raise
                wrong[action.row] = problems
        if wrong or dry_run:
            transaction.set_rollback(True)
    return wrong
