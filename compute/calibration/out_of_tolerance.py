"""What an instrument found out of tolerance does to results made with it: which are in doubt, and by how much they would move."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from compute.base.errors import NotEnough, OutOfRange
from compute.calibration.decision_rules import Conformity, conforming


@dataclass(frozen=True, slots=True)
class DatedVerdict:
    """Verdicts of one calibration; `as_left` is None where nothing was adjusted, `as_found` where nothing was taken as found."""

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
    """Results from `after` (the calibration last known good; None: all there are) up to `until` are in doubt."""

    after: date | None
    until: date
    reasoning: tuple[str, ...]


def affected_period(history: Sequence[DatedVerdict]) -> AffectedPeriod | None:
    """Which results the last calibration of a history calls in question.

    If the last as-found verdict is not within the limits, results are in doubt back to the calibration before it at which the
    instrument was left within; those at which it was not are passed over. A calibration without as-found results says nothing of
    the time before it.

    Parameters
    ----------
    history : sequence of DatedVerdict  in any order

    Returns
    -------
    uncertainty : AffectedPeriod or None  None: the last calibration found the instrument within its limits, or found nothing

    Raises
    ------
    NotEnough   no calibration
    OutOfRange  two calibrations on one day

    Source
    ------
    ISO/IEC 17025:2017 6.4.9 and 7.10 (earlier results), from memory; results count from the day last left within the limits.
    """
    if not history:
        raise NotEnough("No calibration is on record.", field="history")
    ordered = sorted(history, key=lambda conformity: conformity.on)
    if len({conformity.on for conformity in ordered}) < len(ordered):
        raise OutOfRange("Two calibrations on one day: which came first is not known.", field="history")
    last = ordered[-1]
    if last.as_found is None or conforming(last.as_found):
        return None
    said = [f"Found {_words(last.as_found)} on {last.on:%Y-%m-%d}."]
    for earlier in reversed(ordered[:-1]):
        if earlier.left_within:
            said.append(
                f"Last known good on {earlier.on:%Y-%m-%d}, when it was left within its limits: results since then are in doubt."
            )
            return AffectedPeriod(earlier.on, last.on, tuple(said))
        known = earlier.as_left or earlier.as_found
        said.append(
            f"On {earlier.on:%Y-%m-%d} it was not left within its limits either."
            if known
            else f"The calibration of {earlier.on:%Y-%m-%d} has no verdict on record, and so shows nothing."
        )
    said.append("No earlier calibration left it within its limits: every result before is in doubt.")
    return AffectedPeriod(None, last.on, tuple(said))


def _words(conformity: Conformity) -> str:
    return {"conditional-fail": "a conditional fail", "fail": "out of tolerance"}.get(conformity, conformity)
