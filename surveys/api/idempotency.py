"""`Idempotency-Key`: a write sent again gets the first answer, and is done once."""

from __future__ import annotations

import hashlib
from datetime import timedelta
from typing import Any, cast

from django.db import IntegrityError, transaction
from django.http import HttpResponse
from django.utils import timezone
from rest_framework.exceptions import APIException, ValidationError
from rest_framework.request import Request
from rest_framework.response import Response

from surveys.models import IdempotencyKey, User

KEPT_HEADERS = ("ETag", "Location")
LONGEST_KEY = 200
# A request whose process died leaves its key free again after this long.
LEASE = timedelta(seconds=60)


class StillRunning(APIException):
    status_code = 409
    default_detail = "The first request with this Idempotency-Key is still running; ask again in a moment."
    default_code = "still-running"


class KeyOfAnotherRequest(APIException):
    status_code = 422
    default_detail = "This Idempotency-Key was sent with another request; use a new key for a new request."
    default_code = "idempotency-key-reused"


class Replay(Exception):
    """The write was done before; `response` is what was answered."""

    def __init__(self, known: IdempotencyKey) -> None:
        super().__init__()
        self.response = HttpResponse(bytes(known.body), status=known.status, content_type=known.content_type)
        for name, value in known.headers.items():
            self.response[name] = value
        self.response["Idempotency-Replayed"] = "true"


def claim(request: Request) -> IdempotencyKey | None:
    """Take the request's key, if it has one.

    Raises Replay when it was answered before, StillRunning while it is being answered, KeyOfAnotherRequest
    when it came with something else.
    """
    key = request.headers.get("Idempotency-Key", "").strip()
    if not key or request.method not in {"POST", "PATCH", "PUT", "DELETE"}:
        return None
    if len(key) > LONGEST_KEY or not key.isprintable():
        raise ValidationError(
            {"Idempotency-Key": f"At most {LONGEST_KEY} printable characters."}, code="key-invalid"
        )
    now, digest, user = timezone.now(), _digest(request), cast(User, request.user)
    try:
        with transaction.atomic():
            return IdempotencyKey.objects.create(
                user=user, key=key, request_digest=digest, created_at=now, lease_until=now + LEASE
            )
    except IntegrityError:
        pass
    known = IdempotencyKey.objects.get(user=user, key=key)
    if known.request_digest != digest:
        raise KeyOfAnotherRequest
    if known.status is not None:
        raise Replay(known)
    stale = IdempotencyKey.objects.filter(pk=known.pk, status__isnull=True, lease_until__lt=now)
    if not stale.update(lease_until=now + LEASE):
        raise StillRunning
    return known


def settle(claimed: IdempotencyKey, response: Any) -> Any:
    """Keep an answer for the next time; a fault of ours is not kept, so that the write can be tried again."""
    if isinstance(response, Response):
        response.add_post_render_callback(lambda rendered: _keep(claimed, rendered))
    return response


def _keep(claimed: IdempotencyKey, response: Any) -> None:
    if response.status_code >= 500:
        IdempotencyKey.objects.filter(pk=claimed.pk).delete()
        return
    IdempotencyKey.objects.filter(pk=claimed.pk).update(
        status=response.status_code,
        content_type=response["Content-Type"],
        headers={name: response[name] for name in KEPT_HEADERS if name in response},
        body=response.content,
    )


def _digest(request: Request) -> str:
    parts = (request.method or "", request.get_full_path(), request.content_type or "")
    return hashlib.sha256("\n".join(parts).encode() + b"\n" + request._request.body).hexdigest()
