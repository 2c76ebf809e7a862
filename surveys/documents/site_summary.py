"""What a year of surveys at a site came to, for its client: results, changes, what stands against them, with what they were made.

It rests on records alone: asked again it is the same to the byte until one of them changes. Surveys of later years do not show in it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from typing import Any

from compute.base.units import System
from surveys.calibration.affected_results import ReviewNotice, combined_notices
from surveys.documents.changes import change_told, history_drawn
from surveys.documents.formatting import findings_worded, flow_with_uncertainty, heading, moment, percent
from surveys.documents.pdf import PdfDocument
from surveys.documents.site_year import PointYear, Records, Year, records_of
from surveys.models import CombinedResult, Notice, Result
from surveys.results.history import Found

CHART_HEIGHT = 170.0
# The gravest first.
AGAINST = ("withdrawn", "under-review")
SIGNIFICANT_SEVERITIES = {"error": 0, "warning": 1}


def site_summary(year: Year, units: System, address: str) -> PdfDocument:
    """The paper of a year at a site; the number of queries does not grow with its points and surveys."""
    records = records_of(year)
    site, latest = year.site, records.latest()
    pdf = PdfDocument(
        title=f"Site summary {year.number}",
        subtitle=f"{site.name} · {site.client.name}",
        footer=f"Site summary {year.number}" + (f" · as of {moment(latest, site.zone)}" if latest else ""),
        stamp=latest or year.span[0],
        address=address,
    )
    _overview(pdf, year, records)
    _results_under_review(pdf, year, records)
    _results(pdf, year, records, units)
    _charts(pdf, year, records, units)
    _combined(pdf, year, records, units)
    _changed(pdf, year, records, units)
    _findings(pdf, year, records, units)
    _instruments(pdf, year, records)
    _planned(pdf, year, records)
    return pdf


def _overview(pdf: PdfDocument, year: Year, records: Records) -> None:
    site, latest = year.site, records.latest()
    surveyed = [one for one in records.points if one.found or one.without_result]
    count = sum(len(one.found) + len(one.without_result) for one in surveyed)
    pdf.facts(
        [
            ("Site", site.name),
            *([("Address", site.address)] if site.address else []),
            ("Client", site.client.name),
            ("Period", f"{year.number}-01-01 to {year.number}-12-31 by the site's clock ({site.time_zone})"),
            ("Surveys", f"{count}, at {len(surveyed)} of {_counted(len(records.points), 'measuring point')}"),
            *([("As of", f"{moment(latest, site.zone)}, the latest record this rests on")] if latest else []),
        ]
    )
    if not count:
        pdf.text(
            f"No survey was made at this site in {year.number}, so there is no result to report for it."
            + _last_before(year, records.points)
        )
        return
    pdf.text(" ".join(_summary_section(records)))


def _last_before(year: Year, points: Sequence[PointYear]) -> str:
    """When the site was last surveyed before a year without a survey."""
    days = [year.day(one.history[-1].result.survey.started_at) for one in points if one.history]
    return f" The last survey before it was on {max(days)}." if days else ""


def _summary_section(records: Records) -> Iterator[str]:
    """The year in a few sentences."""
    compared = [(one, found.change) for one, found in records.found() if found.change]
    larger = sorted({one.name for one, change in compared if not change.explained})
    if larger:
        yield (
            "Since the survey before, the flow changed by more than its uncertainty explains at "
            f"{'; '.join(larger)}."
        )
    elif compared:
        yield "No flow changed since the survey before by more than its uncertainty explains."
    else:
        yield "Each point was surveyed for the first time, so there is no change to report yet."
    if records.notices:
        were = "figure was" if len(records.notices) == 1 else "figures were"
        yield f"{len(records.notices)} {were} changed or withdrawn after being given to you; see below."
    errors = sum(one["severity"] == "error" for _, found in records.found() for one in _checks(found))
    if errors:
        yield f"{_counted(errors, 'check')} say{'s' if errors == 1 else ''} not to rely on a figure before it is settled; see below."


def _results_under_review(pdf: PdfDocument, year: Year, records: Records) -> None:
    """Results that must not be relied on, before any figure is read."""
    for one, found in records.found():
        for notice in found.notices:
            severity = "error" if notice.state in AGAINST else "info"
            pdf.callout(f"{one.name}, {year.day(found.result.survey.started_at)}", notice.sentence, severity)
    for combined in records.combined:
        for notice in combined_notices(combined.combination.parts.all()):
            severity = "error" if notice.state in AGAINST else "info"
            pdf.callout(
                f"{combined.combination.name}, {year.day(combined.averaged_from)}", notice.sentence, severity
            )


def _results(pdf: PdfDocument, year: Year, records: Records, units: System) -> None:
    if not records.points:
        return
    pdf.heading(f"Points and results of {year.number}")
    rows = [row for one in records.points for row in _result_rows(year, one, units)]
    pdf.table(
        ["Pipe and measuring point", "Survey", "Volume flow", "Coverage factor", "Since the survey before"],
        rows,
        flexible=(0, 4),
    )
    if not any(one.found for one in records.points):
        return
    pdf.text(
        "After the ± stands the expanded uncertainty: the true flow lies within it with a probability of about 95 %. Results are those in "
        "force, of several paths measured together their mean. A change is held against its own uncertainty: what both surveys share (the "
        "pipe data, one meter under one certificate, one pair) moves both alike and is no part of it."
    )


def _result_rows(year: Year, one: PointYear, units: System) -> Iterator[list[str]]:
    for found in one.found:
        result = found.result
        flow = flow_with_uncertainty(found.volume_flow_m3_s, found.expanded_uncertainty_m3_s, units)
        day = str(year.day(result.survey.started_at))
        yield [
            one.name,
            day,
            flow + _review_mark(found.notices),
            f"{found.coverage_factor:.2f}",
            _change(found, units),
        ]
    for survey in one.without_result:
        yield [one.name, str(year.day(survey.started_at)), "no result yet", "-", "-"]
    if not one.found and not one.without_result:
        before = (
            f"last on {year.day(one.history[-1].result.survey.started_at)}" if one.history else "never before"
        )
        yield [one.name, f"none in {year.number}", "-", "-", f"not surveyed; {before}"]


def _review_mark(notices: Iterable[ReviewNotice]) -> str:
    """What stands against a figure, to be said beside it."""
    states = {notice.state for notice in notices}
    return next((f", {state.replace('-', ' ')}" for state in AGAINST if state in states), "")


def _change(found: Found, units: System) -> str:
    if found.withdrawn:
        return "withdrawn, not compared"
    change = change_told(found.change, units)
    if change is None:
        return "first result"
    if not change.size:
        return "none to see"
    if change.explained:
        return f"{change.size}; within its uncertainty"
    return f"{change.size}; LARGER than its uncertainty explains ({change.limit})"


def _charts(pdf: PdfDocument, year: Year, records: Records, units: System) -> None:
    drawn = [one for one in records.points if one.found]
    if drawn:
        pdf.heading("History of each point")
    for one in drawn:
        count = _counted(len(one.history), "survey")
        pdf.caption(one.name)
        pdf.drawing(
            history_drawn(one.history, units, year.site.zone, CHART_HEIGHT),
            f"{one.name}: volume flow of {count}, each with its uncertainty; the figures are in the table above",
        )


def _combined(pdf: PdfDocument, year: Year, records: Records, units: System) -> None:
    if not records.combined:
        return
    pdf.heading("Flows of several surveys taken together")
    rows = [
        [
            one.combination.name,
            one.combination.get_kind_display(),
            str(year.day(one.averaged_from)),
            flow_with_uncertainty(one.volume_flow_m3_s, one.expanded_uncertainty_m3_s, units)
            + _review_mark(combined_notices(one.combination.parts.all())),
            f"{one.coverage_factor:.2f}",
        ]
        for one in records.combined
    ]
    pdf.table(["Name", "Taken as", "Day", "Volume flow", "Coverage factor"], rows)


def _changed(pdf: PdfDocument, year: Year, records: Records, units: System) -> None:
    """What the client was told of figures that changed: superseded ones are named as such."""
    if not records.notices:
        return
    pdf.heading(f"Figures that changed in {year.number}")
    rows = [
        [
            _noticed(year, one),
            _flow(one.before or one.before_combined, units),
            _after(one, units),
            "-" if one.relative_change is None else percent(one.relative_change, sign=True),
            f"{year.day(one.created_at)}: {one.reason}",
        ]
        for one in records.notices
    ]
    pdf.table(["Figure", "Superseded", "Replaced by", "By", "Told, and why"], rows, flexible=(0, 4))


def _noticed(year: Year, notice: Notice) -> str:
    if notice.before is None:
        combined = notice.before_combined
        return combined.combination.name if combined else "-"
    survey = notice.before.survey
    point = survey.measuring_point
    return f"{point.pipe.name}, {point.name}, {year.day(survey.started_at)}"


def _after(notice: Notice, units: System) -> str:
    after = notice.after or notice.after_combined
    if after is None:
        return "withdrawn"
    return _flow(after, units) + (", superseded since" if after.replaced_at else "")


def _flow(result: Result | CombinedResult | None, units: System) -> str:
    if result is None:
        return "-"
    return flow_with_uncertainty(result.volume_flow_m3_s, result.expanded_uncertainty_m3_s, units)


def _checks(found: Found) -> list[dict[str, Any]]:
    """What the checks say of a survey, and of its paths together; of a withdrawn one nothing more is to be said."""
    if found.withdrawn:
        return []
    return [*found.result.findings, *(found.together.findings if found.together else [])]


def _findings(pdf: PdfDocument, year: Year, records: Records, units: System) -> None:
    """What the checks hold against results in force, the gravest first; said once for all surveys it is true of."""
    where: dict[tuple[str, str, str], list[str]] = {}
    for one, found in records.found():
        for finding in findings_worded(_checks(found), units):
            if finding["severity"] in SIGNIFICANT_SEVERITIES:
                key = (finding["severity"], heading(finding), finding["body"])
                where.setdefault(key, []).append(f"{one.name} ({year.day(found.result.survey.started_at)})")
    if not any(one.found for one in records.points):
        return
    pdf.heading("What the checks hold against results")
    if not where:
        pdf.text("Nothing: no check speaks against a result of the year.")
    for (severity, label, detail), places in sorted(
        where.items(), key=lambda item: SIGNIFICANT_SEVERITIES[item[0][0]]
    ):
        pdf.callout(label, f"{detail} At: {'; '.join(places)}.", severity)


def _instruments(pdf: PdfDocument, year: Year, records: Records) -> None:
    used: dict[tuple[str, ...], list[date]] = {}
    for _, found in records.found():
        day = year.day(found.result.survey.started_at)
        for result in found.together.results.all() if found.together else [found.result]:
            for row in _with_certificates(result):
                used.setdefault(row, []).append(day)
    if not used:
        return
    pdf.heading("Instruments and certificates")
    rows = [[*row, _days(days)] for row, days in sorted(used.items())]
    pdf.table(
        ["Instrument", "Serial", "Certificate", "Laboratory", "Holds", "Used on"], rows, flexible=(0, 3, 5)
    )


def _with_certificates(result: Result) -> Iterator[tuple[str, ...]]:
    in_force = {one.instrument_id: one for one in result.calibrations.all()}
    for instrument in result.survey_data.instruments.all():
        name = f"{instrument.get_kind_display()} {instrument.type_name}"
        found = in_force.get(instrument.pk)
        if found is None:
            yield name, instrument.serial, "none by that day", "", ""
        else:
            holds = f"{found.calibrated_on} to {found.due_on}"
            yield name, instrument.serial, found.certificate, found.laboratory, holds


def _planned(pdf: PdfDocument, year: Year, records: Records) -> None:
    if not records.jobs:
        return
    pdf.heading("Planned next")
    rows = [
        [
            job.title,
            moment(job.starts_at, year.site.zone),
            _days(f"{p.pipe.name}, {p.name}" for p in job.measuring_points.all()),
        ]
        for job in records.jobs
    ]
    pdf.table(["Visit", "Begins", "Measuring points"], rows, flexible=(0, 2))


def _days(things: Iterable[object]) -> str:
    return "; ".join(sorted({str(one) for one in things}))


def _counted(count: int, thing: str) -> str:
    return f"{count} {thing}{'' if count == 1 else 's'}"
