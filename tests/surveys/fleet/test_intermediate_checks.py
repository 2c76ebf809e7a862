"""Checks between calibrations: within, warning, out; out of limits the instrument is quarantined."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import IntegrityError, transaction

from surveys.models import Instrument, IntermediateCheck

pytestmark = pytest.mark.django_db

AT = "2026-10-05T08:00:00Z"
ZERO_LIMITS = {"warning": "0.5 ns", "action": "1 ns"}
BLOCK_LIMITS = {"warning": "0.05 mm", "action": "0.1 mm"}


def check(as_user: Any, instrument: Instrument, who: str = "technician", **body: Any) -> Any:
    return as_user(who).post(
        f"/api/v1/instruments/{instrument.pk}/intermediate-checks/", {"performed_at": AT, **body}
    )


def zero(values: list[float]) -> dict[str, Any]:
    return {
        "kind": "zero-flow",
        "limits": ZERO_LIMITS,
        "time_differences": [f"{value} ns" for value in values],
    }


def block(*shown: str, at: str = AT) -> dict[str, Any]:
    steps = [{"certified": "10 mm", "standard_uncertainty": "0.001 mm", "readings": list(shown)}]
    return {
        "kind": "step-block",
        "limits": BLOCK_LIMITS,
        "steps": steps,
        "resolution": "0.01 mm",
        "performed_at": at,
    }


def state(instrument: Instrument) -> str:
    return str(Instrument.objects.values_list("state", flat=True).get(pk=instrument.pk))


def test_a_zero_within_its_limits_changes_nothing(as_user: Any, kit: Any) -> None:
    answer = check(as_user, kit.meter, **zero([0.1, -0.1] * 10))
    assert (answer.status_code, answer.json()["outcome"]) == (201, "within")
    assert answer.json()["deviation"]["value"] == pytest.approx(0.0, abs=1e-9)
    assert state(kit.meter) == "in-service"


def test_a_thickness_gauge_outside_its_step_block_limit_is_quarantined_with_the_reason(
    as_user: Any, kit: Any
) -> None:
    answer = check(as_user, kit.gauge, **block("10.15 mm", "10.15 mm"))
    assert answer.json()["outcome"] == "out"
    assert answer.json()["deviation"]["value"] == pytest.approx(0.15)
    assert answer.json()["instrument_state"] == "quarantined"
    change = as_user("office").get(f"/api/v1/instruments/{kit.gauge.pk}/status-changes/").json()[0]
    assert "The check of 2026-10-05 is out of limits." in change["reason"]


def test_a_check_out_of_limits_of_a_quarantined_instrument_is_stored(as_user: Any, kit: Any) -> None:
    for _ in range(2):
        assert check(as_user, kit.gauge, **block("10.15 mm")).status_code == 201
    assert IntermediateCheck.objects.count() == 2


def test_between_warning_and_action_limit_an_instrument_stays_in_use(as_user: Any, kit: Any) -> None:
    assert check(as_user, kit.gauge, **block("10.07 mm")).json()["outcome"] == "warning"
    assert state(kit.gauge) == "in-service"


def two(first: str, second: str, other: Instrument) -> dict[str, Any]:
    uncertainty = "1 m3/h"
    return {
        "kind": "two-meters",
        "other_instrument": str(other.pk),
        "reading": {"value": first, "standard_uncertainty": uncertainty},
        "other_reading": {"value": second, "standard_uncertainty": uncertainty},
    }


@pytest.fixture
def other_meter(kit: Any) -> Instrument:
    return Instrument.objects.create(kind="meter", type_name="Portable", serial="M-2")


def test_two_meters_that_agree_have_a_small_en_number(
    as_user: Any, kit: Any, other_meter: Instrument
) -> None:
    answer = check(as_user, kit.meter, **two("100 m3/h", "102 m3/h", other_meter)).json()
    # By hand: 2 over sqrt(2) is zeta 1.41, En 0.71.
    assert answer["outcome"] == "within"
    assert answer["sentences"][0]["parameters"]["en_number"] == pytest.approx(-0.71, abs=0.005)


def test_of_two_meters_that_disagree_both_are_withheld(
    as_user: Any, kit: Any, other_meter: Instrument
) -> None:
    assert check(as_user, kit.meter, **two("100 m3/h", "110 m3/h", other_meter)).json()["outcome"] == "out"
    assert (state(kit.meter), state(other_meter)) == ("quarantined", "quarantined")
    change = as_user("office").get(f"/api/v1/instruments/{other_meter.pk}/status-changes/").json()[0]
    assert "It is not known which of the two meters is wrong" in change["reason"]


def test_the_trend_is_reported_from_the_third_check_on(as_user: Any, kit: Any) -> None:
    address = f"/api/v1/instruments/{kit.gauge.pk}/intermediate-checks/"
    for month, shown in (("07", "10.01 mm"), ("08", "10.02 mm"), ("09", "10.03 mm"), ("10", "10.04 mm")):
        check(as_user, kit.gauge, **block(shown, at=f"2026-{month}-01T08:00:00Z"))
    found = as_user("office").get(address).json()[0]
    assert found["trend"]["significant"]
    # 0.01 mm a month: some half a year from 0.04 to 0.1 mm.
    assert found["trend"]["days_to_action"] == pytest.approx(183, abs=8)
    assert len(found["checks"]) == 4


def test_a_check_entered_wrongly_is_corrected_by_another(as_user: Any, kit: Any) -> None:
    wrong = check(as_user, kit.gauge, **block("10.50 mm")).json()["id"]
    right = check(as_user, kit.gauge, **block("10.05 mm"), corrects=wrong, reason="Misread.")
    assert right.status_code == 201
    found = as_user("office").get(f"/api/v1/instruments/{kit.gauge.pk}/intermediate-checks/").json()[0]
    assert [one["id"] for one in found["checks"]] == [right.json()["id"]]
    again = check(as_user, kit.gauge, **block("10.05 mm"), corrects=wrong, reason="Again.")
    assert (again.status_code, again.json()["code"]) == (409, "already-corrected")
    with pytest.raises(IntegrityError), transaction.atomic():
        IntermediateCheck.objects.filter(pk=wrong).update(note="x")


@pytest.mark.parametrize(
    ("instrument", "changes", "field"),
    [
        ("meter", block("10.05 mm"), "kind"),
        ("gauge", zero([0.0] * 10), "kind"),
        ("gauge", block("10.05 mm") | {"performed_at": "2099-01-01T00:00:00Z"}, "performed_at"),
        ("gauge", block("10.05 mm") | {"limits": {"warning": "1 ns", "action": "2 ns"}}, "limits.warning"),
        ("gauge", block("10.05 mm") | {"limits": {"warning": "2 mm", "action": "1 mm"}}, "limits"),
        ("gauge", block("10.05 mm") | {"time_differences": ["1 ns"] * 8}, "time_differences"),
        ("gauge", {"kind": "step-block", "limits": BLOCK_LIMITS}, "steps"),
        ("meter", zero([0.1] * 7), "time_differences"),
    ],
)
def test_invalid_input_is_rejected_and_not_stored(
    as_user: Any, kit: Any, instrument: str, changes: dict[str, Any], field: str
) -> None:
    answer = check(as_user, getattr(kit, instrument), **changes)
    assert answer.status_code == 400
    assert field in answer.json()["errors"][0]["field"]
    assert not IntermediateCheck.objects.exists()


@pytest.mark.parametrize(("who", "status"), [("owner", 403), ("nobody", 401), ("office", 201)])
def test_who_may_check(as_user: Any, kit: Any, who: str, status: int) -> None:
    assert check(as_user, kit.meter, who, **zero([0.1, -0.1] * 10)).status_code == status
