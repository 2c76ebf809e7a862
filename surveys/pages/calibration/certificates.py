"""Entry and correction of a certificate with a preview of its conformity; its page with the results based on it."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.http import require_safe

from surveys.inputs.calibrations import CalibrationIn, calibration_of_request
from surveys.inputs.files import file_name
from surveys.inputs.problems import problem_of
from surveys.models import Calibration, Instrument, OutOfToleranceReview, Recomputation, Result
from surveys.pages.calibration.access import fleet_page, user_of, visible
from surveys.pages.calibration.certificate_form import Sheet, recorded_values
from surveys.pages.calibration.wording import conformity_shown, office_zone
from surveys.pages.frame import page, units_of
from surveys.services.fleet.calibrations import calibration_record
from surveys.services.fleet.documents import certificate_attach

MAX_SHOWN = 50


@fleet_page
def certificate_new(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Show the form of a new certificate or of a correction, with a preview of its conformity; record the certificate on request."""
    instrument = visible(request, Instrument, pk)
    corrects = _to_correct(request, instrument)
    begun = (
        recorded_values(corrects, units_of(request))
        if corrects and request.method != "POST"
        else request.POST.dict()
    )
    sheet = Sheet(instrument, begun, corrects)
    command = request.POST.get("do", "")
    if command.startswith("more-"):
        sheet.add_row(command.removeprefix("more-"))
    if command not in ("show", "record"):
        return _form(request, sheet)
    try:
        with transaction.atomic():
            calibration, run = _record(request, sheet)
            recomputed = run.items.filter(survey__isnull=False).count() if run else 0
            shown = _outcome(calibration, request) | {"recomputed": recomputed}
            # A preview records the certificate and rolls back, so that it shows what recording gives.
            transaction.set_rollback(command == "show")
    except Exception as error:
        problem = problem_of(error, units_of(request))
        if problem is None:
            raise
        sheet.rejected(problem["errors"])
        return _form(request, sheet, status=problem["status"])
    if command == "show":
        return _form(request, sheet, outcome=shown)
    return _sent_to(request, calibration)


@fleet_page
@require_safe
def certificate(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Show a certificate with its conformity, its file, and the results based on it."""
    found = visible(request, Calibration, pk, "instrument", "recorded_by", "corrected_by", "certificate_file")
    results = Result.objects.visible_to(request.user).filter(replaced_at__isnull=True)
    results = results.filter(Q(calibrations=found) | Q(as_found_corrections=found)).distinct()
    results = results.select_related("survey__measuring_point__pipe__site").defer(
        "budget", "findings", "change_breakdown"
    )
    results = results.order_by("-survey__started_at", "-id")
    context = {
        "calibration": found,
        "outcome": _outcome(found, request),
        "file": getattr(found, "certificate_file", None),
        "corrected": getattr(found, "corrected_by", None),
        "results": results[:MAX_SHOWN],
        "count": results.count(),
        "most": MAX_SHOWN,
        "zone": office_zone(),
    }
    return page(request, "calibration/certificate.html", context)


def _to_correct(request: HttpRequest, instrument: Instrument) -> Calibration | None:
    """Return the certificate that the form corrects, if any."""
    named = request.POST.get("corrects") or request.GET.get("corrects")
    if not named:
        return None
    try:
        found: Calibration = instrument.calibrations.get(pk=named)
    except (Calibration.DoesNotExist, ValidationError):
        raise Http404 from None
    return found


def _record(request: HttpRequest, sheet: Sheet) -> tuple[Calibration, Recomputation | None]:
    """Record the certificate of the form with its file, in the transaction of the caller."""
    form = CalibrationIn(data=sheet.stated(), context={"request": request})
    form.is_valid(raise_exception=True)
    calibration, content, reason = calibration_of_request(dict(form.validated_data))
    by, now = user_of(request), timezone.now()
    created, run = calibration_record(calibration=calibration, by=by, now=now, reason=reason, content=content)
    if file := request.FILES.get("file"):
        name = file_name(request, file)
        certificate_attach(calibration=created, file=file, file_name=name, by=by, now=now)
    return created, run


def _outcome(calibration: Calibration, request: HttpRequest) -> dict[str, Any]:
    """Return the conformity of a certificate, and the review opened if the instrument is out of tolerance."""
    review = OutOfToleranceReview.objects.filter(calibration=calibration).first()
    return {
        "judged": conformity_shown(calibration, units_of(request)),
        "due_on": calibration.due_on,
        "review": review,
        "under_review": review.surveys.count() if review else 0,
    }


def _form(
    request: HttpRequest, sheet: Sheet, outcome: dict[str, Any] | None = None, status: int = 200
) -> HttpResponse:
    context = {"instrument": sheet.instrument, "sheet": sheet, "outcome": outcome}
    return page(request, "calibration/certificate_new.html", context, status=status)


def _sent_to(request: HttpRequest, calibration: Calibration) -> HttpResponse:
    to = redirect("fleet-certificate", pk=calibration.pk)
    if "HX-Request" in request.headers:
        # The script would follow a redirect and show the page within the form.
        return HttpResponse(headers={"HX-Redirect": to.url})
    return to
