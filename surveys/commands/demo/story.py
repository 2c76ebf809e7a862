"""The steps of the demo: from a pipe to a result, and to the new result after a correction.

The steps use the same services as the API. The demo can run again on the same database: it uses the existing records of
the scenario and creates a new pipe and survey each time.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import replace
from datetime import timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.utils import timezone

from surveys.commands.demo import scenario
from surveys.commands.demo.people import Cast
from surveys.commands.demo.records import KitRecords, make_job, make_kit, make_pipe, make_point, si
from surveys.core.messages import render
from surveys.core.messages.fields import label_of
from surveys.core.messages.numbers import number_text, percent_text, quantity_text
from surveys.documents.formatting import finding_texts, flow_with_uncertainty
from surveys.models import Job, MeasuringPoint, Pipe, Recomputation, Result, Setup, Survey, User
from surveys.operations.embedded_worker import embedded_worker_process
from surveys.services.pipes.pipes import (
    PipeStatement,
    pipe_correct,
    version_to_correct,
    wall_measurement_record,
)
from surveys.services.pipes.setups import SetupRequest, setup_calculate
from surveys.services.surveys.logs import Upload, log_import
from surveys.services.surveys.surveys import SurveyNotes, survey_record

Say = Callable[[str], None]
RECOMPUTATION_TIMEOUT_SECONDS = 60


SEVERITIES = {"error": "Error", "warning": "Warning", "info": "Information"}


def shown(value: float, kind: str, form: str = "") -> str:
    """Return an SI value as text in metric units."""
    return quantity_text(value, kind, "metric", form)


def run_story(
    cast: Cast, say: Say, worker: Callable[[], AbstractContextManager[Any]] = embedded_worker_process
) -> None:
    """Run the survey and print each step. `worker` processes the recalculation in the background."""
    now = timezone.now()
    office, technician = cast.users["office"], cast.users["technician"]
    kit = make_kit(cast.users["calibration-admin"], now)
    pipe, point = _pipe_and_point(office, say)
    job = _job(point, technician, kit, say)
    setup = _set_up(point, kit, technician, say)
    survey = _survey(point, setup, job, kit, technician, say)
    first = _log(survey, technician, say)
    recomputation = _correct(pipe, kit, office, technician, say)
    _recompute(recomputation, worker, say)
    _change_breakdown(survey, first, say)


def _pipe_and_point(office: User, say: Say) -> tuple[Pipe, MeasuringPoint]:
    pipe = make_pipe(office)
    point = make_point(pipe)
    say(f"1. Pipe: {scenario.CLIENT}, {pipe.site.name}, {pipe.name}")
    say(
        f"   Outer diameter {scenario.OUTER_DIAMETER}, wall thickness entered as {scenario.WALL_AS_ENTERED}, "
        f"{scenario.MATERIAL}; {scenario.MEDIUM} at {shown(si(scenario.MEDIUM_TEMPERATURE, 'temperature'), 'temperature')} "
        f"and {scenario.MEDIUM_PRESSURE}."
    )
    say(
        f"   Measuring point: {point.name}; straight length {scenario.UPSTREAM_STRAIGHT} upstream, "
        f"{scenario.DOWNSTREAM_STRAIGHT} downstream."
    )
    return pipe, point


def _job(point: MeasuringPoint, technician: User, kit: KitRecords, say: Say) -> Job:
    job = make_job(point, technician, kit)
    say(f"2. Job: {technician.username}, {scenario.SURVEY_STARTED_AT:%Y-%m-%d}, with this equipment:")
    for instrument in kit.all:
        say(f"   {instrument}, calibration due {scenario.CALIBRATION_DUE_ON}")
    return job


def _set_up(point: MeasuringPoint, kit: KitRecords, technician: User, say: Say) -> Setup:
    requested = SetupRequest(
        transducers=kit.pair,
        meter=kit.meter,
        traverses=scenario.TRAVERSES,
        expected_velocity_m_s=si(scenario.EXPECTED_VELOCITY, "speed"),
        as_entered={"expected_velocity": scenario.EXPECTED_VELOCITY},
    )
    setup = setup_calculate(
        point=point,
        requested=requested,
        by=technician,
        now=scenario.SURVEY_STARTED_AT - timedelta(minutes=20),
    )
    outcome = setup.outcome
    sides = "the same side" if outcome["sides"] == "same" else "opposite sides"
    say(f"3. Set-up: {setup.traverses} traverses, transducers on {sides} of the pipe")
    say(
        f"   Spacing {_quantity(outcome['spacing'])}, face to face; {outcome['wave_mode_in_wall']} wave in the wall at "
        f"{_quantity(outcome['angles']['wall'])}, refraction angle in the water {_quantity(outcome['angles']['medium'])} "
        "(from the normal)."
    )
    say(
        f"   Transit time {_quantity(outcome['transit_time'])}, of which {_quantity(outcome['time_in_medium'])} in the water; "
        f"time difference {_quantity(outcome['time_difference_per_velocity'])}."
    )
    _print_findings(outcome["findings"], say)
    for note in finding_texts(outcome["safety_notes"], "metric"):
        say(f"   Safety: {note['text']}")
    return setup


def _survey(
    point: MeasuringPoint, setup: Setup, job: Job, kit: KitRecords, technician: User, say: Say
) -> Survey:
    notes = SurveyNotes(
        started_at=scenario.SURVEY_STARTED_AT,
        ended_at=scenario.SURVEY_STARTED_AT + timedelta(seconds=scenario.SECONDS_LOGGED),
        mounted_spacing_m=round(setup.spacing_m, 4),
    )
    survey = survey_record(
        point=point,
        setup=setup,
        job=job,
        instruments=[kit.meter, kit.gauge],
        notes=notes,
        by=technician,
        now=scenario.SURVEY_STARTED_AT,
    )
    say(
        f"4. Survey: transducers mounted at {shown(notes.mounted_spacing_m or 0, 'length')}, "
        f"{shown(scenario.SECONDS_LOGGED, 'duration')} logged"
    )
    return survey


def _log(survey: Survey, technician: User, say: Say) -> Result:
    with scenario.LOG_FILE.open("rb") as file:
        log, _ = log_import(
            survey=survey, upload=Upload(file, scenario.LOG_FILE.name), by=technician, now=timezone.now()
        )
    say(
        f"   {log.file_name}: {log.rows_accepted} readings imported, {log.rows_rejected} rows rejected; SHA-256 {log.sha256[:16]}..."
    )
    for rejection in log.rejected_rows:
        say(f"     Line {rejection['line']}, {rejection['column']}: {render(rejection).body}")
    result = Result.objects.get(survey=survey, replaced_at__isnull=True)
    say(f"5. Result: {_flow_and_uncertainty(result)}")
    say(
        f"   Mean velocity {shown(result.mean_velocity_m_s, 'speed', '.3f')}, Reynolds number {number_text(result.reynolds, '.3g')}, "
        f"velocity profile factor {result.profile_factor:.4f}."
    )
    say(
        f"   Sound speed: measured {shown(result.measured_sound_speed_m_s, 'speed')}, expected for water at this temperature "
        f"{shown(result.expected_sound_speed_m_s, 'speed')}."
    )
    _print_findings(result.findings, say)
    return result


def _correct(pipe: Pipe, kit: KitRecords, office: User, technician: User, say: Say) -> Recomputation:
    now = timezone.now()
    readings = scenario.WALL_READINGS
    wall_measurement = wall_measurement_record(
        pipe=pipe,
        gauge=kit.gauge,
        readings_m=[si(text, "length") for text in readings],
        gauge_velocity_setting_m_s=None,
        taken_at=now,
        note="",
        as_entered={f"readings.{i}": text for i, text in enumerate(readings)},
        by=technician,
    )
    say("6. Correction: wall thickness measured at eight positions around the pipe")
    say(
        f"   {', '.join(readings)}; mean {shown(wall_measurement.mean_m, 'length')}, standard uncertainty "
        f"{shown(wall_measurement.standard_uncertainty_m, 'length')}."
    )
    corrects = version_to_correct(pipe, now.date())
    statement = PipeStatement(
        pipe=replace(corrects.pipe_entry(), wall_thickness=si(scenario.WALL_TRUE, "length")),
        medium=corrects.medium_entry(),
        as_entered={**corrects.as_entered, "pipe.wall_thickness": scenario.WALL_TRUE},
    )
    _, recomputation = pipe_correct(
        pipe=pipe,
        corrects=corrects,
        statement=statement,
        reason="Wall thickness measured: 8.0 mm, not 6.3 mm.",
        valid_from=corrects.valid_from,
        wall_measurement=wall_measurement,
        by=office,
        now=now,
    )
    say(
        f"   The office corrects the wall thickness to {scenario.WALL_TRUE}. The previous pipe data stay on record."
    )
    return recomputation


def _recompute(
    recomputation: Recomputation, worker: Callable[[], AbstractContextManager[Any]], say: Say
) -> None:
    """Wait until the worker process has finished the recalculation."""
    say(f"7. Recalculation in the background, surveys: {recomputation.items.count()}")
    started = time.monotonic()
    with worker():
        while not recomputation.finished_at:
            if time.monotonic() - started > RECOMPUTATION_TIMEOUT_SECONDS:
                raise TimeoutError("the worker did not finish the recalculation")
            time.sleep(0.05)
            recomputation.refresh_from_db()
    say(
        f"   State: {recomputation.get_state_display()} after {time.monotonic() - started:.1f} s, including the start of the worker."
    )


def _change_breakdown(survey: Survey, first: Result, say: Say) -> None:
    current = Result.objects.get(survey=survey, replaced_at__isnull=True)
    change_breakdown: dict[str, Any] = current.change_breakdown or {}
    say(f"8. New result: {_flow_and_uncertainty(current)}")
    say(f"   Replaces {shown(first.volume_flow_m3_s, 'volume_flow')}, which stays on record as superseded.")
    say(
        f"   Changed by {_quantity(change_breakdown['change'], '+.2f')} "
        f"({percent_text(change_breakdown['relative_change'], sign=True)}):"
    )
    for cause in change_breakdown["causes"]:
        say(
            f"     {label_of(cause['field'])} changed from {_quantity(cause['before'])} to {_quantity(cause['after'])}: "
            f"{_quantity(cause['effect'], '+.2f')}"
        )
    say(
        f"   Spacing for current pipe data {_quantity(change_breakdown['spacing_after'])}, "
        f"for previous pipe data {_quantity(change_breakdown['spacing_before'])}."
    )
    _print_findings([f for f in current.findings if f["code"] in change_breakdown["new_findings"]], say)
    true_flow = _true_flow()
    say(
        f"   The demo log was generated for a flow of {shown(true_flow, 'volume_flow')}. The error of the first result was "
        f"{_relative_error(first, true_flow)}, the error of the new result is {_relative_error(current, true_flow)}."
    )


def _true_flow() -> float:
    bore = si(scenario.OUTER_DIAMETER, "length") - 2 * si(scenario.WALL_TRUE, "length")
    return math.pi / 4 * bore**2 * si(scenario.TRUE_MEAN_VELOCITY, "speed")


def _relative_error(result: Result, true_flow: float) -> str:
    return percent_text(result.volume_flow_m3_s / true_flow - 1, ".2f", sign=True)


def _flow_and_uncertainty(result: Result) -> str:
    flow, expanded = result.volume_flow_m3_s, result.expanded_uncertainty_m3_s
    return (
        f"{flow_with_uncertainty(flow, expanded, 'metric')} (±{percent_text(expanded / abs(flow))}; "
        f"k = {result.coverage_factor:.2f}, coverage probability approximately 95 %), {result.readings_used} readings"
    )


def _print_findings(findings: list[dict[str, Any]], say: Say) -> None:
    for finding in finding_texts(findings, "metric", ZoneInfo(scenario.TIME_ZONE)):
        say(f"   {SEVERITIES[finding['severity']]}: {finding['text']}")


def _quantity(quantity: Any, form: str = "") -> str:
    if quantity is None:
        return "none"
    return shown(quantity["si"], quantity["kind"], form) if isinstance(quantity, dict) else str(quantity)
