"""Results affected by an instrument found out of tolerance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from compute.base.errors import NotEnough, OutOfRange
from compute.base.messages import Message, day, message
from compute.calibration.decision_rules import Conformity, conforming


@dataclass(frozen=True, slots=True)
class DatedVerdict:
    """Statements of conformity of one calibration; `as_left` is None without adjustment, `as_found` without as-found readings."""

    on: date
    as_found: Conformity | None
    as_left: Conformity | None

    @property
    def left_within(self) -> bool:
        """Whether the instrument left the laboratory within its limits."""
        conformity = self.as_left or self.as_found
        return conformity is not None and conforming(conformity)


@dataclass(frozen=True, slots=True)
class AffectedPeriod:
    """Results from `after` (the last calibration in tolerance; None: all) up to `until` may be affected."""

    after: date | None
    until: date
    reasoning: tuple[Message, ...]


def affected_period(history: Sequence[DatedVerdict]) -> AffectedPeriod | None:
    """Return the period whose results may be affected by the last calibration of a history.

    If the last as-found statement is not a pass, results may be affected back to the latest earlier calibration that left the
    instrument in tolerance; calibrations that did not are passed over. A calibration without as-found results gives no evidence
    about the time before it.

    Parameters
    ----------
    history : sequence of DatedVerdict  in any order

    Returns
    -------
    period : AffectedPeriod or None  None: the last calibration found the instrument in tolerance, or has no as-found results

    Raises
    ------
    NotEnough   no calibration
    OutOfRange  two calibrations on one day

    Source
    ------
    ISO/IEC 17025:2017 6.4.9 and 7.10 (earlier results), from memory; results count from the day last left within the limits.
    """
    if not history:
        raise NotEnough(variant="no-calibration")
    ordered = sorted(history, key=lambda conformity: conformity.on)
    if len({conformity.on for conformity in ordered}) < len(ordered):
        raise OutOfRange(variant="two-calibrations-on-one-day")
    last = ordered[-1]
    if last.as_found is None or conforming(last.as_found):
        return None
    reasoning = [message("found-out-of-tolerance", conformity=last.as_found, on=day(last.on))]
    for earlier in reversed(ordered[:-1]):
        if earlier.left_within:
            reasoning.append(message("last-in-tolerance", on=day(earlier.on)))
            return AffectedPeriod(earlier.on, last.on, tuple(reasoning))
        known = earlier.as_left or earlier.as_found
        reasoning.append(
            message("not-left-in-tolerance", on=day(earlier.on))
            if known
            else message("no-statement-of-conformity", on=day(earlier.on))
        )
    reasoning.append(message("never-in-tolerance"))
    return AffectedPeriod(None, last.on, tuple(reasoning))
