"""Users of the demo."""

from __future__ import annotations

import secrets
from dataclasses import dataclass

from django.utils import timezone

from surveys.commands.demo import scenario
from surveys.models import Client, Role, Scope, User
from surveys.services.people.tokens import SIGN_IN_LIFE, token_make, tokens_end


@dataclass(frozen=True, slots=True)
class Cast:
    """Users of the demo with their passwords."""

    users: dict[str, User]
    passwords: dict[str, str]


def make_cast() -> Cast:
    """Create a user for each role; set a new password on each run."""
    client, _ = Client.objects.get_or_create(name=scenario.CLIENT)
    other, _ = Client.objects.get_or_create(name=scenario.OTHER_CLIENT)
    wanted = {
        "client": (Role.CLIENT, client),
        "other-client": (Role.CLIENT, other),
        "technician": (Role.TECHNICIAN, None),
        "office": (Role.OFFICE, None),
        "calibration-admin": (Role.CALIBRATION_ADMIN, None),
        "administrator": (Role.ADMINISTRATOR, None),
    }
    users, passwords = {}, {}
    for name, (role, organisation) in wanted.items():
        user, _ = User.objects.get_or_create(username=name, defaults={"role": role, "client": organisation})
        passwords[name] = secrets.token_urlsafe(9)
        user.set_password(passwords[name])
        user.is_staff = user.is_superuser = role == Role.ADMINISTRATOR
        user.save(update_fields=["password", "is_staff", "is_superuser"])
        users[name] = user
    return Cast(users, passwords)


def make_tokens(cast: Cast) -> dict[str, str]:
    """Create a token for each user; revoke the tokens of earlier runs."""
    tokens = {}
    for name, user in cast.users.items():
        tokens_end(user=user, now=timezone.now())
        _, tokens[name] = token_make(user=user, name="demo", scope=Scope.WRITE, life=SIGN_IN_LIFE)
    return tokens
