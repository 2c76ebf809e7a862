"""The report of a survey: a summary a client understands, then everything the figure rests on."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from compute.base.units import System
from surveys.calibration.affected_results import ReviewNotice, notices_with_paths
from surveys.core.stored_quantities import quantity
from surveys.documents.changes import difference_told
from surveys.documents.flow_chart import result_chart
from surveys.documents.formatting import (
    flow_with_uncertainty,
    grouped,
    moment,
    percent,
    stored_quantity_text,
    with_uncertainty,
    worded,
)
from surveys.documents.method_and_sources import method_and_sources
from surveys.documents.paths_mean import paths_figure, paths_table
from surveys.documents.pdf import PdfDocument
from surveys.documents.pipe_table import pipe_table
from surveys.documents.setup_drawings import side_drawing
from surveys.documents.setup_sheet import drawn_of, findings_blocks
from surveys.documents.site_meter_comparison import ToldBeside, beside_told
from surveys.models import Report, Result
from surveys.pipes.selectors import paths_result
from surveys.results.reduction import result_flows

INPUTS = {
    "pipe.outer_diameter": "outer diameter",
    "pipe.wall_thickness": "wall thickness",
    "pipe.lining.thickness": "lining thickness",
    "pipe.roughness": "roughness",
    "pipe.ovality": "ovality of the pipe",
    "medium.temperature": "temperature of the medium",
    "medium.dynamic_viscosity": "viscosity of the medium",
    "transducers.wedge_angle": "wedge angle",
    "transducers.wedge_sound_speed": "wedge sound speed",
    "transducers.wedge_delay": "wedge delay",
    "readings.transit_time": "transit time",
    "readings.time_difference": "time difference, zero of the meter",
    "repeatability": "scatter of the readings",
    "profile_factor": "velocity profile",
    "installation": "straight pipe before the point",
    "meter.calibration": "calibration of the meter",
    "meter.zero": "zero of the transducers",
}


@dataclass(frozen=True, slots=True)
class Issue:
    """Which issue of a report a paper is; a draft has no number."""

    number: str
    revision: int
    at: datetime
    by: str
    reason: str = ""
    replaces: Report | None = None


def survey_report(result: Result, issue: Issue, units: System, address: str) -> PdfDocument:
    """The paper of a survey's result. `result` comes from `traceability.traceable_results`."""
    point = result.survey.measuring_point
    site = point.pipe.site
    draft = not issue.number
    known_at = None if draft else issue.at
    together = paths_result(result.survey, known_at)
    notices = notices_with_paths(result.survey, together)
    pdf = PdfDocument(
        title="Flow survey report",
        subtitle=f"{point.name}, {point.pipe.name}, {site.name} · {site.client.name}",
        footer="Draft, not issued" if draft else f"Report {issue.number}, revision {issue.revision}",
        stamp=issue.at,
        address=address,
        mark="DRAFT" if draft else _mark(notices),
    )
    _notices(pdf, notices)
    if together:
        paths_figure(pdf, together, units)
    _summary(pdf, result, units, "this path alone" if together else "mean over the survey")
    _issued(pdf, result, issue)
    _revision(pdf, result, issue, units)
    _chart(pdf, result, units)
    _uncertainty_section(pdf, result, units)
    if together:
        paths_table(pdf, result, together, units)
    _beside(pdf, beside_told(result.survey, together or result, units, known_at))
    findings_blocks(pdf, result.findings, units)
    pdf.heading("Pipe and medium")
    pipe_table(pdf, result.pipe_data, result.survey_data, units)
    _set_up(pdf, result, units)
    _instruments(pdf, result)
    method_and_sources(pdf, result)
    return pdf


def _mark(notices: list[ReviewNotice]) -> str:
    """What stands across every page of a report that must not be relied on."""
    states = {notice.state for notice in notices}
    if "withdrawn" in states:
        return "WITHDRAWN"
    return "UNDER REVIEW" if "under-review" in states else ""


def _notices(pdf: PdfDocument, notices: list[ReviewNotice]) -> None:
    for notice in notices:
        pdf.callout("", notice.sentence, "error" if notice.state in ("under-review", "withdrawn") else "info")


def _summary(pdf: PdfDocument, result: Result, units: System, of: str) -> None:
    zone = result.survey.measuring_point.pipe.site.zone
    relative = (
        result.expanded_uncertainty_m3_s / abs(result.volume_flow_m3_s) if result.volume_flow_m3_s else None
    )
    pdf.figure(
        f"Volume flow, {of}",
        flow_with_uncertainty(result.volume_flow_m3_s, result.expanded_uncertainty_m3_s, units),
        "The true flow lies within the ± with a probability of about 95 %"
        + (f"; that is {percent(relative)} of it." if relative is not None else "."),
    )
    log = result.log
    errors = sum(one["severity"] == "error" for one in result.findings)
    warnings = sum(one["severity"] == "warning" for one in result.findings)
    pdf.facts(
        [
            ("Measured", f"{moment(log.first_reading_at, zone)} to {moment(log.last_reading_at, zone)}"),
            ("Surveyed by", result.survey.technician.username),
            (
                "Readings used",
                f"{result.readings_used} of {log.rows_accepted + log.rows_rejected}" + _segments(result),
            ),
            (
                "Mean velocity",
                f"{worded(result.mean_velocity_m_s, 'speed', units)}, Reynolds number {grouped(result.reynolds)}",
            ),
            ("What the checks say", _counted(errors, warnings)),
        ]
    )


def _segments(result: Result) -> str:
    segments = result.survey_data.segments
    return f", in {len(segments)} marked stretches of the log" if segments else ""


def _counted(errors: int, warnings: int) -> str:
    if errors:
        return f"{errors} of them say not to rely on the figure before they are settled; see below."
    if not warnings:
        return "nothing that speaks against the figure."
    return f"{warnings} warning{'s' if warnings > 1 else ''}; see below."


def _issued(pdf: PdfDocument, result: Result, issue: Issue) -> None:
    """Which report it is, when and by whom it was issued, and what it replaces."""
    if not issue.number:
        pdf.facts([("Report", "draft, not issued")])
        return
    zone = result.survey.measuring_point.pipe.site.zone
    replaces = (
        f"report {issue.replaces.number}; see below" if issue.replaces else "none; it is the first issue"
    )
    pdf.facts(
        [
            ("Report", f"{issue.number}, revision {issue.revision}"),
            ("Issued", f"{moment(issue.at, zone)} by {issue.by}"),
            ("Replaces", replaces),
        ]
    )


def _revision(pdf: PdfDocument, result: Result, issue: Issue, units: System) -> None:
    if issue.replaces is None:
        return
    before = issue.replaces.result
    pdf.heading("What changed")
    pdf.text(
        f"This is revision {issue.revision}. It replaces report {issue.replaces.number} of {issue.replaces.issued_at:%Y-%m-%d}, which "
        f"must no longer be used. Why: {issue.reason}"
    )
    moved = result.volume_flow_m3_s - before.volume_flow_m3_s
    base = abs(before.volume_flow_m3_s)
    change = difference_told(moved, moved / base if base else None, units)
    rows = [
        (
            "Volume flow then",
            flow_with_uncertainty(before.volume_flow_m3_s, before.expanded_uncertainty_m3_s, units),
        ),
        (
            "Volume flow now",
            flow_with_uncertainty(result.volume_flow_m3_s, result.expanded_uncertainty_m3_s, units),
        ),
    ]
    if change:
        rows.append(("Change", change))
    if result.change_breakdown and result.replaces_id == before.pk:
        rows += [
            (
                f"of which by {INPUTS.get(one['field']) or one['field'].replace('_', ' ').replace('.', ', ')}",
                f"{_side(one['before'], units)} to {_side(one['after'], units)}: {stored_quantity_text(one['effect'], units)}",
            )
            for one in result.change_breakdown["causes"]
        ]
    pdf.facts(rows)


def _side(value: object, units: System) -> str:
    return stored_quantity_text(value, units, 2) if isinstance(value, dict) else str(value)


def _chart(pdf: PdfDocument, result: Result, units: System) -> None:
    zone = ZoneInfo(result.survey.measuring_point.pipe.site.time_zone)
    pdf.heading("Readings")
    pdf.drawing(
        result_chart(result_flows(result, "the log"), result, units, zone),
        f"Volume flow over time, {result.readings_used} readings about a mean of "
        f"{worded(result.volume_flow_m3_s, 'volume_flow', units)}",
    )


def _uncertainty_section(pdf: PdfDocument, result: Result, units: System) -> None:
    pdf.heading("How sure the figure is")
    pdf.text(
        f"Expanded uncertainty {_uncertainty(result.expanded_uncertainty_m3_s, units)}, coverage factor "
        f"{result.coverage_factor:.2f} for 95 %, by the Guide to the Expression of Uncertainty in Measurement (JCGM 100:2008). Each line is "
        "what one input adds; the shares make up the whole of the variance."
    )
    pdf.table(
        ["Input", "Value", "Standard uncertainty", "In the flow", "Share"],
        budget_lines(result, units),
        right=4,
        total=True,
    )


def budget_lines(result: Result, units: System) -> list[list[str]]:
    """Of each input, the largest share first: name, value, standard uncertainty, what that is in the flow, share; last all together."""
    rows = [
        [
            INPUTS.get(row["input"], row["input"]),
            *with_uncertainty(row["value"], row["standard_uncertainty"], units),
            _uncertainty(row["contribution"]["si"], units),
            percent(row["variance_fraction"]),
        ]
        for row in sorted(result.budget, key=lambda row: -row["variance_fraction"])
    ]
    combined = result.expanded_uncertainty_m3_s / result.coverage_factor
    total = ["Combined standard uncertainty", "", "", _uncertainty(combined, units), "100 %"]
    return [*rows, total]


def _beside(pdf: PdfDocument, beside: ToldBeside | None) -> None:
    if beside is None:
        return
    reading = beside.reading
    pdf.heading("Beside the site's own meter")
    pdf.facts(
        [
            (f"{reading.meter}, {reading.get_reading_type_display()}", beside.flow),
            ("The survey less it", beside.difference),
            *([("Note", reading.note)] if reading.note else []),
        ]
    )
    pdf.text(beside.verdict)


def _uncertainty(flow: float, units: System) -> str:
    """An uncertainty of the flow, to its own second digit."""
    return with_uncertainty(quantity(flow, "volume_flow"), quantity(flow, "volume_flow"), units)[1]


def _set_up(pdf: PdfDocument, result: Result, units: System) -> None:
    setup = result.survey_data.setup
    outcome, stated = setup.outcome, result.survey_data
    pdf.heading("Set-up")
    spacing = worded(setup.spacing_m, "length", units)
    pdf.drawing(
        side_drawing(drawn_of(setup), units),
        f"Pipe lengthwise to scale, {setup.traverses} traverses, spacing {spacing}",
        66,
    )
    mounted = stated.mounted_spacing_m
    pdf.facts(
        [
            (
                "Traverses",
                f"{setup.traverses}, {outcome['sides']} side{'s' if outcome['sides'] == 'opposite' else ''}",
            ),
            ("Spacing worked out", spacing),
            ("Spacing mounted", worded(mounted, "length", units) if mounted is not None else "not noted"),
            ("Spacing by this pipe data", worded(result.spacing_m, "length", units)),
            (
                "Sound speed measured",
                f"{worded(result.measured_sound_speed_m_s, 'speed', units, 1)}; expected "
                f"{worded(result.expected_sound_speed_m_s, 'speed', units, 1)}",
            ),
        ]
    )


def _instruments(pdf: PdfDocument, result: Result) -> None:
    in_force = {one.instrument_id: one for one in result.calibrations.all()}
    applied = {one.pk for one in result.error_corrections.all()}
    rows = []
    for instrument in result.survey_data.instruments.all():
        found = in_force.get(instrument.pk)
        name = f"{instrument.get_kind_display()} {instrument.type_name}"
        if found is None:
            rows.append([name, instrument.serial, "none by that day", "", "", ""])
            continue
        curve = "applied" if instrument.pk in applied else "not applied"
        rows.append(
            [
                name,
                instrument.serial,
                found.certificate,
                found.laboratory,
                f"{found.calibrated_on} to {found.due_on}",
                curve,
            ]
        )
    pdf.heading("Instruments")
    pdf.table(["Instrument", "Serial", "Certificate", "Laboratory", "Holds", "Error curve"], rows)
