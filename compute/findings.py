"""What a sanity check says."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from compute.marks import Told
from compute.sources import PRACTICE, Source

Severity = Literal["error", "warning", "info"]


@dataclass(frozen=True, slots=True)
class Finding(Told):
    """One remark of a sanity check.

    code      stable, kebab-case
    severity  error: do not rely on the result; warning: check before relying on it; info: for the record
    said      one or two sentences for a technician: what, where, what to do; quantities marked (`compute.marks`), in metric units
              as `detail`
    field     path of the request it is about, e.g. `pipe.wall_thickness`; empty if about the whole
    value     what was found: SI number, or text
    limit     what it was held against: SI number, or text
    kind      kind of quantity (compute.units) of `value` and `limit` when they are numbers, e.g. `length`
    source    where the limit comes from
    """

    code: str
    severity: Severity
    said: str
    field: str = ""
    value: float | str | None = None
    limit: float | str | None = None
    kind: str = "number"
    source: Source = PRACTICE
