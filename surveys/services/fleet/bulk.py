"""Many deeds at once: all of them or none, with what was wrong row by row."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from django.db import transaction

Problems = list[dict[str, str]]


@dataclass(frozen=True, slots=True)
class BulkAction:
    """What a row of a table asks for."""

    row: int
    do: Callable[[], Any]


def do_all(
    actions: Sequence[BulkAction],
    *,
    hold: Callable[[], None],
    explain: Callable[[Exception], Problems | None],
    dry_run: bool,
) -> dict[int, Problems]:
    """Do every deed, each seeing those before it; if one fails, or on a dry run, nothing is kept.

    `hold` takes beforehand what the deeds lock: one after another they would lock it in the order of the table, against whoever
    takes several in order. Returns the problems by row; `explain` says what an error means, None for one that is a fault of ours
    and is raised.
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
