"""Common fixtures: users, and the records of an invented scenario."""

from __future__ import annotations

from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import pytest
from django.utils import timezone
from hypothesis import HealthCheck
from hypothesis import settings as hypothesis_settings
from rest_framework.test import APIClient

from surveys.commands.demo import scenario
from surveys.commands.demo.records import make_kit
from surveys.models import Client, Role, Site, User
from tests.surveys.scene import Scene, make_scene

# No property test depends on the speed of the machine.
hypothesis_settings.register_profile(
    "untimed", deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
hypothesis_settings.load_profile("untimed")


def person(name: str, role: str, client: Client | None = None) -> User:
    return User.objects.create_user(
        username=name, password="a long enough password", role=role, client=client
    )


@pytest.fixture
def cast(db: Any) -> SimpleNamespace:
    """Return the users: owner and colleague belong to one client, stranger to another; nobody is not signed in."""
    ours = Client.objects.create(name="Aldervale Heat Cooperative")
    theirs = Client.objects.create(name="Brackwater Mills")
    return SimpleNamespace(
        client=ours,
        other_client=theirs,
        owner=person("owner", Role.CLIENT, ours),
        colleague=person("colleague", Role.CLIENT, ours),
        stranger=person("stranger", Role.CLIENT, theirs),
        technician=person("technician", Role.TECHNICIAN),
        office=person("office", Role.OFFICE),
        calibration_admin=person("calibration-admin", Role.CALIBRATION_ADMIN),
        administrator=person("administrator", Role.ADMINISTRATOR),
    )


@pytest.fixture
def as_user(cast: SimpleNamespace) -> Callable[[str], APIClient]:
    """Return an API client signed in as one of the users; `nobody` is not signed in."""

    def sign_in(name: str) -> APIClient:
        api = APIClient()
        if name != "nobody":
            api.force_authenticate(getattr(cast, name))
        return api

    return sign_in


@pytest.fixture
def kit(cast: SimpleNamespace) -> Any:
    """Create a meter, a transducer pair and a thickness gauge in calibration."""
    return make_kit(cast.calibration_admin, timezone.now())


@pytest.fixture
def site(cast: SimpleNamespace) -> Site:
    return Site.objects.create(client=cast.client, name=scenario.SITE, time_zone=scenario.TIME_ZONE)


@pytest.fixture
def scene(site: Site, cast: SimpleNamespace, kit: Any) -> Scene:
    """Create a pipe with its data and a measuring point."""
    return make_scene(site, cast, kit)


@pytest.fixture
def log_bytes() -> bytes:
    """Return the demo's log from the fixtures."""
    return scenario.LOG_FILE.read_bytes()
