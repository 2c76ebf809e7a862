"""Traceability of a result: the records that it is based on, with who entered them and when, as the API and a page show them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import Prefetch
from django.utils.functional import Promise
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from compute.results.survey import METHODS
from surveys.calibration.affected_results import review_notice, reviews_to_report
from surveys.calibration.policies import error_correction_policy_of
from surveys.core.messages.fields import label_of
from surveys.core.stored_quantities import quantity
from surveys.models import Calibration, Instrument, Result, ReviewedSurvey
from surveys.pipes.selectors import survey_date
from surveys.results.inputs_in_force import error_correction_policies

# Kinds of records that a result is based on.
STEPS: Mapping[str, Promise] = {
    "result": _("result"),
    "method": _("method"),
    "recalculation": _("recalculation"),
    "survey": _("survey"),
    "log": _("log"),
    "set-up": _("set-up"),
    "pipe-data": _("pipe data"),
    "wall-measurement": _("wall thickness measurement"),
    "transducer-data": _("transducer data"),
    "instrument": _("instrument"),
    "review": _("review"),
    "earlier-result": _("earlier result"),
}


@dataclass(frozen=True, slots=True)
class Fact:
    """A named value of a record: text, number, date, time, yes or no, or an SI quantity; None if it is not known."""

    name: str
    label: Promise | str
    value: Any


@dataclass(frozen=True, slots=True)
class Step:
    """A record that a result is based on: who entered it, when, for which reason, and its facts."""

    step: str
    title: Promise | str
    record: str
    by: str = ""
    at: datetime | None = None
    reason: str = ""
    facts: Sequence[Fact] = ()

    @property
    def label(self) -> Promise:
        """Return the kind of the record in words."""
        return STEPS[self.step]


def traceable_results() -> Any:
    """Return results with all records that `traceability_steps` needs, in a constant number of queries."""
    related = (
        "survey__measuring_point__pipe__site__client", "survey__technician", "log__received_by", "log__log_format",
        "survey_data__recorded_by", "survey_data__setup__calculated_by", "survey_data__setup__transducer_data__instrument",
        "pipe_data__recorded_by", "transducer_data__recorded_by", "transducer_data__instrument", "wall_measurement__taken_by",
        "wall_measurement__gauge", "recomputation__requested_by", "replaces", "replaced_by",
    )  # fmt: skip
    certificates = Calibration.objects.select_related("recorded_by", "certificate_file", "instrument")
    reviews = ReviewedSurvey.objects.select_related("review__instrument", "decided_by")
    return Result.objects.select_related(*related).prefetch_related(
        Prefetch("calibrations", certificates),
        Prefetch("as_found_corrections", certificates),
        "error_corrections",
        "survey_data__instruments",
        Prefetch("survey__out_of_tolerance_reviews", reviews),
        "survey__results",
    )


def traceability_steps(result: Result) -> list[Step]:
    """Return the records that a result is based on, the nearest first."""
    return [
        _result(result),
        _method(result),
        *_recomputation(result),
        _survey(result),
        _log(result),
        _setup(result),
        _pipe(result),
        *_wall_measurement(result),
        _pair(result),
        *_instruments(result),
        *_reviews(result),
        *_earlier(result),
    ]


def _result(result: Result) -> Step:
    point = result.survey.measuring_point
    return Step(
        "result",
        f"{point.pipe.site.name}, {point.pipe.name}, {point.name}",
        str(result.pk),
        at=result.computed_at,
        facts=[
            Fact("client", _("Client"), point.pipe.site.client.name),
            Fact("volume_flow", _("Volume flow"), quantity(result.volume_flow_m3_s, "volume_flow")),
            Fact(
                "expanded_uncertainty",
                _("Expanded uncertainty"),
                quantity(result.expanded_uncertainty_m3_s, "volume_flow"),
            ),
            Fact("coverage_factor", _("Coverage factor"), round(result.coverage_factor, 2)),
            Fact("propagation_method", _("Propagation method"), result.get_propagation_method_display()),
            Fact(
                "coverage_low",
                _("Lower end of the coverage interval"),
                quantity(result.coverage_low_m3_s, "volume_flow"),
            ),
            Fact(
                "coverage_high",
                _("Upper end of the coverage interval"),
                quantity(result.coverage_high_m3_s, "volume_flow"),
            ),
            Fact("readings_used", _("Readings used"), result.readings_used),
            Fact("cause", _("Cause"), result.get_cause_display()),
            Fact("current", _("Current result"), result.replaced_at is None),
            *(
                [Fact("replaced_by", _("Replaced by"), str(result.replaced_by.pk))]
                if result.replaced_at
                else []
            ),
        ],
    )


def _method(result: Result) -> Step:
    method = next((one for one in METHODS if one.version == result.method_version), None)
    return Step(
        "method",
        gettext("Calculation method, version {version}").format(version=result.method_version),
        result.method_version,
        facts=[Fact("since", _("Since"), method.since), Fact("change", _("Change"), gettext(method.change))]
        if method
        else (),
    )


def _recomputation(result: Result) -> Iterator[Step]:
    run = result.recomputation
    if run is not None:
        yield Step(
            "recalculation", run.get_cause_display().capitalize(), str(run.pk), run.requested_by.username, run.requested_at, str(run.reason)
        )  # fmt: skip


def _survey(result: Result) -> Step:
    data, survey = result.survey_data, result.survey
    facts = [
        Fact("technician", _("Technician"), survey.technician.username),
        Fact("started_at", _("Start"), data.started_at),
        Fact("survey_date", _("Date at the site"), survey_date(survey)),
    ]
    if data.mounted_spacing_m is not None:
        facts.append(
            Fact("mounted_spacing", _("Mounted spacing"), quantity(data.mounted_spacing_m, "length"))
        )
    if data.medium_temperature_k is not None:
        temperature = quantity(data.medium_temperature_k, "temperature")
        facts.append(Fact("medium_temperature", _("Temperature of the medium"), temperature))
    for one in data.segments:
        facts += [
            Fact("segment_start", _("Start of the segment"), datetime.fromisoformat(one["start"])),
            Fact("segment_end", _("End of the segment"), datetime.fromisoformat(one["end"])),
            Fact("segment_reason", _("Reason for the segment"), one["reason"]),
        ]
    title = gettext("Survey, {change}").format(change=data.get_change_display())
    return Step(
        "survey", title, str(survey.pk), data.recorded_by.username, data.recorded_at, data.reason, facts
    )  # fmt: skip


def _log(result: Result) -> Step:
    log = result.log
    facts = [
        Fact("file_name", _("File"), log.file_name or None),
        Fact("sha256", _("SHA-256"), log.sha256),
        Fact("size_bytes", _("Size in bytes"), log.size_bytes),
        Fact("rows_accepted", _("Rows accepted"), log.rows_accepted),
        Fact("rows_rejected", _("Rows rejected"), log.rows_rejected),
        Fact("first_reading_at", _("First reading"), log.first_reading_at),
        Fact("last_reading_at", _("Last reading"), log.last_reading_at),
    ]
    if log.log_format is not None:
        facts.append(Fact("log_format", _("Log format"), log.log_format.name))
    return Step(
        "log", _("Original log file"), str(log.pk), log.received_by.username, log.received_at, facts=facts
    )  # fmt: skip


def _setup(result: Result) -> Step:
    setup = result.survey_data.setup
    facts = [
        Fact("traverses", _("Traverses"), setup.traverses),
        Fact("spacing", _("Calculated spacing"), quantity(setup.spacing_m, "length")),
        Fact("pipe_data", _("Pipe data used"), str(setup.pipe_data_id)),
    ]
    return Step(
        "set-up", _("Set-up of the transducers"), str(setup.pk), setup.calculated_by.username, setup.calculated_at, facts=facts
    )  # fmt: skip


def _pipe(result: Result) -> Step:
    data = result.pipe_data
    facts = [
        Fact("outer_diameter", _("Outer diameter"), quantity(data.outer_diameter_m, "length")),
        Fact("wall_thickness", _("Wall thickness"), quantity(data.wall_thickness_m, "length")),
        Fact("material", _("Material"), data.material or gettext("entered by sound speed")),
        Fact("medium", _("Medium"), data.medium or gettext("entered by sound speed")),
        Fact("valid_from", _("Valid from"), data.valid_from or gettext("the beginning")),
        *(
            Fact(f"entered.{name}", gettext("Entered {field}").format(field=label_of(name)), text)
            for name, text in sorted(data.as_entered.items())
        ),
    ]
    if data.corrects_id:
        facts.append(Fact("corrects", _("Corrects"), str(data.corrects_id)))
    title = gettext("Pipe data, {change}").format(change=data.get_change_display())
    return Step(
        "pipe-data", title, str(data.pk), data.recorded_by.username, data.recorded_at, str(data.reason), facts
    )  # fmt: skip


def _wall_measurement(result: Result) -> Iterator[Step]:
    measurement = result.wall_measurement
    if measurement is not None:
        uncertainty = quantity(measurement.standard_uncertainty_m, "length")
        facts = [
            Fact("gauge", _("Thickness gauge"), str(measurement.gauge)),
            Fact("mean", _("Mean"), quantity(measurement.mean_m, "length")),
            Fact("standard_uncertainty", _("Standard uncertainty"), uncertainty),
            Fact("readings", _("Readings"), len(measurement.readings_m)),
        ]
        yield Step(
            "wall-measurement",
            _("Wall thickness measurement"),
            str(measurement.pk),
            measurement.taken_by.username,
            measurement.taken_at,
            facts=facts,
        )


def _pair(result: Result) -> Step:
    data = result.transducer_data
    facts = [
        Fact("transducer_pair", _("Transducer pair"), str(data.instrument)),
        Fact("frequency", _("Frequency"), quantity(data.frequency_hz, "frequency")),
        Fact(
            "wedge_sound_speed", _("Sound speed of the wedge"), quantity(data.wedge_sound_speed_m_s, "speed")
        ),
        Fact("wedge_angle", _("Wedge angle"), quantity(data.wedge_angle_rad, "angle")),
    ]
    return Step(
        "transducer-data", _("Data of the transducer pair"), str(data.pk), data.recorded_by.username, data.recorded_at, str(data.reason), facts
    )  # fmt: skip


def _instruments(result: Result) -> Iterator[Step]:
    """Yield each instrument with its certificate in force on the day, if any, and whether its errors are corrected."""
    in_force = {one.instrument_id: one for one in result.calibrations.all()}
    applied = {one.pk for one in result.error_corrections.all()}
    # Only policies that existed when the result was calculated.
    policies = [one for one in error_correction_policies() if one.recorded_at <= result.computed_at]
    day = survey_date(result.survey)
    for instrument in result.survey_data.instruments.all():
        calibration = in_force.get(instrument.pk)
        if calibration is None:
            title = gettext("{instrument}: no certificate on that date").format(instrument=instrument)
            yield Step("instrument", title, str(instrument.pk))
            continue
        policy = error_correction_policy_of(policies, instrument, day)
        facts = [
            *_certificate(calibration, day),
            Fact("error_correction_applied", _("Error correction applied"), instrument.pk in applied),
            Fact("error_correction_policy", _("Error correction policy"), str(policy.pk) if policy else None),
        ]
        yield _calibrated(instrument, calibration, facts)
    for calibration in result.as_found_corrections.all():
        facts = [
            *_certificate(calibration, day),
            Fact("as_found_correction_applied", _("As-found errors corrected by decision"), True),
        ]
        yield _calibrated(calibration.instrument, calibration, facts)


def _calibrated(instrument: Instrument, calibration: Calibration, facts: Sequence[Fact]) -> Step:
    return Step(
        "instrument", str(instrument), str(calibration.pk), calibration.recorded_by.username, calibration.recorded_at, facts=facts
    )  # fmt: skip


def _certificate(calibration: Calibration, day: date) -> list[Fact]:
    file = getattr(calibration, "certificate_file", None)
    return [
        Fact("certificate", _("Certificate"), calibration.certificate),
        Fact("laboratory", _("Laboratory"), calibration.laboratory),
        Fact("accreditation", _("Accreditation"), calibration.accreditation or None),
        Fact("calibrated_on", _("Calibrated on"), calibration.calibrated_on),
        Fact("due_on", _("Due on"), calibration.due_on),
        Fact("valid_on_survey_date", _("Valid on the date of the survey"), calibration.due_on >= day),
        Fact("file_sha256", _("SHA-256 of the file"), file.sha256 if file else None),
    ]


def _reviews(result: Result) -> Iterator[Step]:
    for one in reviews_to_report(result.survey.out_of_tolerance_reviews.all()):
        by = one.decided_by.username if one.decided_by else ""
        yield Step("review", review_notice(one).sentence, str(one.review_id), by, one.decided_at, one.reason)


def _earlier(result: Result) -> Iterator[Step]:
    """Yield the earlier results, the latest first."""
    by_id = {one.pk: one for one in result.survey.results.all()}
    before = result.replaces_id
    while before is not None:
        one = by_id[before]
        facts = [
            Fact("volume_flow", _("Volume flow"), quantity(one.volume_flow_m3_s, "volume_flow")),
            Fact("cause", _("Cause"), one.get_cause_display()),
        ]
        yield Step("earlier-result", _("Replaced result"), str(one.pk), at=one.computed_at, facts=facts)
        before = one.replaces_id
