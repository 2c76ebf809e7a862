"""Creating and changing plain records, in one transaction and by their own rules."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, TypeVar
from uuid import UUID

from django.db import transaction

from surveys.core.errors import Conflict, ServiceError
from surveys.models import Record, uuid7
from surveys.services.audit import record_changed, record_created, record_values

R = TypeVar("R", bound=Record)
Related = Mapping[str, Sequence[Record]]


@transaction.atomic
def record_create(record: R, *, related: Related | None = None) -> R:
    """Check a new record by its own rules and store it with what it is related to.

    Raises django's ValidationError or IntegrityError when a rule or a constraint rejects it.
    """
    record.full_clean(validate_constraints=False)
    record.save(force_insert=True)
    _relate(record, related)
    record_created(record)
    return record


@transaction.atomic
def record_change(record: R, changes: Mapping[str, Any], *, related: Related | None = None) -> R:
    """Change the named fields of a record, checked by its own rules."""
    before = record_values(record, frozenset({*changes, *(related or {})}))
    for name, value in changes.items():
        setattr(record, name, value)
    record.full_clean(validate_constraints=False)
    if changes:
        record.save(update_fields=list(changes))
    _relate(record, related)
    record_changed(record, before)
    return record


def chosen_id(record_type: type[Record], wanted: UUID | None) -> UUID:
    """The id a client chose for a new record while it was offline, or a new one. Raises Conflict if a record has it."""
    if wanted is not None and record_type._base_manager.filter(pk=wanted).exists():
        raise Conflict("id-taken", field="id")
    return wanted or uuid7()


def said(reason: str) -> str:
    """The reason of a change, which is required."""
    if not reason.strip():
        raise ServiceError("reason-missing", field="reason")
    return reason.strip()


def _relate(record: Record, related: Related | None) -> None:
    for name, rows in (related or {}).items():
        getattr(record, name).set(rows)
