"""What surveys of a point found one after another, as pages and papers tell and draw it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from compute.base.units import System, express
from surveys.documents.formatting import SIGNS, percent, worded
from surveys.documents.history_chart import HEIGHT, Mark, history_chart
from surveys.results.history import Change, Found


@dataclass(frozen=True, slots=True)
class ToldChange:
    """A change in words; `size` is empty where the digits shown would show none, `limit` what its uncertainty explains."""

    size: str
    explained: bool
    limit: str


def change_told(change: Change | None, units: System) -> ToldChange | None:
    """A change in a reader's units; None where there was nothing to compare with."""
    if change is None:
        return None
    limit = worded(change.explained_m3_s, "volume_flow", units)
    return ToldChange(
        difference_told(change.difference_m3_s, change.relative, units), change.explained, limit
    )


def difference_told(difference_m3_s: float, relative: float | None, units: System) -> str:
    """A difference of two flows with its sign and what part of the first it is; empty where the digits shown would show none."""
    size = worded(abs(difference_m3_s), "volume_flow", units)
    if not any(digit in size.split()[0] for digit in "123456789"):
        return ""
    sign = "+" if difference_m3_s > 0 else "-"
    return f"{sign}{size}" + (f" ({percent(relative, sign=True)})" if relative is not None else "")


def history_drawn(history: Sequence[Found], units: System, zone: Any, height: float = HEIGHT) -> str:
    """The chart of a history that has at least one result."""
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
