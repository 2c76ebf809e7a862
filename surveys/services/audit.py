"""The audit log: the only place that writes it, for changes of records, sign-ins and downloads of files."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any
from uuid import UUID

from django.db.models import Field, ManyToManyField, Model
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.utils import timezone
from django.utils.text import camel_case_to_spaces

from surveys.core.append_only import IMMUTABLE
from surveys.core.request_context import actor
from surveys.models import AuditEntry, User
from surveys.models.audit import Action

# Personal or secret fields: the log records that they changed, not their values.
NOT_KEPT: Mapping[str, frozenset[str]] = {
    "client": frozenset({"contact"}),
    "site": frozenset({"access_notes", "contacts"}),
    "absence": frozenset({"reason"}),
    "technician-profile": frozenset({"home_base", "latitude_deg", "longitude_deg"}),
    "calendar-feed": frozenset({"token_sha256"}),
    "invitation": frozenset({"username", "email", "token_sha256"}),
}
# Fields of a user that decide on permissions; no personal data.
USER_FIELDS = frozenset(
    {
        "role",
        "client",
        "is_active",
        "is_staff",
        "is_superuser",
        "is_service_account",
        "groups",
        "user_permissions",
    }
)

Values = dict[str, Any]


def audit_write(
    action: Action,
    record: Model | None = None,
    *,
    record_type: str = "",
    by: User | None = None,
    before: Mapping[str, Any] | None = None,
    after: Mapping[str, Any] | None = None,
) -> AuditEntry:
    """Write an entry; the actor is the user of the current request unless `by` is given."""
    who = by or actor()
    return AuditEntry.objects.create(
        at=timezone.now(),
        action=action,
        actor=who.pk if who else None,
        actor_name=who.get_username() if who else "",
        record_type=record_type or (type_name(record) if record else ""),
        record=_id(record.pk) if record else None,
        record_name=_name(record),
        before=dict(before or {}),
        after=dict(after or {}),
    )


def record_values(record: Model, names: frozenset[str] | None = None) -> Values:
    """The stored values of a record by column and relation (all, or those named); empty if the record does not exist."""
    stored = type(record)._base_manager.filter(pk=record.pk).first()
    if stored is None:
        return {}
    fields = [*stored._meta.concrete_fields, *stored._meta.many_to_many]
    return {
        f.name: _value(stored, f) for f in fields if (names is None or f.name in names) and _kept(record, f)
    }


def record_created(record: Model) -> None:
    """Record the creation of a record; an append-only record is its own history."""
    if record._meta.db_table not in IMMUTABLE:
        audit_write(Action.CREATED, record, after=_shown(record, record_values(record)))


def record_changed(record: Model, before: Values) -> None:
    """Record the changed values; writes nothing if no value changed."""
    after = record_values(record, frozenset(before))
    moved = {name for name in before if before[name] != after.get(name)}
    if moved:
        audit_write(
            Action.CHANGED,
            record,
            before=_shown(record, {name: before[name] for name in sorted(moved)}),
            after=_shown(record, {name: after.get(name) for name in sorted(moved)}),
        )


def exports_recorded(
    get_response: Callable[[HttpRequest], HttpResponseBase],
) -> Callable[[HttpRequest], HttpResponseBase]:
    """Middleware that records every file download of a signed-in user, whatever the view.

    It records the route, not the address: the address of a calendar feed is secret.
    """

    def middleware(request: HttpRequest) -> HttpResponseBase:
        response = get_response(request)
        if response.status_code == 200 and response.has_header("Content-Disposition") and actor():
            match = request.resolver_match
            record = match.kwargs.get("pk") if match else None
            AuditEntry.objects.create(
                at=timezone.now(),
                action=Action.EXPORTED,
                actor=request.user.pk,
                actor_name=request.user.get_username(),
                record_type="file",
                record=_id(record),
                after={
                    "route": match.route if match else "",
                    "type": response["Content-Type"].partition(";")[0],
                },
            )
        return response

    return middleware


def type_name(record: Model) -> str:
    """The kind of a record as the log names it, such as measuring-point."""
    return camel_case_to_spaces(type(record).__name__).replace(" ", "-")


def _name(record: Model | None) -> str:
    personal = record is None or isinstance(record, User) or "username" in NOT_KEPT.get(type_name(record), ())
    return "" if personal else str(record)[:200]


def _id(key: Any) -> UUID | None:
    try:
        return key if isinstance(key, UUID) else UUID(str(key))
    except ValueError:
        return None


def _kept(record: Model, field: Any) -> bool:
    return field.name in USER_FIELDS if isinstance(record, User) else field.name != "id"


def _value(record: Model, field: Field[Any, Any] | ManyToManyField[Any, Any]) -> Any:
    if isinstance(field, ManyToManyField):
        return sorted(str(row) for row in getattr(record, field.name).values_list("pk", flat=True))
    return getattr(record, field.attname)


def _shown(record: Model, values: Values) -> Values:
    hidden = NOT_KEPT.get(type_name(record), frozenset())
    return {name: "(not kept)" if name in hidden else value for name, value in values.items()}
