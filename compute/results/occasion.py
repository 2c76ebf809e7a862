"""The other inputs of a survey's result: place, instruments, what was measured beside the log."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from compute.base.messages import Finding
from compute.logs.segments import Segment
from compute.measuring.beam import Setup
from compute.measuring.location import Place
from compute.results.instrument_errors import (
    KnownError,
    MeasuredWall,
    freedom_of_wall,
    wall_is_measured,
)
from compute.results.uncertainty import InputUncertainty


@dataclass(frozen=True, slots=True)
class InstrumentDay:
    """An instrument and its calibration on the day of the survey."""

    name: str
    calibrated_on: date | None
    due_on: date | None


@dataclass(frozen=True, slots=True)
class Occasion:
    """The other inputs of a survey's result.

    programmed : set-up entered in the meter, for logs without times
    mounted_spacing [m]; measured_wall [m] with its standard uncertainty [m] and degrees of freedom [1]; minimum_signal [dB]
    segments : marked segments of the log; none: the whole log
    include_outliers : whether outliers of the log are used too; reading_interval [s] of the log, if known
    known_errors : of the instruments, by their calibrations; at most one for each thing measured
    remarks : further findings
    """

    day: date
    place: Place
    programmed: Setup
    instruments: tuple[InstrumentDay, ...] = ()
    mounted_spacing: float | None = None
    measured_wall: MeasuredWall | None = None
    minimum_signal: float | None = None
    rows_rejected: int = 0
    segments: tuple[Segment, ...] = ()
    known_errors: tuple[KnownError, ...] = ()
    remarks: tuple[Finding, ...] = ()
    include_outliers: bool = False
    reading_interval: float | None = None

    def wall_uncertainty(self, wall_thickness: float) -> InputUncertainty | None:
        """The uncertainty of the wall measurement, if the wall entered is the measured one (within twice that uncertainty)."""
        if self.measured_wall is None or not wall_is_measured(wall_thickness, self.measured_wall):
            return None
        return InputUncertainty(self.measured_wall[1], degrees_of_freedom=freedom_of_wall(self.measured_wall))
