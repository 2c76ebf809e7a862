"""Creation and change of plain records, validated and in one transaction."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, TypeVar
from uuid import UUID

from django.db import transaction

from surveys.core.errors import Conflict, ServiceError
from surveys.models import Record, uuid7
from surveys.models.reasons import Reason, SystemReason
from surveys.services.audit import record_changed, record_created, record_values

R = TypeVar("R", bound=Record)
Related = Mapping[str, Sequence[Record]]


@transaction.atomic
def record_create(record: R, *, related: Related | None = None) -> R:
    """Validate a new record and store it with its related records.

    Raises Django's ValidationError or IntegrityError when a rule or a constraint rejects it.
    """
    record.full_clean(validate_constraints=False)
    record.save(force_insert=True)
    _relate(record, related)
    record_created(record)
    return record


@transaction.atomic
def record_change(record: R, changes: Mapping[str, Any], *, related: Related | None = None) -> R:
    """Change the named fields of a record, after validation."""
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
    """Return the id that an offline client chose for a new record, or a new id. Raises Conflict for an existing id."""
    if wanted is not None and record_type._base_manager.filter(pk=wanted).exists():
        raise Conflict("id-taken", field="id")
    return wanted or uuid7()


def required_reason(reason: str) -> str:
    """Return the reason of a change, which is required."""
    if not reason.strip():
        raise ServiceError("reason-missing", field="reason")
    return reason.strip()


def change_reason(reason: Reason) -> Reason:
    """Return the reason of a change: a message of the service, or the text of a person, which is required."""
    return reason if isinstance(reason, SystemReason) else required_reason(reason)


def _relate(record: Record, related: Related | None) -> None:
    for name, rows in (related or {}).items():
        getattr(record, name).set(rows)
