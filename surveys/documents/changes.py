"""Changes of the flow between surveys of a measuring point, as pages and documents show and draw them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from compute.base.units import System, express
from surveys.core.messages.numbers import SIGNS, percent_text
from surveys.documents.formatting import flow_in_digits_of, signed
from surveys.documents.history_chart import HEIGHT, Mark, history_chart
from surveys.results.history import Change, Found


@dataclass(frozen=True, slots=True)
class ChangeText:
    """A change in words; `size` is empty where its digits are all zero, `limit` is its expanded uncertainty.

    `mounting` is the standard uncertainty of each mounting, `repeats` the number of repeat mountings that it is estimated from.
    """

    size: str
    explained: bool
    limit: str
    mounting: str
    repeats: int


def change_text(change: Change | None, units: System) -> ChangeText | None:
    """Return a change in the reader's units; None where there is no earlier result."""
    if change is None:
        return None
    limit = flow_in_digits_of(change.explained_m3_s, change.explained_m3_s, units)
    return ChangeText(
        difference_text(change.difference_m3_s, change.relative, change.explained_m3_s, units),
        change.explained,
        limit,
        percent_text(change.mounting.relative),
        change.mounting.repeats,
    )


def difference_text(
    difference_m3_s: float, relative: float | None, expanded_m3_s: float, units: System
) -> str:
    """Return a difference of two flows with its sign and its ratio to the first, in the digits of an expanded uncertainty; empty
    where its digits are all zero."""
    size = flow_in_digits_of(expanded_m3_s, abs(difference_m3_s), units)
    if not any(digit in size.split("\N{NO-BREAK SPACE}")[0] for digit in "123456789"):
        return ""
    ratio = f" ({percent_text(relative, sign=True)})" if relative is not None else ""
    return signed(size, difference_m3_s) + ratio


def history_svg(history: Sequence[Found], units: System, zone: Any, height: float = HEIGHT) -> str:
    """Return the chart of a history with at least one result."""
    shown = express(1.0, "volume_flow", units)
    scale, unit = float(shown["value"]), str(shown["unit"])
    marks = [
        Mark(
            one.result.survey.started_at,
            one.volume_flow_m3_s * scale,
            one.expanded_uncertainty_m3_s * scale,
            one.withdrawn,
        )
        for one in history
    ]
    return history_chart(marks, SIGNS.get(unit, unit), zone, height)
