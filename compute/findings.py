"""What a sanity check says, and how it words a length."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from compute.sources import PRACTICE, Source

Severity = Literal["stop", "caution", "note"]


@dataclass(frozen=True, slots=True)
class Finding:
    """One remark of a sanity check.

    code      stable, kebab-case
    severity  stop: do not rely on the figure; caution: look before relying on it; note: for the record
    detail    one or two sentences for a technician: what, where, what to do
    field     path of the request it is about, e.g. `pipe.wall_thickness`; empty if about the whole
    value     what was found: SI number, or text
    limit     what it was held against: SI number, or text
    kind      kind of quantity (compute.units) of `value` and `limit` when they are numbers, e.g. `length`
    source    where the limit comes from
    """

    code: str
    severity: Severity
    detail: str
    field: str = ""
    value: float | str | None = None
    limit: float | str | None = None
    kind: str = "number"
    source: Source = PRACTICE


def millimetres(length: float) -> str:
    """A length [m] as remarks word it: two decimals below 100 mm, one from there."""
    return f"{length * 1e3:.1f} mm" if abs(length) >= 0.1 else f"{length * 1e3:.2f} mm"
