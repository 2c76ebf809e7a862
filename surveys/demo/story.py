"""The demo's main job, told step by step: from a pipe to a result, and to the new result after a correction.

Everything is done by the services the API uses. It may run again on the same database: records of the scenario
that are there are used, and a survey is made anew each time on a pipe of its own.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import replace
from datetime import timedelta
from typing import Any

from django.utils import timezone

from compute.units import express
from surveys.demo import scenario
from surveys.demo.people import Cast
from surveys.demo.records import KitRecords, make_job, make_kit, make_pipe, make_point, si
from surveys.embedded import worker_beside
from surveys.models import Job, MeasuringPoint, Pipe, Recomputation, Result, Setup, Survey, User
from surveys.papers.wording import findings_worded
from surveys.services.logs import Upload, log_take_in
from surveys.services.pipes import PipeStatement, gauging_record, pipe_correct, version_to_correct
from surveys.services.setups import SetupWish, setup_work_out
from surveys.services.surveys import SurveyNotes, survey_record

Tell = Callable[[str], None]
RECOMPUTATION_TIMEOUT_SECONDS = 60


def shown(value: float, kind: str, digits: int = 1) -> str:
    """An SI value in the units people use."""
    quantity = express(value, kind, "metric")
    return f"{quantity['value']:.{digits}f} {quantity['unit']}"


def tell(cast: Cast, say: Tell, worker: Callable[[], AbstractContextManager[Any]] = worker_beside) -> None:
    """Do the main job and say what happens. `worker` runs the background work while it is waited for."""
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


def _pipe_and_point(office: User, say: Tell) -> tuple[Pipe, MeasuringPoint]:
    pipe = make_pipe(office)
    point = make_point(pipe)
    say(f"1. The pipe. {scenario.CLIENT}, {pipe.site.name}: {pipe.name}.")
    say(
        f"   Outer diameter {scenario.OUTER_DIAMETER}, wall entered as {scenario.WALL_AS_ENTERED}, {scenario.MATERIAL}; "
        f"{scenario.MEDIUM} at {scenario.MEDIUM_TEMPERATURE} and {scenario.MEDIUM_PRESSURE}."
    )
    say(
        f"   Measuring point: {point.name}, {scenario.UPSTREAM_STRAIGHT} straight upstream, "
        f"{scenario.DOWNSTREAM_STRAIGHT} downstream."
    )
    return pipe, point


def _job(point: MeasuringPoint, technician: User, kit: KitRecords, say: Tell) -> Job:
    job = make_job(point, technician, kit)
    say(f"2. The job. {technician.username} goes on {scenario.SURVEY_STARTED_AT:%Y-%m-%d} with")
    for instrument in kit.all:
        say(f"   {instrument}, calibration due {scenario.CALIBRATION_DUE_ON}.")
    return job


def _set_up(point: MeasuringPoint, kit: KitRecords, technician: User, say: Tell) -> Setup:
    wish = SetupWish(
        transducers=kit.pair,
        meter=kit.meter,
        traverses=scenario.TRAVERSES,
        expected_velocity_m_s=si(scenario.EXPECTED_VELOCITY, "speed"),
        as_entered={"expected_velocity": scenario.EXPECTED_VELOCITY},
    )
    setup = setup_work_out(
        point=point, wish=wish, by=technician, now=scenario.SURVEY_STARTED_AT - timedelta(minutes=20)
    )
    outcome = setup.outcome
    say(f"3. The set-up, {setup.traverses} traverses, transducers on the {outcome['sides']} side:")
    say(
        f"   spacing {_told(outcome['spacing'])} between the facing ends; the beam goes as a {outcome['wave_mode_in_wall']} wave "
        f"at {_told(outcome['angles']['wall'])} in the wall and at {_told(outcome['angles']['medium'])} in the water;"
    )
    say(
        f"   transit time {_told(outcome['transit_time'], 2)}, of it {_told(outcome['time_in_medium'], 2)} in the water; "
        f"{_told(outcome['time_difference_per_velocity'])} of time difference."
    )
    _say_findings(outcome["findings"], say)
    for note in findings_worded(outcome["safety_notes"], "metric"):
        say(f"   ! {note['text']}")
    return setup


def _survey(
    point: MeasuringPoint, setup: Setup, job: Job, kit: KitRecords, technician: User, say: Tell
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
    say(f"4. The survey. Mounted at {shown(notes.mounted_spacing_m or 0, 'length')}, logged for 65 minutes.")
    return survey


def _log(survey: Survey, technician: User, say: Tell) -> Result:
    with scenario.LOG_FILE.open("rb") as file:
        log, _ = log_take_in(
            survey=survey, upload=Upload(file, scenario.LOG_FILE.name), by=technician, now=timezone.now()
        )
    say(
        f"   {log.file_name}: {log.rows_taken} readings taken, {log.rows_refused} rows refused; SHA-256 {log.sha256[:16]}..."
    )
    for refusal in log.refusals:
        say(f"     line {refusal['line']}, {refusal['column']}: {refusal['detail']}")
    result = Result.objects.get(survey=survey, replaced_at__isnull=True)
    say(f"5. The result: {_flow_and_uncertainty(result)}")
    say(
        f"   mean velocity {shown(result.mean_velocity_m_s, 'speed', 3)}, Reynolds number {result.reynolds:.0f}, profile factor "
        f"{result.profile_factor:.4f};"
    )
    say(
        f"   sound speed measured {shown(result.measured_sound_speed_m_s, 'speed')}, of water at that temperature "
        f"{shown(result.expected_sound_speed_m_s, 'speed')}."
    )
    _say_findings(result.findings, say)
    return result


def _correct(pipe: Pipe, kit: KitRecords, office: User, technician: User, say: Tell) -> Recomputation:
    now = timezone.now()
    readings = scenario.WALL_AS_GAUGED
    gauging = gauging_record(
        pipe=pipe,
        gauge=kit.gauge,
        readings_m=[si(text, "length") for text in readings],
        set_sound_speed_m_s=None,
        taken_at=now,
        note="",
        as_entered={f"readings.{i}": text for i, text in enumerate(readings)},
        by=technician,
    )
    say("6. The correction. The wall is gauged at eight places round the pipe:")
    say(
        f"   {', '.join(readings)}; mean {shown(gauging.mean_m, 'length', 2)}, standard uncertainty "
        f"{shown(gauging.standard_uncertainty_m, 'length', 2)}."
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
        reason="Gauged: the wall is 8.0 mm, not 6.3 mm.",
        holds_from=corrects.holds_from,
        gauging=gauging,
        by=office,
        now=now,
    )
    say(f"   The office corrects the wall to {scenario.WALL_TRUE}; the old data stays on record.")
    return recomputation


def _recompute(
    recomputation: Recomputation, worker: Callable[[], AbstractContextManager[Any]], say: Tell
) -> None:
    """Let the worker process do it, and watch, as anybody would."""
    say(f"7. The recomputation of {recomputation.items.count()} survey runs in the background:")
    started = time.monotonic()
    with worker():
        while not recomputation.finished_at:
            if time.monotonic() - started > RECOMPUTATION_TIMEOUT_SECONDS:
                raise TimeoutError("the worker did not finish the recomputation")
            time.sleep(0.05)
            recomputation.refresh_from_db()
    say(
        f"   {recomputation.get_state_display()} after {time.monotonic() - started:.1f} s, with starting the worker."
    )


def _change_breakdown(survey: Survey, first: Result, say: Tell) -> None:
    current = Result.objects.get(survey=survey, replaced_at__isnull=True)
    change_breakdown: dict[str, Any] = current.change_breakdown or {}
    say(f"8. The new result: {_flow_and_uncertainty(current)}")
    say(
        f"   It replaces {shown(first.volume_flow_m3_s, 'volume_flow', 2)}, which stays on record, marked as replaced."
    )
    say(
        f"   Moved by {_told(change_breakdown['change'], 2)} ({change_breakdown['relative_change']:+.2%}), because"
    )
    for cause in change_breakdown["causes"]:
        say(
            f"     {cause['field']} went from {_told(cause['before'])} to {_told(cause['after'])}: "
            f"{_told(cause['effect'], 2)}."
        )
    say(
        f"   The spacing should have been {_told(change_breakdown['spacing_after'])} instead of {_told(change_breakdown['spacing_before'])}."
    )
    _say_findings([f for f in current.findings if f["code"] in change_breakdown["new_findings"]], say)
    true_flow = _true_flow()
    say(
        f"   (The log was made for a flow of {shown(true_flow, 'volume_flow', 2)}: the first result was "
        f"{first.volume_flow_m3_s / true_flow - 1:+.2%} off, the new one is {current.volume_flow_m3_s / true_flow - 1:+.2%}.)"
    )


def _true_flow() -> float:
    bore = si(scenario.OUTER_DIAMETER, "length") - 2 * si(scenario.WALL_TRUE, "length")
    return math.pi / 4 * bore**2 * si(scenario.TRUE_MEAN_VELOCITY, "speed")


def _flow_and_uncertainty(result: Result) -> str:
    relative = result.expanded_uncertainty_m3_s / abs(result.volume_flow_m3_s)
    return (
        f"{shown(result.volume_flow_m3_s, 'volume_flow', 2)} +- {shown(result.expanded_uncertainty_m3_s, 'volume_flow', 2)} "
        f"({relative:.1%}, 95 %, k = {result.coverage_factor:.2f}), {result.readings_used} readings;"
    )


def _say_findings(findings: list[dict[str, Any]], say: Tell) -> None:
    for finding in findings_worded(findings, "metric"):
        say(f"   [{finding['severity']}] {finding['code']}: {finding['text']}")


def _told(quantity: Any, digits: int = 1) -> str:
    return shown(quantity["si"], quantity["kind"], digits) if isinstance(quantity, dict) else str(quantity)
