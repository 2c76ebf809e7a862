"""`Idempotency-Key`: a write sent again gets the first answer, and is done once.

The write and its answer are kept in one transaction (`surveys.api.views.Once`): a process killed at any moment leaves both or neither.
"""

from __future__ import annotations

import hashlib
import json
from contextlib import suppress
from datetime import timedelta
from typing import Any, cast

from django.core.files.uploadedfile import UploadedFile
from django.db import Error, IntegrityError, transaction
from django.http import HttpResponse
from django.utils import timezone
from rest_framework.exceptions import APIException
from rest_framework.request import Request

from compute.base.messages import message
from surveys.inputs.rejections import error_detail, rejection
from surveys.models import IdempotencyKey, User

STORED_HEADERS = ("ETag", "Location", "Retry-After")
MAX_KEY_LENGTH = 200
# A request whose process died leaves its key free again after this long; one that takes longer is waited for (`hold`).
LEASE = timedelta(seconds=15)


class RequestRunning(APIException):
    """The first request with the key is still being answered (409)."""

    status_code = 409


class KeyReused(APIException):
    """The key came with a different request before (422)."""

    status_code = 422


class Replay(Exception):
    """The write was done before; `response` is what was answered."""

    def __init__(self, known: IdempotencyKey) -> None:
        super().__init__()
        self.response = HttpResponse(bytes(known.body), status=known.status, content_type=known.content_type)
        if not known.content_type:  # an answer without a body
            del self.response["Content-Type"]
        for name, value in known.headers.items():
            self.response[name] = value
        self.response["Idempotency-Replayed"] = "true"


def claim(request: Request) -> IdempotencyKey | None:
    """Take the request's key, if it has one.

    Raises Replay when it was answered before, RequestRunning while it is being answered, KeyReused
    when it came with something else.
    """
    key = request.headers.get("Idempotency-Key", "").strip()
    if not key or request.method not in {"POST", "PATCH", "PUT", "DELETE"}:
        return None
    if len(key) > MAX_KEY_LENGTH or not key.isprintable():
        raise rejection("key-invalid", field="Idempotency-Key", most=MAX_KEY_LENGTH)
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
        raise KeyReused(error_detail(message("idempotency-key-reused")))
    if known.status is not None:
        raise Replay(known)
    stale = IdempotencyKey.objects.filter(pk=known.pk, status__isnull=True, lease_until__lt=now)
    if not stale.update(lease_until=now + LEASE):
        raise RequestRunning(error_detail(message("still-running")))
    known.lease_until = now + LEASE
    return known


def hold(claimed: IdempotencyKey) -> None:
    """Hold the key until the caller's transaction ends: whoever takes it over when the lease is out waits for that.

    Raises Replay or RequestRunning where somebody has taken it over already.
    """
    now_there = IdempotencyKey.objects.select_for_update().filter(pk=claimed.pk).first()
    if now_there is not None and now_there.status is not None:
        raise Replay(now_there)
    if now_there is None or now_there.lease_until != claimed.lease_until:
        raise RequestRunning(error_detail(message("still-running")))


def keep(claimed: IdempotencyKey, response: Any) -> None:
    """Keep an answer for the next time."""
    IdempotencyKey.objects.filter(pk=claimed.pk, status__isnull=True).update(
        status=response.status_code,
        content_type=response.get("Content-Type", ""),
        headers={name: response[name] for name in STORED_HEADERS if name in response},
        body=response.content,
    )


def key_release(claimed: IdempotencyKey) -> None:
    """Free the key of a write that failed, so that it can be tried again at once; if the database is away, when the lease is out."""
    with suppress(Error):
        IdempotencyKey.objects.filter(pk=claimed.pk, status__isnull=True).delete()


def _digest(request: Request) -> str:
    kind = request.content_type or ""
    form = kind.partition(";")[0].strip().lower() == "multipart/form-data"
    parts = (request.method or "", request.get_full_path(), "form" if form else kind)
    content = _of_form(request.data) if form else request._request.body
    return hashlib.sha256("\n".join(parts).encode() + b"\n" + content).hexdigest()


def _of_form(sent: Any) -> bytes:
    """The parts of a form, without the boundary between them, which differs each time the form is sent."""
    parts = [(name, *_of_part(value)) for name, values in sent.lists() for value in values]
    return json.dumps(parts).encode()


def _of_part(value: Any) -> tuple[str, str]:
    if not isinstance(value, UploadedFile):
        return "text", str(value)
    digest = hashlib.sha256()
    for chunk in value.chunks():
        digest.update(chunk)
    value.seek(0)
    return f"file {value.name}", digest.hexdigest()
