"""Reports: draft, issue and reissue."""

from __future__ import annotations

import hashlib
from datetime import datetime
from typing import Any, cast

from django.db import transaction

from compute.base.messages import record
from compute.base.units import System
from surveys.calibration.affected_results import notices_with_paths
from surveys.core.errors import Conflict
from surveys.documents.formatting import full_name
from surveys.documents.pdf import typeset
from surveys.documents.survey_report import Issue, survey_report
from surveys.models import CombinedResult, Report, Result, SiteMeterReading, Survey, User
from surveys.models.report import report_number
from surveys.pipes.selectors import paths_result
from surveys.results.traceability import traceable_results
from surveys.services.records import required_reason


def report_draft(survey: Survey, units: System, address: str) -> bytes:
    """Return a draft of a survey's report. Raises Conflict without a result."""
    result = _current(survey)
    draft = Issue("", 0, result.computed_at, "")
    return typeset(survey_report(result, draft, units, _page_of(result, address)))


@transaction.atomic
def report_issue(
    *, survey: Survey, units: System, reason: str, address: str, by: User, now: datetime
) -> Report:
    """Issue a survey's report; a reissue gives the report it replaces and the reason.

    Raises Conflict without a result or if nothing changed since the last issue; ServiceError for a reissue without reason.
    """
    Survey.objects.select_for_update(no_key=True).get(pk=survey.pk)
    result = _current(survey)
    last = Report.objects.filter(survey=survey, replaced_at__isnull=True).select_related("result").first()
    together = paths_result(survey)
    notices = _notices(result, together)
    if last and _same_statement(last, result, together, notices, units):
        raise Conflict("nothing-changed/report", report=record("report", last.pk, last.number))
    revision = last.revision + 1 if last else 1
    reason = required_reason(reason) if last else reason
    issue = Issue(report_number(survey.pk, now.year, revision), revision, now, full_name(by), reason, last)
    content = typeset(survey_report(result, issue, units, _page_of(result, address)))
    if last:
        Report.objects.filter(pk=last.pk).update(replaced_at=now)
    return Report.objects.create(
        survey=survey,
        result=result,
        revision=revision,
        replaces=last,
        units=units,
        notices=notices,
        reason=reason,
        content=content,
        sha256=hashlib.sha256(content).hexdigest(),
        issued_at=now,
        issued_by=by,
    )


def _same_statement(
    last: Report, result: Result, mean: CombinedResult | None, notices: list[dict[str, Any]], units: System
) -> bool:
    stated_since = SiteMeterReading.objects.filter(survey=last.survey_id, recorded_at__gt=last.issued_at)
    same = last.result_id == result.pk and last.notices == notices and last.units == units
    mean_since = mean is not None and mean.computed_at > last.issued_at
    return same and not mean_since and not stated_since.exists()


def report_content(report: Report, address: str) -> tuple[bytes, bool]:
    """Return the content of an issued report, and whether it is unchanged since its issue.

    If a review of an instrument was opened or decided since, the report carries that notice until it is reissued.
    """
    result = traceable_results().get(pk=report.result_id)
    if _notices(result, paths_result(result.survey, report.issued_at)) == report.notices:
        return bytes(report.content), True
    issue = Issue(
        report.number,
        report.revision,
        report.issued_at,
        full_name(report.issued_by),
        report.reason,
        report.replaces,
    )
    return typeset(survey_report(result, issue, cast(System, report.units), _page_of(result, address))), False


def _page_of(result: Result, site_address: str) -> str:
    """Return the address in a report's QR code."""
    return f"{site_address}results/{result.pk}/traceability/"


def _notices(result: Result, together: CombinedResult | None) -> list[dict[str, Any]]:
    notices = notices_with_paths(result.survey, together)
    return [
        {"state": one.state, "found_on": str(one.found_on), "message": one.message.stored()}
        for one in notices
    ]


def _current(survey: Survey) -> Result:
    result: Result | None = traceable_results().filter(survey=survey, replaced_at__isnull=True).first()
    if result is None:
        raise Conflict("no-result/report")
    return result
