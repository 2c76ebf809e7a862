"""Users (invitation, change, deactivation) and service accounts."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.mail import EmailMessage
from django.db import transaction
from django.utils.translation import gettext as _
from django_otp.plugins.otp_totp.models import TOTPDevice

from surveys.core.errors import Conflict, NotAllowed, ServiceError
from surveys.models import (
    AuditEntry,
    CalendarFeed,
    Client,
    IdempotencyKey,
    Invitation,
    RecoveryCode,
    Role,
    User,
)
from surveys.models.audit import Action
from surveys.services.audit import USER_FIELDS, audit_write, record_changed, record_created, record_values
from surveys.services.people.sign_in import password_accepted
from surveys.services.people.tokens import tokens_end

# Roles that the office may invite; an administrator may invite every role.
INVITED_BY_OFFICE = frozenset({Role.CLIENT, Role.TECHNICIAN, Role.OFFICE})


class MailFailed(ServiceError):
    """The mail server did not accept the message (502)."""

    status = 502


@transaction.atomic
def service_account_make(*, username: str, role: str, client: Client | None) -> User:
    """Create a service account: a program that signs in with tokens only."""
    user = User(username=username, role=role, client=client, is_service_account=True)
    check_client_of_role(role, client)
    user.set_unusable_password()
    user.full_clean(exclude=["password"], validate_constraints=False)
    user.save(force_insert=True)
    record_created(user)
    return user


@transaction.atomic
def user_change(*, user: User, changes: Mapping[str, Any], by: User, now: datetime) -> User:
    """Change a user's role, client or active state. Deactivation also revokes the user's tokens.

    The role decides on access to the admin pages. Raises Conflict for oneself and for a deactivated user.
    """
    user = User.objects.select_for_update().get(pk=user.pk)
    before = record_values(user)
    if user.pk == by.pk:
        raise Conflict("own-account")
    if _has_left(user):
        raise Conflict("user-deactivated")
    for name, value in changes.items():
        setattr(user, name, value)
    if changes.get("role", Role.CLIENT) != Role.CLIENT and "client" not in changes:
        user.client = None
    if user.role != Role.ADMINISTRATOR:
        user.is_staff = user.is_superuser = False
    check_client_of_role(user.role, user.client)
    user.save(update_fields=["role", "client", "is_active", "is_staff", "is_superuser"])
    if not user.is_active:
        tokens_end(user=user, now=now)
    record_changed(user, before)
    return user


@transaction.atomic
def user_leave(*, user: User, by: User, now: datetime) -> User:
    """Deactivate a user who leaves and erase their personal data; their records remain, as those of a former user.

    A repetition has no effect.
    """
    user = User.objects.select_for_update().get(pk=user.pk)
    if user.pk == by.pk:
        raise Conflict("own-account")
    if _has_left(user):
        return user
    before = record_values(user)
    user.username = f"former user {User.objects.filter(username__startswith='former user ').count() + 1}"
    user.first_name = user.last_name = user.email = ""
    user.is_active = user.is_staff = user.is_superuser = False
    user.last_login = None
    user.set_unusable_password()
    user.save()
    tokens_end(user=user, now=now)
    TOTPDevice.objects.filter(user=user).delete()
    RecoveryCode.objects.filter(user=user).delete()
    # Responses stored for repeated requests may name the person.
    IdempotencyKey.objects.filter(user=user).delete()
    CalendarFeed.objects.filter(owner=user, revoked_at__isnull=True).update(revoked_at=now)
    Invitation.objects.filter(accepted_by=user).update(email="", username=user.username)
    AuditEntry.objects.filter(actor=user.pk).update(actor_name=user.username)
    after = record_values(user, USER_FIELDS)
    audit_write(
        Action.DEACTIVATED,
        user,
        before={k: v for k, v in before.items() if v != after[k]},
        after={"is_active": False},
    )
    return user


def _has_left(user: User) -> bool:
    return not user.is_active and user.username.startswith("former user ")


def check_client_of_role(role: str, client: Client | None) -> None:
    """Require a client organisation for client viewers, and none for other users."""
    if role == Role.CLIENT and client is None:
        raise ServiceError("client-missing", field="client")
    if role != Role.CLIENT and client is not None:
        raise ServiceError("client-not-needed", field="client")


@transaction.atomic
def invitation_send(
    *, invitation: Invitation, link_of: Callable[[str], str], by: User, now: datetime
) -> Invitation:
    """Invite a person by e-mail with a personal link, valid once.

    Raises NotAllowed for a role this user cannot give, Conflict for an existing name, MailFailed if the mail server rejects the message.
    """
    if by.role != Role.ADMINISTRATOR and invitation.role not in INVITED_BY_OFFICE:
        raise NotAllowed("role-not-yours", field="role")
    check_client_of_role(invitation.role, invitation.client)
    if User.objects.filter(username=invitation.username).exists():
        raise Conflict("conflict/username-once", field="username")
    token = secrets.token_urlsafe(32)
    invitation.token_sha256 = _digest(token)
    invitation.invited_by, invitation.invited_at = by, now
    invitation.expires_at = now + timedelta(days=settings.INVITATION_DAYS)
    invitation.full_clean(validate_constraints=False)
    invitation.save(force_insert=True)
    record_created(invitation)
    _mail(invitation, link_of(token))
    return invitation


def _mail(invitation: Invitation, link: str) -> None:
    expires_at = invitation.expires_at.astimezone(ZoneInfo(settings.OFFICE_TIME_ZONE))
    lines = (
        _("You are invited to Flow Surveys as {role}. Your user name is {username}.").format(
            role=invitation.get_role_display(), username=invitation.username
        ),
        "",
        _("Choose a password with this link. The link can be used once and is valid until {time}:").format(
            time=f"{expires_at:%Y-%m-%d %H:%M %Z}"
        ),
        link,
        "",
        _(
            "If you did not expect this invitation, ignore this e-mail. No account is created unless you use the link."
        ),
    )
    try:
        EmailMessage(_("Invitation to Flow Surveys"), "\n".join(lines), to=[invitation.email]).send()
    except OSError as error:
        raise MailFailed("mail-failed") from error


def invitation_open(token: str, now: datetime) -> Invitation | None:
    """Return the invitation of a link; None if it is unknown, used, revoked or expired."""
    return Invitation.objects.filter(
        token_sha256=_digest(token), accepted_at__isnull=True, revoked_at__isnull=True, expires_at__gt=now
    ).first()


@transaction.atomic
def invitation_accept(*, token: str, password: str, now: datetime) -> User | None:
    """Create the user with the chosen password; None if the link is used, also by a concurrent request.

    Raises ServiceError for a weak password, Conflict for a name that exists since the invitation.
    """
    found = invitation_open(token, now)
    if found is None:
        return None
    # One at a time: the later of two requests reads the link as used.
    invitation = Invitation.objects.select_for_update().get(pk=found.pk)
    if invitation.accepted_at is not None or invitation.revoked_at is not None:
        return None
    user = User(
        username=invitation.username, email=invitation.email, role=invitation.role, client=invitation.client
    )
    password_accepted(password, user, field="password")
    if User.objects.filter(username=user.username).exists():
        raise Conflict("conflict/username-of-invitation")
    user.set_password(password)
    user.save(force_insert=True)
    Invitation.objects.filter(pk=invitation.pk).update(accepted_at=now, accepted_by=user)
    audit_write(Action.CREATED, user, by=user, after=record_values(user))
    return user


@transaction.atomic
def invitation_revoke(*, invitation: Invitation, now: datetime) -> None:
    """Revoke an invitation; an accepted invitation is unchanged."""
    if Invitation.objects.filter(pk=invitation.pk, accepted_at__isnull=True, revoked_at__isnull=True).update(
        revoked_at=now
    ):
        audit_write(Action.CHANGED, invitation, before={"revoked_at": None}, after={"revoked_at": now})


def _digest(token: str) -> str:
    # 256 random bits cannot be guessed, so a plain digest is sufficient.
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()
