"""Who gets the calibration admin's pages."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client as Visitor

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    "part", ["due/", "out-of-tolerance-reviews/", "instruments/{}/", "instruments/{}/certificate/"]
)
def test_only_who_looks_after_the_fleet_opens_them(cast: Any, kit: Any, part: str) -> None:
    address = f"/fleet/{part.format(kit.meter.pk)}"
    answers = {}
    for name in ("owner", "technician", "office", "calibration_admin", "administrator"):
        visitor = Visitor()
        visitor.force_login(getattr(cast, name))
        answers[name] = visitor.get(address).status_code
    assert answers == {
        "owner": 404, "technician": 404, "office": 404, "calibration_admin": 200, "administrator": 200,
    }  # fmt: skip
    assert Visitor().get(address).status_code == 302


def test_a_kind_there_is_not_is_not_found(cast: Any) -> None:
    visitor = Visitor()
    visitor.force_login(cast.calibration_admin)
    assert visitor.get("/fleet/due/?kind=ruler").status_code == 404
