"""Summary of a year of surveys at a site, for the client: results, changes, findings, instruments.

The summary depends only on records: the same records give the same bytes. Surveys of later years are not included.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from typing import Any

from django.utils.translation import gettext, ngettext
from django.utils.translation import gettext_lazy as _

from compute.base.units import System
from surveys.calibration.affected_results import ReviewNotice, combined_notices
from surveys.core.messages.numbers import UNKNOWN, percent_text
from surveys.documents.changes import change_text, history_svg
from surveys.documents.formatting import finding_texts, flow_with_uncertainty, heading, moment
from surveys.documents.pdf import PdfDocument
from surveys.documents.site_year import PointYear, Records, Year, records_of
from surveys.models import CombinedResult, Notice, Result
from surveys.results.history import Found

CHART_HEIGHT = 170.0
# The most severe first.
AGAINST = {"withdrawn": _("withdrawn"), "under-review": _("under review")}
SIGNIFICANT_SEVERITIES = {"error": 0, "warning": 1}


def site_summary(year: Year, units: System, address: str) -> PdfDocument:
    """Return the document of a year at a site; the number of queries does not grow with its points and surveys."""
    records = records_of(year)
    site, latest = year.site, records.latest()
    title = gettext("Site summary {year}").format(year=year.number)
    as_of = latest and gettext("{title} · records as of {time}").format(
        title=title, time=moment(latest, site.zone)
    )
    pdf = PdfDocument(
        title=title,
        subtitle=f"{site.name} · {site.client.name}",
        footer=as_of or title,
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
    surveys = ngettext(
        "{count} survey, at {surveyed} of {points} measuring points",
        "{count} surveys, at {surveyed} of {points} measuring points",
        count,
    ).format(count=count, surveyed=len(surveyed), points=len(records.points))
    period = gettext("{year}-01-01 to {year}-12-31 ({zone})").format(year=year.number, zone=site.time_zone)
    pdf.facts(
        [
            (gettext("Site"), site.name),
            *([(gettext("Address"), site.address)] if site.address else []),
            (gettext("Client"), site.client.name),
            (gettext("Period"), period),
            (gettext("Surveys"), surveys),
            *([(gettext("Latest record"), moment(latest, site.zone))] if latest else []),
        ]
    )
    pdf.text(" ".join(_summary_section(records) if count else _no_survey(year, records.points)))


def _no_survey(year: Year, points: Sequence[PointYear]) -> Iterator[str]:
    """Yield that the year has no survey, and the day of the last one before."""
    yield gettext("No survey was made at this site in {year}.").format(year=year.number)
    days = [year.day(one.history[-1].result.survey.started_at) for one in points if one.history]
    if days:
        yield gettext("The last survey before was on {day}.").format(day=max(days))


def _summary_section(records: Records) -> Iterator[str]:
    """Yield the year in a few sentences."""
    compared = [(one, found.change) for one, found in records.found() if found.change]
    larger = sorted({one.name for one, change in compared if not change.explained})
    if larger:
        yield gettext("The flow changed significantly since the previous survey at: {points}.").format(
            points="; ".join(larger)
        )
    elif compared:
        yield gettext("No flow changed significantly since the previous survey.")
    else:
        yield gettext("Each measuring point was surveyed for the first time.")
    if count := len(records.notices):
        yield ngettext(
            "{count} result was changed or withdrawn after issue; see “Changed results”.",
            "{count} results were changed or withdrawn after issue; see “Changed results”.",
            count,
        ).format(count=count)
    if errors := sum(
        one["severity"] == "error" for _point, found in records.found() for one in _checks(found)
    ):
        yield ngettext(
            "{count} finding is an error: do not use the affected result until the error is resolved.",
            "{count} findings are errors: do not use the affected results until the errors are resolved.",
            errors,
        ).format(count=errors)


def _results_under_review(pdf: PdfDocument, year: Year, records: Records) -> None:
    """Add the review notices before any result is read."""
    for one, found in records.found():
        day = year.day(found.result.survey.started_at)
        _notices(pdf, f"{one.name}, {day}", found.notices)
    for combined in records.combined:
        label = f"{combined.combination.name}, {year.day(combined.averaged_from)}"
        _notices(pdf, label, combined_notices(combined.combination.parts.all()))


def _notices(pdf: PdfDocument, label: str, notices: Iterable[ReviewNotice]) -> None:
    for notice in notices:
        pdf.callout(label, notice.sentence, "error" if notice.state in AGAINST else "info")


def _results(pdf: PdfDocument, year: Year, records: Records, units: System) -> None:
    if not records.points:
        return
    pdf.heading(gettext("Results of {year}").format(year=year.number))
    rows = [row for one in records.points for row in _result_rows(year, one, units)]
    pdf.table(
        [
            gettext("Measuring point"),
            gettext("Survey"),
            gettext("Volume flow"),
            gettext("Coverage factor k"),
            gettext("Change since previous survey"),
        ],
        rows,
        flexible=(0, 4),
    )
    if not any(one.found for one in records.points):
        return
    pdf.text(
        gettext(
            "The value after ± is the expanded uncertainty: the standard uncertainty multiplied by the coverage factor k, for a "
            "coverage probability of approximately 95 %. Where several paths were measured together, the result is their mean. Each "
            "change is compared with its own uncertainty. Errors common to both surveys (pipe data, same meter and certificate, same "
            "transducer pair, velocity profile) affect both results equally and are not counted. Each mounting of the transducers adds an "
            "uncertainty of its own."
        )
    )


def _result_rows(year: Year, one: PointYear, units: System) -> Iterator[list[str]]:
    for found in one.found:
        flow = flow_with_uncertainty(found.volume_flow_m3_s, found.expanded_uncertainty_m3_s, units)
        yield [
            one.name,
            str(year.day(found.result.survey.started_at)),
            flow + _review_mark(found.notices),
            f"{found.coverage_factor:.2f}",
            _change(found, units),
        ]
    for survey in one.without_result:
        day = str(year.day(survey.started_at))
        yield [one.name, day, gettext("no result yet"), UNKNOWN, UNKNOWN]
    if not one.found and not one.without_result:
        before = (
            gettext("last survey on {day}").format(day=year.day(one.history[-1].result.survey.started_at))
            if one.history
            else gettext("never surveyed")
        )
        yield [one.name, gettext("none in {year}").format(year=year.number), UNKNOWN, UNKNOWN, before]


def _review_mark(notices: Iterable[ReviewNotice]) -> str:
    """Return the review state of a result, after its value."""
    states = {notice.state for notice in notices}
    return next((f", {word}" for state, word in AGAINST.items() if state in states), "")


def _change(found: Found, units: System) -> str:
    if found.withdrawn:
        return gettext("withdrawn, not compared")
    change = change_text(found.change, units)
    if change is None:
        return gettext("first result")
    if not change.size:
        return gettext("no change")
    text = (
        gettext("{change}, not significant (uncertainty ±{limit})")
        if change.explained
        else gettext("{change}, significant (uncertainty ±{limit})")
    )
    return text.format(change=change.size, limit=change.limit)


def _charts(pdf: PdfDocument, year: Year, records: Records, units: System) -> None:
    drawn = [one for one in records.points if one.found]
    if drawn:
        pdf.heading(gettext("History"))
    for one in drawn:
        pdf.caption(one.name)
        alternative = ngettext(
            "{name}: volume flow of {count} survey with its uncertainty, see the table of results",
            "{name}: volume flow of {count} surveys with their uncertainties, see the table of results",
            len(one.history),
        ).format(name=one.name, count=len(one.history))
        pdf.drawing(history_svg(one.history, units, year.site.zone, CHART_HEIGHT), alternative)


def _combined(pdf: PdfDocument, year: Year, records: Records, units: System) -> None:
    if not records.combined:
        return
    pdf.heading(gettext("Combined flows"))
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
    pdf.table(
        [
            gettext("Name"),
            gettext("Combination"),
            gettext("Day"),
            gettext("Volume flow"),
            gettext("Coverage factor k"),
        ],
        rows,
    )


def _changed(pdf: PdfDocument, year: Year, records: Records, units: System) -> None:
    """Add the changed results that the client was notified of."""
    if not records.notices:
        return
    pdf.heading(gettext("Changed results"))
    rows = [
        [
            _noticed(year, one),
            _flow(one.before or one.before_combined, units),
            _after(one, units),
            UNKNOWN if one.relative_change is None else percent_text(one.relative_change, sign=True),
            f"{year.day(one.created_at)}: {one.reason}",
        ]
        for one in records.notices
    ]
    pdf.table(
        [
            gettext("Result"),
            gettext("Superseded"),
            gettext("Replaced by"),
            gettext("Change"),
            gettext("Client notified; reason"),
        ],
        rows,
        flexible=(0, 4),
    )


def _noticed(year: Year, notice: Notice) -> str:
    if notice.before is None:
        combined = notice.before_combined
        return combined.combination.name if combined else UNKNOWN
    survey = notice.before.survey
    point = survey.measuring_point
    return f"{point.pipe.name}, {point.name}, {year.day(survey.started_at)}"


def _after(notice: Notice, units: System) -> str:
    after = notice.after or notice.after_combined
    if after is None:
        return gettext("withdrawn")
    flow = _flow(after, units)
    return gettext("{flow}, superseded later").format(flow=flow) if after.replaced_at else flow


def _flow(result: Result | CombinedResult | None, units: System) -> str:
    if result is None:
        return UNKNOWN
    return flow_with_uncertainty(result.volume_flow_m3_s, result.expanded_uncertainty_m3_s, units)


def _checks(found: Found) -> list[dict[str, Any]]:
    """Return the findings of a survey and of its paths together; none of a withdrawn result."""
    if found.withdrawn:
        return []
    return [*found.result.findings, *(found.together.findings if found.together else [])]


def _findings(pdf: PdfDocument, year: Year, records: Records, units: System) -> None:
    """Add the errors and warnings, the most severe first, each once with the surveys that have it."""
    where: dict[tuple[str, str, str], list[str]] = {}
    for one, found in records.found():
        for finding in finding_texts(_checks(found), units, year.site.zone):
            if finding["severity"] in SIGNIFICANT_SEVERITIES:
                key = (finding["severity"], heading(finding), finding["body"])
                where.setdefault(key, []).append(f"{one.name} ({year.day(found.result.survey.started_at)})")
    if not any(one.found for one in records.points):
        return
    pdf.heading(gettext("Findings that affect results"))
    if not where:
        pdf.text(gettext("No findings."))
    for (severity, label, detail), places in sorted(
        where.items(), key=lambda item: SIGNIFICANT_SEVERITIES[item[0][0]]
    ):
        surveys = gettext("Surveys: {surveys}.").format(surveys="; ".join(places))
        pdf.callout(label, f"{detail} {surveys}", severity)


def _instruments(pdf: PdfDocument, year: Year, records: Records) -> None:
    used: dict[tuple[str, ...], list[date]] = {}
    for _point, found in records.found():
        day = year.day(found.result.survey.started_at)
        for result in found.together.results.all() if found.together else [found.result]:
            for row in _with_certificates(result):
                used.setdefault(row, []).append(day)
    if not used:
        return
    pdf.heading(gettext("Instruments and certificates"))
    rows = [[*row, _days(days)] for row, days in sorted(used.items())]
    pdf.table(
        [
            gettext("Instrument"),
            gettext("Serial number"),
            gettext("Certificate"),
            gettext("Laboratory"),
            gettext("Calibrated, due"),
            gettext("Used on"),
        ],
        rows,
        flexible=(0, 3, 5),
    )


def _with_certificates(result: Result) -> Iterator[tuple[str, ...]]:
    in_force = {one.instrument_id: one for one in result.calibrations.all()}
    for instrument in result.survey_data.instruments.all():
        name = f"{instrument.get_kind_display()}, {instrument.type_name}"
        found = in_force.get(instrument.pk)
        if found is None:
            yield name, instrument.serial, gettext("none valid on the day"), "", ""
        else:
            valid = gettext("{start} to {end}").format(start=found.calibrated_on, end=found.due_on)
            yield name, instrument.serial, found.certificate, found.laboratory, valid


def _planned(pdf: PdfDocument, year: Year, records: Records) -> None:
    if not records.jobs:
        return
    pdf.heading(gettext("Planned visits"))
    rows = [
        [
            job.title,
            moment(job.starts_at, year.site.zone),
            _days(f"{p.pipe.name}, {p.name}" for p in job.measuring_points.all()),
        ]
        for job in records.jobs
    ]
    pdf.table([gettext("Visit"), gettext("Begins"), gettext("Measuring points")], rows, flexible=(0, 2))


def _days(things: Iterable[object]) -> str:
    return "; ".join(sorted({str(one) for one in things}))
