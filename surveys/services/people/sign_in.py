"""Sign-in with name, password and second factor, and changes of these."""

from __future__ import annotations

import hashlib
import secrets
from base64 import b32encode
from datetime import datetime

from django.conf import settings
from django.contrib.auth import authenticate
from django.contrib.auth.backends import ModelBackend
from django.contrib.auth.password_validation import validate_password
from django.contrib.auth.signals import user_login_failed
from django.core.exceptions import ValidationError
from django.db import transaction
from django.http import HttpRequest
from django_otp.plugins.otp_totp.models import TOTPDevice

from compute.base.messages import term
from surveys.core.errors import Conflict, ServiceError
from surveys.models import RecoveryCode, Role, User
from surveys.models.audit import Action
from surveys.services.audit import audit_write
from surveys.services.people.tokens import tokens_end

RECOVERY_CODES = 10


class SignInRejected(ServiceError):
    """The credentials are not valid (401)."""

    status = 401


class PeopleBackend(ModelBackend):
    """Authentication by password, of people only; service accounts cannot sign in with a password."""

    def user_can_authenticate(self, user: User | None) -> bool:  # type: ignore[override]
        return super().user_can_authenticate(user) and not getattr(user, "is_service_account", False)


def credentials_check(
    request: HttpRequest, *, username: str, password: str, one_time_code: str, now: datetime
) -> User:
    """Return the user with these credentials; raises SignInRejected, the same for a wrong name and a wrong password.

    The middleware of the lock responds for a locked name, whatever is raised here.
    """
    user = password_check(request, username=username, password=password)
    if second_factor_of(user) is not None:
        if not one_time_code:
            raise SignInRejected("one-time-code-needed", field="one_time_code")
        if not _code_fits(user, one_time_code, now):
            user_login_failed.send(__name__, credentials={"username": username}, request=request)
            _failed(request, username)
            raise SignInRejected("one-time-code-wrong", field="one_time_code")
    audit_write(Action.SIGNED_IN, user, by=user)
    return user


def password_check(request: HttpRequest, *, username: str, password: str) -> User:
    """Return the user with that name and password; a failure counts towards the lock."""
    user = authenticate(request, username=username, password=password)
    if not isinstance(user, User):
        _failed(request, username)
        raise SignInRejected("sign-in-failed")
    return user


def _failed(request: HttpRequest, username: str) -> None:
    """Record a failed sign-in in the audit log; not again while the name is locked. The entered name may contain a secret and is not stored."""
    counted = getattr(request, "axes_failures_since_start", None) is not None
    # Also evaluated for an unknown name, so that both take the same time.
    known = User.objects.filter(username=username).first()
    if counted:
        locked = getattr(request, "axes_locked_out", False)
        audit_write(Action.LOCKED_OUT if locked else Action.SIGN_IN_FAILED, known, record_type="user")


@transaction.atomic
def password_change(*, user: User, new: str, now: datetime) -> None:
    """Set a new password; every token and session of the user ends. Raises ServiceError if it is too weak."""
    password_accepted(new, user, field="new_password")
    if user.is_service_account:
        raise Conflict("service-account")
    user.set_password(new)
    # A session carries a digest of the password, so it ends with the password.
    user.save(update_fields=["password"])
    tokens_end(user=user, now=now)
    audit_write(Action.PASSWORD_CHANGED, user)


def password_accepted(password: str, user: User, *, field: str) -> None:
    """Check a new password by the rules of the settings. Raises ServiceError naming the rules it does not meet."""
    try:
        validate_password(password, user)
    except ValidationError as error:
        found = error.error_list
        rules = [term(str(one.code).replace("_", "-")) for one in found]
        limits = (one.params["min_length"] for one in found if one.params and "min_length" in one.params)
        raise ServiceError("password-weak", field=field, rules=rules, min_length=next(limits, None)) from None


def second_factor_of(user: User) -> TOTPDevice | None:
    """Return the confirmed second factor of a user."""
    return TOTPDevice.objects.filter(user=user, confirmed=True).first()


def second_factor_begun(user: User) -> TOTPDevice | None:
    """Return the unconfirmed second factor of a user."""
    return TOTPDevice.objects.filter(user=user, confirmed=False).first()


def second_factor_enrolment_required(user: User) -> bool:
    """Whether a user has to enrol a second factor before doing anything else."""
    if not settings.SECOND_FACTOR_REQUIRED or user.role == Role.CLIENT or user.is_service_account:
        return False
    return second_factor_of(user) is None


@transaction.atomic
def second_factor_begin(*, user: User) -> TOTPDevice:
    """Create a secret for the user's authenticator app, to be confirmed with a code; an unconfirmed secret is replaced."""
    if second_factor_of(user) is not None:
        raise Conflict("second-factor-exists")
    TOTPDevice.objects.filter(user=user).delete()
    return TOTPDevice.objects.create(user=user, name="authenticator", confirmed=False)


@transaction.atomic
def second_factor_confirm(*, user: User, one_time_code: str) -> list[str]:
    """Confirm the second factor; returns the recovery codes, which are not stored."""
    device = TOTPDevice.objects.select_for_update().filter(user=user, confirmed=False).first()
    if device is None:
        raise Conflict("second-factor-not-begun")
    if not device.verify_token(one_time_code):
        raise ServiceError("one-time-code-wrong", field="one_time_code")
    device.confirmed = True
    device.save(update_fields=["confirmed"])
    codes = [b32encode(secrets.token_bytes(10)).decode().lower() for _ in range(RECOVERY_CODES)]
    RecoveryCode.objects.filter(user=user).delete()
    RecoveryCode.objects.bulk_create(RecoveryCode(user=user, code_sha256=_digest(code)) for code in codes)
    audit_write(Action.SECOND_FACTOR_CHANGED, user, after={"second_factor": True})
    return codes


@transaction.atomic
def second_factor_remove(*, user: User) -> None:
    """Remove the second factor and its recovery codes."""
    if TOTPDevice.objects.filter(user=user).delete()[0]:
        audit_write(Action.SECOND_FACTOR_CHANGED, user, after={"second_factor": False})
    RecoveryCode.objects.filter(user=user).delete()


@transaction.atomic
def _code_fits(user: User, code: str, now: datetime) -> bool:
    """Return whether a code is the current code or an unused recovery code; each is accepted once."""
    unused = RecoveryCode.objects.filter(
        user=user, code_sha256=_digest(code.strip().lower()), used_at__isnull=True
    )
    if unused.update(used_at=now):
        return True
    device = TOTPDevice.objects.select_for_update().filter(user=user, confirmed=True).first()
    return device is not None and device.verify_token(code)


def _digest(code: str) -> str:
    # 80 random bits cannot be guessed, so a plain digest is sufficient.
    return hashlib.sha256(code.encode("utf-8", "replace")).hexdigest()
