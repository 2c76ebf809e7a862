"""Certificates by the table: a CSV or XLSX file, a row each, all or nothing."""

from __future__ import annotations

from functools import partial
from typing import Any, cast

from django.urls import reverse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from surveys.api.fields import units_of
from surveys.api.files import RawFileParser, file_sent
from surveys.api.problems import Problem
from surveys.api.views import Once, documented
from surveys.inputs.calibrations import CalibrationIn, calibration_of_request
from surveys.inputs.fields import checked
from surveys.inputs.problems import CONTENT_TYPE, errors_of, problem
from surveys.inputs.rejections import rejection
from surveys.inputs.tables import Row, table_read
from surveys.models import Instrument, User
from surveys.models.role import FLEET
from surveys.services.fleet.bulk import BulkAction, do_all
from surveys.services.fleet.calibrations import calibration_record, instruments_lock

TEXTS = (
    "certificate", "laboratory", "accreditation", "calibrated_on", "due_on", "conditions", "conditions_temperature", "note",
)  # fmt: skip
POINTS = ("as_found", "as_left")
COLUMNS = ("kind", "serial", *TEXTS, *POINTS)
BySerial = dict[str, list[Instrument]]
POINT = ("reference", "indicated", "expanded_uncertainty", "coverage_factor")


class KnownInstrument(serializers.Field):
    """The instrument found for the row."""

    def to_internal_value(self, data: Any) -> Instrument:
        found: Instrument = data
        return found


class CalibrationRowIn(CalibrationIn):
    instrument = KnownInstrument()
    corrects = None
    reason = None
    maximum_permissible_error = None
    decision_rule = None


class BulkOut(serializers.Serializer):
    dry_run = serializers.BooleanField()
    rows = serializers.IntegerField(help_text="Rows read.")
    recorded = serializers.IntegerField(help_text="Number of recorded certificates; 0 on a dry run.")
    errors = Problem.Error(
        many=True, help_text="Errors found by a dry run, with fields such as rows.7.due_on."
    )


class BulkCalibrations(Once):
    """Many certificates at once."""

    throttled_as = "upload"
    writers = FLEET
    parser_classes = [MultiPartParser, RawFileParser]

    @documented(
        request={
            "text/csv": OpenApiTypes.BINARY,
            "multipart/form-data": {
                "type": "object",
                "properties": {"file": {"type": "string", "format": "binary", "description": "The file."}},
                "required": ["file"],
            },
        },
        responses={200: BulkOut, 201: BulkOut},
        parameters=[
            OpenApiParameter("dry_run", bool, description="Say what would be wrong, and record nothing.")
        ],
    )
    def post(self, request: Request) -> Response:
        """Record a table of certificates, as the body itself or the part `file` of a form: all of them, or none.

        Columns: serial, kind (where a serial is there in two kinds), certificate, laboratory, accreditation, calibrated_on, due_on,
        conditions, conditions_temperature, note, and as_found and as_left with points such as `20 mm | 20.04 mm | 0.02 mm | 2`,
        semicolons between them. What is left out follows from the policies.
        """
        dry_run = _flag(request, "dry_run")
        rows = table_read(file_sent(request), COLUMNS)
        named = _instruments(rows, request)
        wrong = do_all(
            _actions(rows, named, request),
            hold=lambda: instruments_lock([one.pk for ones in named.values() for one in ones]),
            explain=partial(errors_of, units=units_of(request)),
            dry_run=dry_run,
        )
        errors = [
            one | {"field": f"rows.{number}.{one['field']}".rstrip(".")}
            for number, ones in sorted(wrong.items())
            for one in ones
        ]
        if errors and not dry_run:
            return Response(problem(400, errors), status=400, content_type=CONTENT_TYPE)
        answer = {
            "dry_run": dry_run, "rows": len(rows), "recorded": 0 if dry_run else len(rows), "errors": errors,
        }  # fmt: skip
        shown = BulkOut(answer).data
        if dry_run:
            return Response(shown)
        return Response(shown, status=201, headers={"Location": reverse("calibration-list")})


def _instruments(rows: list[Row], request: Request) -> BySerial:
    """The instruments that have a serial of the table."""
    serials = {row.cells.get("serial", "") for row in rows}
    by_serial: BySerial = {}
    for instrument in Instrument.objects.visible_to(request.user).filter(serial__in=serials):
        by_serial.setdefault(instrument.serial, []).append(instrument)
    return by_serial


def _actions(rows: list[Row], by_serial: BySerial, request: Request) -> list[BulkAction]:
    now, by = timezone.now(), cast(User, request.user)

    def action(row: Row) -> BulkAction:
        def record() -> None:
            form = checked(CalibrationRowIn, _stated(row, by_serial), {"request": request})
            calibration, content, _ = calibration_of_request(form)
            calibration_record(calibration=calibration, by=by, now=now, content=content)

        return BulkAction(row.number, record)

    return [action(row) for row in rows]


def _stated(row: Row, by_serial: BySerial) -> dict[str, Any]:
    """A row as the body of a request."""
    kind, serial = row.cells.get("kind"), row.cells.get("serial", "")
    fit = [one for one in by_serial.get(serial, []) if kind in (None, one.kind)]
    if len(fit) != 1:
        raise rejection(
            "serial-ambiguous" if fit else "serial-unknown",
            field="serial",
            serial=serial[:60],
            count=len(fit),
            kind=kind[:20] if kind else None,
        )
    points = {name: _points(row.cells[name], name) for name in POINTS if name in row.cells}
    return {"instrument": fit[0], **{name: row.cells[name] for name in TEXTS if name in row.cells}, **points}


def _points(text: str, name: str) -> list[dict[str, Any]]:
    points = []
    for number, one in enumerate(part for part in text.split(";") if part.strip()):
        cells = [cell.strip() for cell in one.split("|")]
        try:
            factor = float(cells[3])
        except (IndexError, ValueError):
            factor = None
        if len(cells) != len(POINT) or factor is None:
            raise rejection("point-invalid", field=name, number=number + 1, given=one.strip()[:60])
        points.append(dict(zip(POINT, [*cells[:3], factor], strict=True)))
    return points


def _flag(request: Request, name: str) -> bool:
    text = request.query_params.get(name, "false").lower()
    if text not in ("true", "false", "1", "0"):
        raise rejection("invalid/true-or-false", field=name)
    return text in ("true", "1")
