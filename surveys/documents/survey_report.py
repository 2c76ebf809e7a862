"""Report of a survey: the result for the client first, then the data, the set-up and the method."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from django.utils.functional import Promise
from django.utils.translation import gettext, ngettext
from django.utils.translation import gettext_lazy as _

from compute.base.units import System
from surveys.calibration.affected_results import ReviewNotice, notices_with_paths
from surveys.core.messages.numbers import number_text, percent_text
from surveys.core.stored_quantities import quantity
from surveys.documents.change_causes import cause_texts
from surveys.documents.changes import difference_text
from surveys.documents.flow_chart import result_chart
from surveys.documents.formatting import (
    correlation_text,
    flow_with_uncertainty,
    format_quantity,
    full_name,
    interval_text,
    moment,
    stored_quantity_text,
    with_uncertainty,
)
from surveys.documents.method_and_sources import method_and_sources
from surveys.documents.paths_mean import paths_figure, paths_table
from surveys.documents.pdf import PdfDocument
from surveys.documents.pipe_table import pipe_table
from surveys.documents.setup_drawings import side_drawing
from surveys.documents.setup_sheet import drawn_of, findings_blocks
from surveys.documents.site_meter_comparison import ComparisonText, comparison_text
from surveys.models import Report, Result, Setup
from surveys.pipes.selectors import paths_result
from surveys.results.reduction import result_readings

INPUTS: dict[str, Promise] = {
    "pipe.outer_diameter": _("outer diameter"),
    "pipe.wall_thickness": _("wall thickness"),
    "pipe.lining.thickness": _("lining thickness"),
    "pipe.roughness": _("roughness"),
    "pipe.ovality": _("out-of-roundness of the pipe"),
    "medium.temperature": _("medium temperature"),
    "medium.dynamic_viscosity": _("viscosity of the medium"),
    "transducers.wedge_angle": _("wedge angle"),
    "transducers.wedge_sound_speed": _("wedge sound speed"),
    "transducers.wedge_delay": _("wedge delay"),
    "transducers.wedge_temperature_coefficient": _("temperature coefficient of the wedge"),
    "transducers.wedge_temperature": _("wedge temperature"),
    "pipe.wall_sound_speed": _("sound speed of the wall"),
    "pipe.lining.sound_speed": _("sound speed of the lining"),
    "spacing": _("transducer spacing"),
    "readings.transit_time": _("transit time"),
    "readings.time_difference": _("time difference, zero of the meter"),
    "repeatability": _("repeatability"),
    "profile_factor": _("velocity profile factor"),
    "installation": _("upstream straight length"),
    "meter.calibration": _("calibration of the meter"),
    "meter.zero": _("zero of the transducers"),
}
LAYERS: dict[str, Promise] = {"wall": _("Wall"), "lining": _("Lining")}
WAVES: dict[str, Promise] = {"longitudinal": _("longitudinal"), "shear": _("shear")}


@dataclass(frozen=True, slots=True)
class Issue:
    """Which issue of a report a document is, and the full name of who issued it; a draft has no number."""

    number: str
    revision: int
    at: datetime
    by: str
    reason: str = ""
    replaces: Report | None = None


def survey_report(result: Result, issue: Issue, units: System, address: str) -> PdfDocument:
    """Return the document of a result, which comes from `traceability.traceable_results`."""
    point = result.survey.measuring_point
    site = point.pipe.site
    draft = not issue.number
    known_at = None if draft else issue.at
    together = paths_result(result.survey, known_at)
    notices = notices_with_paths(result.survey, together)
    footer = gettext("Report {number}, revision {revision}").format(
        number=issue.number, revision=issue.revision
    )
    pdf = PdfDocument(
        title=gettext("Flow survey report"),
        subtitle=f"{point.name}, {point.pipe.name}, {site.name} · {site.client.name}",
        footer=gettext("Draft, not issued") if draft else footer,
        stamp=issue.at,
        address=address,
        mark=gettext("DRAFT") if draft else _mark(notices),
    )
    _notices(pdf, notices)
    if together:
        paths_figure(pdf, together, units)
    _summary(
        pdf,
        result,
        units,
        gettext("Volume flow, this path only") if together else gettext("Volume flow, mean over the survey"),
    )
    _issued(pdf, result, issue)
    _revision(pdf, result, issue, units)
    _chart(pdf, result, units)
    _uncertainty_section(pdf, result, units)
    if together:
        paths_table(pdf, result, together, units)
    _site_meter(pdf, comparison_text(result.survey, together or result, units, known_at))
    findings_blocks(pdf, result.findings, units, result.survey.measuring_point.pipe.site.zone)
    pdf.heading(gettext("Pipe and medium"))
    pipe_table(pdf, result.pipe_data, result.survey_data, units)
    _set_up(pdf, result, units)
    _instruments(pdf, result)
    method_and_sources(pdf, result)
    return pdf


def _mark(notices: list[ReviewNotice]) -> str:
    """Return the mark across every page of a report that must not be used."""
    states = {notice.state for notice in notices}
    if "withdrawn" in states:
        return gettext("WITHDRAWN")
    return gettext("UNDER REVIEW") if "under-review" in states else ""


def _notices(pdf: PdfDocument, notices: list[ReviewNotice]) -> None:
    for notice in notices:
        pdf.callout("", notice.sentence, "error" if notice.state in ("under-review", "withdrawn") else "info")


def _summary(pdf: PdfDocument, result: Result, units: System, label: str) -> None:
    zone = result.survey.measuring_point.pipe.site.zone
    flow, expanded = result.volume_flow_m3_s, result.expanded_uncertainty_m3_s
    pdf.figure(
        label,
        f"qV = {flow_with_uncertainty(flow, expanded, units)}",
        result_statement(flow, expanded, result.coverage_factor),
    )
    log = result.log
    pdf.facts(
        [
            (
                gettext("Measured"),
                gettext("{start} to {end}").format(
                    start=moment(log.first_reading_at, zone), end=moment(log.last_reading_at, zone)
                ),
            ),
            (gettext("Surveyed by"), full_name(result.survey.technician)),
            (gettext("Readings used"), _readings(result)),
            (
                gettext("Mean velocity"),
                gettext("{velocity}, Reynolds number {reynolds}").format(
                    velocity=format_quantity(result.mean_velocity_m_s, "speed", units, 3),
                    reynolds=number_text(result.reynolds, ".3g"),
                ),
            ),
            (gettext("Findings"), _counted(result)),
        ]
    )


def result_statement(flow: float, expanded: float, coverage_factor: float) -> str:
    """Return what the uncertainty after ± is (JCGM 100:2008, 7.2.4) and its ratio to the flow."""
    statement = gettext(
        "The expanded uncertainty is the standard uncertainty multiplied by k = {coverage_factor}, for a coverage probability of "
        "approximately 95 %."
    ).format(coverage_factor=f"{coverage_factor:.2f}")
    if not flow:
        return statement
    relative = gettext("It is {ratio} of the flow.").format(ratio=percent_text(expanded / abs(flow)))
    return f"{statement} {relative}"


def _readings(result: Result) -> str:
    of_log = gettext("{used} of {count}").format(
        used=number_text(result.readings_used, ".12g"),
        count=number_text(result.log.rows_accepted + result.log.rows_rejected, ".12g"),
    )
    segments = len(result.survey_data.segments or ())
    if not segments:
        return of_log
    marked = ngettext("{count} selected segment of the log", "{count} selected segments of the log", segments)
    return f"{of_log}; {marked.format(count=segments)}"


def _counted(result: Result) -> str:
    errors = sum(one["severity"] == "error" for one in result.findings)
    warnings = sum(one["severity"] == "warning" for one in result.findings)
    texts = []
    if errors:
        texts.append(
            ngettext(
                "{count} error: do not use the result until the error is resolved.",
                "{count} errors: do not use the result until the errors are resolved.",
                errors,
            ).format(count=errors)
        )
    if warnings:
        texts.append(
            ngettext(
                "{count} warning: check before use.", "{count} warnings: check before use.", warnings
            ).format(count=warnings)
        )
    if not texts:
        return gettext("No errors or warnings.")
    return " ".join([*texts, gettext("See “Findings”.")])


def _issued(pdf: PdfDocument, result: Result, issue: Issue) -> None:
    """Add the number, the time and the person of the issue, and the report it replaces."""
    if not issue.number:
        pdf.facts([(gettext("Report"), gettext("Draft, not issued"))])
        return
    zone = result.survey.measuring_point.pipe.site.zone
    replaces = (
        gettext("Report {number}").format(number=issue.replaces.number)
        if issue.replaces
        else gettext("None (first issue)")
    )
    pdf.facts(
        [
            (
                gettext("Report"),
                gettext("{number}, revision {revision}").format(number=issue.number, revision=issue.revision),
            ),
            (
                gettext("Issued"),
                gettext("{time} by {name}").format(time=moment(issue.at, zone), name=issue.by),
            ),
            (gettext("Replaces"), replaces),
        ]
    )


def _revision(pdf: PdfDocument, result: Result, issue: Issue, units: System) -> None:
    if issue.replaces is None:
        return
    before = issue.replaces.result
    zone = result.survey.measuring_point.pipe.site.zone
    pdf.heading(gettext("Changes in this revision"))
    pdf.text(
        gettext(
            "Revision {revision} replaces report {number} of {day}. Do not use the replaced report. Reason: {reason}"
        ).format(
            revision=issue.revision,
            number=issue.replaces.number,
            day=f"{issue.replaces.issued_at.astimezone(zone):%Y-%m-%d}",
            reason=issue.reason,
        )
    )
    difference = result.volume_flow_m3_s - before.volume_flow_m3_s
    base = abs(before.volume_flow_m3_s)
    relative = difference / base if base else None
    change = difference_text(difference, relative, result.expanded_uncertainty_m3_s, units)
    rows = [
        (
            gettext("Previous volume flow"),
            flow_with_uncertainty(before.volume_flow_m3_s, before.expanded_uncertainty_m3_s, units),
        ),
        (
            gettext("New volume flow"),
            flow_with_uncertainty(result.volume_flow_m3_s, result.expanded_uncertainty_m3_s, units),
        ),
    ]
    if change:
        rows.append((gettext("Change"), change))
    if result.replaces_id == before.pk:
        rows += [
            (
                gettext("Effect of {input}").format(input=one.name),
                gettext("{before} to {after}: {effect}").format(
                    before=one.before, after=one.after, effect=one.effect
                ),
            )
            for one in cause_texts(result.change_breakdown, units, zone)
        ]
    pdf.facts(rows)


def _input_name(name: str) -> str:
    return str(INPUTS[name]) if name in INPUTS else name.replace("_", " ").replace(".", ", ")


def _chart(pdf: PdfDocument, result: Result, units: System) -> None:
    zone = ZoneInfo(result.survey.measuring_point.pipe.site.time_zone)
    pdf.heading(gettext("Readings"))
    alternative = ngettext(
        "Volume flow over time: {count} reading, mean {mean}",
        "Volume flow over time: {count} readings, mean {mean}",
        result.readings_used,
    ).format(count=result.readings_used, mean=format_quantity(result.volume_flow_m3_s, "volume_flow", units))
    if correlation := correlation_text(result, units):
        pdf.text(correlation)
    flows, outliers = result_readings(result, "the log")
    pdf.drawing(result_chart(flows, result, units, zone, outliers), alternative)


def _uncertainty_section(pdf: PdfDocument, result: Result, units: System) -> None:
    pdf.heading(gettext("Measurement uncertainty"))
    pdf.text(
        gettext(
            "Expanded uncertainty ±{expanded} (k = {coverage_factor}, coverage probability approximately 95 %), evaluated according "
            "to JCGM 100:2008 (GUM). Each line is one input quantity, with its contribution to the standard uncertainty of the flow "
            "and its percentage of the variance."
        ).format(
            expanded=_uncertainty(result.expanded_uncertainty_m3_s, units),
            coverage_factor=f"{result.coverage_factor:.2f}",
        )
    )
    if interval := interval_text(result, units):
        pdf.text(interval)
    pdf.table(
        [
            gettext("Input quantity"),
            gettext("Value"),
            gettext("Standard uncertainty"),
            gettext("Contribution to u(flow)"),
            gettext("Variance"),
        ],
        budget_lines(result, units),
        right=4,
        total=True,
    )
    pdf.heading(gettext("Values of the calculation"))
    pdf.facts(calculation_facts(result, units))


def calculation_facts(result: Result, units: System) -> list[tuple[str, str]]:
    """Return the values that the flow is calculated with, to verify it by hand."""
    known = result.calculation
    layers = [
        (
            LAYERS.get(layer["layer"], LAYERS["lining"]),
            gettext("{wave} wave at {speed}, {angle} from the radius").format(
                wave=WAVES[layer["wave_mode"]],
                speed=stored_quantity_text(layer["sound_speed"], units, 1),
                angle=stored_quantity_text(layer["angle"], units, 2),
            ),
        )
        for layer in known["layers"]
    ]
    return [
        (gettext("Mean transit time"), format_quantity(result.transit_time_s, "transit_time", units)),
        (
            gettext("Mean time difference"),
            format_quantity(result.time_difference_s, "time_difference", units),
        ),
        (gettext("Bore"), stored_quantity_text(known["bore"], units, 2)),
        (gettext("Wedge sound speed"), stored_quantity_text(known["wedge_sound_speed"], units, 1)),
        *((str(name), text) for name, text in layers),
        (gettext("Time in solids"), stored_quantity_text(known["time_in_solids"], units, 3)),
        (gettext("Density"), stored_quantity_text(known["density"], units, 1)),
        (gettext("Dynamic viscosity"), stored_quantity_text(known["dynamic_viscosity"], units, 3)),
    ]


def budget_lines(result: Result, units: System) -> list[list[str]]:
    """Return for each input, the largest contribution first: name, value, standard uncertainty, contribution to the
    uncertainty of the flow, percentage of the variance; last the combined standard uncertainty."""
    rows = [
        [
            _input_name(row["input"]),
            *with_uncertainty(row["value"], row["standard_uncertainty"], units),
            _uncertainty(row["contribution"]["si"], units),
            percent_text(row["variance_fraction"]),
        ]
        for row in sorted(result.budget, key=lambda row: -row["variance_fraction"])
    ]
    combined = result.expanded_uncertainty_m3_s / result.coverage_factor
    total = [
        gettext("Combined standard uncertainty"),
        "",
        "",
        _uncertainty(combined, units),
        percent_text(1.0, ".0f"),
    ]
    return [*rows, total]


def _site_meter(pdf: PdfDocument, comparison: ComparisonText | None) -> None:
    if comparison is None:
        return
    reading = comparison.reading
    pdf.heading(gettext("Comparison with the site meter"))
    pdf.facts(
        [
            (f"{reading.meter}, {reading.get_reading_type_display()}", comparison.flow),
            (gettext("Difference (survey − site meter)"), comparison.difference),
            *([(gettext("Note"), reading.note)] if reading.note else []),
        ]
    )
    pdf.text(comparison.verdict)


def _uncertainty(flow: float, units: System) -> str:
    """Return an uncertainty of the flow to its second digit."""
    return with_uncertainty(quantity(flow, "volume_flow"), quantity(flow, "volume_flow"), units)[1]


def _set_up(pdf: PdfDocument, result: Result, units: System) -> None:
    setup, on_site = result.survey_data.setup, result.survey_data
    pdf.heading(gettext("Set-up"))
    spacing = format_quantity(setup.spacing_m, "length", units)
    alternative = ngettext(
        "Pipe lengthwise, to scale, with {count} traverse and a spacing of {spacing}",
        "Pipe lengthwise, to scale, with {count} traverses and a spacing of {spacing}",
        setup.traverses,
    ).format(count=setup.traverses, spacing=spacing)
    pdf.drawing(side_drawing(drawn_of(setup), units), alternative, 66)
    mounted = on_site.mounted_spacing_m
    pdf.facts(
        [
            (gettext("Traverses"), _traverses(setup)),
            (gettext("Calculated spacing"), spacing),
            (
                gettext("Mounted spacing"),
                format_quantity(mounted, "length", units) if mounted is not None else gettext("not recorded"),
            ),
            (gettext("Spacing for current pipe data"), format_quantity(result.spacing_m, "length", units)),
            (
                gettext("Sound speed"),
                gettext("measured {measured}, expected {expected}").format(
                    measured=format_quantity(result.measured_sound_speed_m_s, "speed", units, 1),
                    expected=format_quantity(result.expected_sound_speed_m_s, "speed", units, 1),
                ),
            ),
        ]
    )


def _traverses(setup: Setup) -> str:
    if setup.outcome["sides"] == "same":
        return gettext("{count}, transducers on the same side of the pipe").format(count=setup.traverses)
    return gettext("{count}, transducers on opposite sides of the pipe").format(count=setup.traverses)


def _instruments(pdf: PdfDocument, result: Result) -> None:
    in_force = {one.instrument_id: one for one in result.calibrations.all()}
    applied = {one.pk for one in result.error_corrections.all()}
    rows = []
    for instrument in result.survey_data.instruments.all():
        found = in_force.get(instrument.pk)
        name = f"{instrument.get_kind_display()}, {instrument.type_name}"
        if found is None:
            rows.append([name, instrument.serial, gettext("none valid on the day"), "", "", ""])
            continue
        correction = gettext("applied") if instrument.pk in applied else gettext("not applied")
        rows.append(
            [
                name,
                instrument.serial,
                found.certificate,
                found.laboratory,
                gettext("{start} to {end}").format(start=found.calibrated_on, end=found.due_on),
                correction,
            ]
        )
    pdf.heading(gettext("Instruments"))
    pdf.table(
        [
            gettext("Instrument"),
            gettext("Serial number"),
            gettext("Certificate"),
            gettext("Laboratory"),
            gettext("Calibrated, due"),
            gettext("Error correction"),
        ],
        rows,
    )
