"""Known errors of a survey's instruments, from their certificates.

The points of the calibration in force make the curve of an instrument: as left, or as found if nothing was adjusted.
A gauge counts if the wall measurement was made with it and it is among the instruments of the survey. If the office decided to correct
an error found (`surveys.services.fleet.out_of_tolerance_reviews`), the as-found points are applied. Of two meters, pairs or
thermometers it is unknown which one measured: neither is used, and a finding reports it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

import numpy as np

from compute.base.errors import ComputeError, NotEnough
from compute.base.messages import Finding, Message, finding, message, record
from compute.calibration.error_correction import Zero
from compute.calibration.points import Form, Point, error_curve
from compute.results.instrument_errors import KnownError, Measures
from surveys.calibration.conformity import QUANTITY, points_of
from surveys.models import Calibration, Instrument, WallMeasurement
from surveys.models.calibration import Moment
from surveys.models.instrument import Kind
from surveys.results.inputs_in_force import ResultInputs

MEASURES: dict[str, Measures] = {
    Kind.METER: "velocity",
    Kind.THICKNESS_GAUGE: "wall",
    Kind.THERMOMETER: "temperature",
    Kind.TRANSDUCER_PAIR: "zero",
}


def known_errors(
    inputs: ResultInputs, wall_measurement: WallMeasurement | None
) -> tuple[tuple[KnownError, ...], tuple[Finding, ...]]:
    """Known errors of the instruments of a result, and findings on calibrations that cannot be used."""
    known, findings = [], []
    named = Counter(instrument.kind for instrument, _ in inputs.calibrations)
    for instrument, calibration, moments, applied in _that_measured(inputs, wall_measurement):
        if instrument.kind != Kind.THICKNESS_GAUGE and named[instrument.kind] > 1:
            findings.append(_not_usable(instrument, message("several-instruments-of-a-kind")))
            continue
        rows = next((found for moment in moments if (found := points_of(calibration, moment))), [])
        try:
            known.append(_known(instrument, [row.point() for row in rows], applied))
        except ComputeError as error:
            findings.append(_not_usable(instrument, error.message))
    return tuple(known), tuple(findings)


MOMENTS_IN_FORCE = (Moment.AS_LEFT, Moment.AS_FOUND)


def _that_measured(
    inputs: ResultInputs, wall_measurement: WallMeasurement | None
) -> Iterator[tuple[Instrument, Calibration, Sequence[Moment], bool]]:
    """Instruments with points, which of these count, and whether they are applied; a decision of the office comes first."""
    decided = {calibration.instrument_id: calibration for calibration in inputs.as_found_corrections}
    gauge = wall_measurement.gauge_id if wall_measurement else None
    for instrument, calibration in inputs.calibrations:
        if instrument.pk in decided or calibration is None or not calibration.points.all():
            continue
        if instrument.kind != Kind.THICKNESS_GAUGE or instrument.pk == gauge:
            yield instrument, calibration, MOMENTS_IN_FORCE, instrument in inputs.error_corrections
    for calibration in decided.values():
        instrument = calibration.instrument
        if instrument.kind != Kind.THICKNESS_GAUGE or instrument.pk == gauge:
            yield instrument, calibration, (Moment.AS_FOUND,), True


def _known(instrument: Instrument, points: list[Point], applied: bool) -> KnownError:
    measures = MEASURES[instrument.kind]
    if measures == "zero":
        at_zero = [point for point in points if point.reference == 0]
        if not at_zero:
            raise NotEnough(field="points", variant="no-zero-point")
        zero = Zero(
            float(np.mean([point.error for point in at_zero])),
            # They share the laboratory's standard: the mean of several is as uncertain as each.
            max(point.standard_uncertainty for point in at_zero),
            min(point.degrees_of_freedom for point in at_zero),
        )
        return KnownError(str(instrument), measures, zero=zero, applied=applied)
    form: Form = "relative" if measures == "velocity" else "absolute"
    curve = error_curve(points, form, QUANTITY[instrument.kind])
    return KnownError(str(instrument), measures, curve=curve, applied=applied)


def _not_usable(instrument: Instrument, reason: Message) -> Finding:
    named = record("instrument", instrument.pk, str(instrument))
    return finding("error-curve-not-usable", "info", "instruments", instrument=named, reason=reason)
