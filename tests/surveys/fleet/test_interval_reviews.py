"""Calibration intervals proposed from calibrations, and the decision on them."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest
from defusedxml import ElementTree
from django.db import IntegrityError, transaction
from django.utils import timezone

from compute.calibration.decision_rules import DecisionRule, PermissibleError
from compute.calibration.points import Point
from surveys.calibration.due_list import due_list
from surveys.models import Calibration, Instrument, IntervalPolicy, IntervalReview
from surveys.models.calibration import Moment
from surveys.services.fleet.calibrations import (
    CertificateContent,
    CertificatePoint,
    Limits,
    calibration_record,
    policy_record,
)

pytestmark = pytest.mark.django_db

LIMITS = Limits(PermissibleError(absolute=1e-4), DecisionRule("simple-acceptance"))
PATH = "/api/v1/interval-reviews/"


def found(cast: Any, gauge: Instrument, on: date, error: float, days: int = 360) -> Calibration:
    """Return a certificate with an error of the gauge at 10 mm; the maximum permissible error is 0.1 mm."""
    point = Point(0.010, 0.010 + error, 2e-5, 2.0)
    return calibration_record(
        calibration=Calibration(
            instrument=gauge,
            certificate=f"HR-{on}",
            laboratory="Harbour Row Calibration",
            calibrated_on=on,
            due_on=on + timedelta(days=days),
        ),
        content=CertificateContent([CertificatePoint(Moment.AS_FOUND, point)], LIMITS),
        by=cast.calibration_admin,
        now=timezone.now(),
    )[0]


def review(as_user: Any, gauge: Instrument, method: str, who: str = "calibration_admin", **also: Any) -> Any:
    return as_user(who).post(PATH, {"instrument": str(gauge.pk), "method": method, **also})


@pytest.fixture
def gauge(db: Any) -> Instrument:
    return Instrument.objects.create(kind="thickness-gauge", type_name="Wall gauge", serial="G-9")


@pytest.fixture
def drifting(cast: Any, gauge: Instrument) -> Instrument:
    """0.01 mm a year in steps of a year: 0.01, 0.02, 0.03 mm."""
    for n in range(1, 5):
        found(cast, gauge, date(2021 + n, 10, 1), n * 1e-5)
    return gauge


def test_the_staircase_lengthens_the_interval_by_a_quarter_after_small_errors(
    as_user: Any, cast: Any, gauge: Instrument
) -> None:
    found(cast, gauge, date(2025, 10, 1), 5e-5)
    proposed = review(as_user, gauge, "staircase").json()
    # By hand: half of the permissible error, 360 days x 1.25.
    assert (proposed["current_days"], proposed["proposed_days"]) == (360, 450)
    assert proposed["reasoning"][0]["parameters"]["fraction"] == pytest.approx(0.5)


def test_the_staircase_halves_the_interval_after_an_out_of_tolerance_finding(
    as_user: Any, cast: Any, gauge: Instrument
) -> None:
    found(cast, gauge, date(2025, 10, 1), 2e-4)
    assert review(as_user, gauge, "staircase").json()["proposed_days"] == 180


def test_the_control_chart_ends_where_the_drift_meets_the_limit(as_user: Any, drifting: Instrument) -> None:
    proposed = review(as_user, drifting, "control-chart", max_days=9000).json()
    # By hand: 0.04 mm now, 0.01 mm a year, 0.1 mm less the certificate's 0.0196 mm at 95 %: some four years; no scatter about the line.
    assert proposed["proposed_days"] == pytest.approx(4.04 * 365.25, rel=0.02)


def test_time_in_use_proposes_hours_with_the_calendar_as_a_limit(
    as_user: Any, cast: Any, kit: Any, site: Any
) -> None:
    from tests.surveys.scene import make_scene

    scene = make_scene(site, cast, kit)
    scene.survey()
    point = Point(1.0, 1.002, 0.002, 2.0)
    calibration_record(
        calibration=Calibration(
            instrument=kit.meter,
            certificate="HR-U",
            laboratory="Harbour Row",
            calibrated_on=date(2026, 11, 1),
            due_on=date(2027, 11, 1),
        ),
        content=CertificateContent(
            [CertificatePoint(Moment.AS_FOUND, point)],
            Limits(PermissibleError(relative=0.01), DecisionRule("simple-acceptance")),
        ),
        by=cast.calibration_admin,
        now=timezone.now(),
    )
    answer = review(as_user, kit.meter, "in-use-time", min_hours=0.001, max_hours=100.0)
    assert answer.status_code == 201
    # 79 s of log, found at a fifth of the limit: 0.0219 h x 1.25.
    assert answer.json()["proposed_hours"] == pytest.approx(79 / 3600 * 1.25, rel=1e-6)


def test_the_reliability_of_a_type_needs_five_results(as_user: Any, cast: Any, drifting: Instrument) -> None:
    answer = review(as_user, drifting, "reliability")
    assert (answer.status_code, answer.json()["errors"][0]["code"]) == (400, "not-enough-data")
    found(cast, drifting, date(2026, 10, 1), 5e-5)
    # None out of five: the share counts as 0.5^(1/5) = 0.8706; ln 0.9 / ln 0.8706 = 0.76, and it is not shortened.
    assert review(as_user, drifting, "reliability").json()["proposed_days"] == 360


def test_without_a_calibration_there_is_nothing_to_review(as_user: Any, gauge: Instrument) -> None:
    answer = review(as_user, gauge, "staircase")
    assert (answer.status_code, answer.json()["errors"][0]["field"]) == (400, "instrument")
    assert not IntervalReview.objects.exists()


def test_an_accepted_interval_sets_the_due_date_of_later_certificates_only(
    as_user: Any, cast: Any, gauge: Instrument
) -> None:
    records = found(cast, gauge, date(2026, 9, 1), 5e-5)
    proposed = review(as_user, gauge, "staircase").json()
    body = {"decision": "accepted", "reason": "Three good ones in a row."}
    accepted = as_user("calibration_admin").post(f"{PATH}{proposed['id']}/decision/", body)
    assert accepted.status_code == 200
    policy = IntervalPolicy.objects.get(pk=accepted.json()["interval_policy"])
    assert policy.days == 450
    assert policy.reason["code"] == "interval-review-accepted"
    shown = as_user("calibration_admin").get(f"/api/v1/interval-policies/{policy.pk}/").json()
    on = IntervalReview.objects.get(pk=proposed["id"]).calculated_at.date()
    assert shown["reason"] == f"Interval review of {on} (reason: “Three good ones in a row.”)."
    records.refresh_from_db()
    assert records.due_on == date(2026, 9, 1) + timedelta(days=360)
    later, _ = calibration_record(
        calibration=Calibration(
            instrument=gauge,
            certificate="HR-N",
            laboratory="Harbour Row",
            calibrated_on=date(2026, 11, 1),
            due_on=None,
        ),
        by=cast.calibration_admin,
        now=timezone.now(),
    )
    assert later.due_on == date(2026, 11, 1) + timedelta(days=450)


def test_a_longer_policy_of_hours_does_not_extend_a_certificate_in_force(
    cast: Any, kit: Any, site: Any
) -> None:
    from tests.surveys.scene import make_scene

    by = cast.calibration_admin
    early = datetime(2026, 1, 1, tzinfo=UTC)
    policy_record(IntervalPolicy(kind="meter", months=12, hours=0.01), by=by, now=early)
    make_scene(site, cast, kit).survey()
    today = date(2026, 11, 1)

    def due() -> date | None:
        return next(row.due_on for row in due_list(cast.office, today) if row.instrument == kit.meter)

    ran_out = due()
    assert ran_out == date(2026, 10, 6)
    policy_record(
        IntervalPolicy(instrument=kit.meter, months=24), by=by, now=timezone.now() + timedelta(minutes=1)
    )
    assert due() == ran_out


def test_a_rejection_stores_its_reason_and_creates_no_policy(as_user: Any, drifting: Instrument) -> None:
    proposed = review(as_user, drifting, "staircase").json()
    address = f"{PATH}{proposed['id']}/decision/"
    assert (
        as_user("calibration_admin").post(address, {"decision": "rejected", "reason": ""}).status_code == 400
    )
    body = {"decision": "rejected", "reason": "A new probe is on it."}
    rejected = as_user("calibration_admin").post(address, body).json()
    assert (rejected["decision"], rejected["reason"]) == ("rejected", "A new probe is on it.")
    assert not IntervalPolicy.objects.exists()
    again = as_user("calibration_admin").post(address, body)
    assert (again.status_code, again.json()["code"]) == (409, "already-decided")
    with pytest.raises(IntegrityError), transaction.atomic():
        IntervalReview.objects.update(reason="")


@pytest.mark.parametrize("method", ["staircase", "control-chart", "reliability"])
def test_the_chart_is_a_drawing_with_a_title(
    as_user: Any, cast: Any, drifting: Instrument, method: str
) -> None:
    found(cast, drifting, date(2026, 10, 1), 5e-5)
    proposed = review(as_user, drifting, method).json()
    svg = as_user("office").get(f"{PATH}{proposed['id']}/chart.svg")
    assert svg["Content-Type"] == "image/svg+xml"
    root = ElementTree.fromstring(svg.content)
    title = root.find("{http://www.w3.org/2000/svg}title")
    assert title is not None
    assert "As-found result" in str(title.text)


@pytest.mark.parametrize(
    ("who", "status"), [("office", 403), ("technician", 403), ("owner", 403), ("nobody", 401)]
)
def test_who_keeps_the_fleet_reviews_it(as_user: Any, drifting: Instrument, who: str, status: int) -> None:
    assert review(as_user, drifting, "staircase", who).status_code == status
