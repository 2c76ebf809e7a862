"""A day's surveys made offline, sent as one batch: again, in pieces or in any order, with the same end."""

from __future__ import annotations

import hashlib
import json
from datetime import datetime
from typing import Any, cast

from django.db import IntegrityError, transaction
from django.utils import timezone
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from surveys.api.fields import units_of
from surveys.api.problems import Problem
from surveys.api.rendering import JSONRenderer
from surveys.api.surveys.survey_documents import SurveyIn, SurveyOut, survey_notes
from surveys.api.surveys.survey_rows import survey_documents
from surveys.api.views import UnitsMixin, documented
from surveys.core.errors import Conflict
from surveys.inputs.fields import ChosenId, StrictSerializer, checked
from surveys.inputs.problems import problem_of
from surveys.inputs.rejections import rejection
from surveys.models import IdempotencyKey, Survey, User
from surveys.models.role import FIELD
from surveys.services.surveys.surveys import survey_record

MAX_ENTRIES = 200


class OfflineSurveyIn(SurveyIn):
    """A survey as `POST surveys/` takes it, with the id the client chose for it."""

    id = ChosenId(required=True)


@extend_schema_field(OfflineSurveyIn)
class EntryField(serializers.JSONField):
    """One entry, judged by itself: what is wrong with it does not lose the others."""


class SurveyBatchIn(StrictSerializer):
    surveys = serializers.ListField(child=EntryField(), min_length=1, max_length=MAX_ENTRIES)


class EntryOut(serializers.Serializer):
    id = serializers.CharField(allow_null=True, help_text="Identifier as sent.")
    status = serializers.IntegerField(help_text="Status of the single request: 201, 400 or 409.")
    replayed = serializers.BooleanField(
        help_text="Whether the entry was stored by an earlier request, whose answer is repeated."
    )
    survey = SurveyOut(allow_null=True)
    problem = Problem(allow_null=True)


class SurveyBatchOut(serializers.Serializer):
    results = EntryOut(many=True, help_text="Outcomes of the entries, in the order of the request.")


class SurveyBatch(UnitsMixin):
    """Surveys made offline."""

    throttled_as = "upload"
    writers = FIELD

    @documented(request=SurveyBatchIn, responses=SurveyBatchOut)
    def post(self, request: Request) -> Response:
        """Store each entry by itself. One sent before gets its first answer; another body under its id gets 409.

        A further path may come before or after the survey it is a path of. What was refused may be sent again.
        """
        requested = SurveyBatchIn(data=request.data)
        requested.is_valid(raise_exception=True)
        entries, now = requested.validated_data["surveys"], timezone.now()
        answers = {place: self._store(entries[place], now) for place in _firsts_before_paths(entries)}
        return Response({"results": [answers[place] for place in range(len(entries))]})

    def _store(self, entry: Any, now: datetime) -> dict[str, Any]:
        try:
            try:
                return self._store_once(entry, now)
            except IntegrityError:
                # The same entry was being stored by another request: it is there now, or something else is wrong.
                return self._store_once(entry, now)
        except Exception as error:
            document = problem_of(error, units_of(self.request))
            if document is None:
                raise
            return _answer(entry, document["status"], problem=document)

    @transaction.atomic
    def _store_once(self, entry: Any, now: datetime) -> dict[str, Any]:
        if not isinstance(entry, dict):
            raise rejection("invalid/not-an-object")
        user, digest = cast(User, self.request.user), _digest(entry)
        # A tab: no key that somebody sends in a header can have one.
        key = f"survey\t{str(entry.get('id'))[:40].lower()}"
        known = IdempotencyKey.objects.filter(user=user, key=key).first()
        if known is not None:
            if known.request_digest != digest:
                raise Conflict("id-taken/other-survey", field="id")
            return _answer(entry, 201, survey=json.loads(bytes(known.body)), replayed=True)
        # First of all, so that whoever sends the same meanwhile waits here.
        taken = IdempotencyKey.objects.create(
            user=user, key=key, request_digest=digest, created_at=now, lease_until=now, status=201
        )
        survey = self._shown(self._record(entry, user, now))
        body = taken.body = JSONRenderer().render(survey)
        taken.save(update_fields=["body"])
        return _answer(entry, 201, survey=json.loads(body))

    def _record(self, entry: dict[str, Any], user: User, now: datetime) -> Survey:
        requested = checked(OfflineSurveyIn, entry, {"request": self.request})
        return survey_record(
            point=requested["measuring_point"],
            setup=requested["setup"],
            job=requested["job"],
            instruments=requested["instruments"],
            notes=survey_notes(requested),
            by=user,
            now=now,
            primary_survey=requested["primary_survey"],
            wanted_id=requested["id"],
        )

    def _shown(self, survey: Survey) -> Any:
        return survey_documents([survey.pk], units_of(self.request))[0]


def _firsts_before_paths(entries: list[Any]) -> list[int]:
    """Places of the entries, so that a further path comes after the survey of this batch it is a path of."""
    here = {str(entry.get("id")).lower() for entry in entries if isinstance(entry, dict)}

    def waits(place: int) -> bool:
        entry = entries[place]
        return isinstance(entry, dict) and str(entry.get("primary_survey")).lower() in here

    return sorted(range(len(entries)), key=waits)


def _digest(entry: dict[str, Any]) -> str:
    return hashlib.sha256(json.dumps(entry, sort_keys=True).encode()).hexdigest()


def _answer(
    entry: Any, status: int, *, survey: Any = None, problem: Any = None, replayed: bool = False
) -> dict[str, Any]:
    sent = entry.get("id") if isinstance(entry, dict) else None
    return {
        "id": sent[:40] if isinstance(sent, str) else None,
        "status": status,
        "replayed": replayed,
        "survey": survey,
        "problem": problem,
    }
