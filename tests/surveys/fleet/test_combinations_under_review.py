"""Combined results with an affected survey: notice, and effect of each decision."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

import pytest

from surveys.documents.site_summary import site_summary
from surveys.documents.site_year import Year
from surveys.models import (
    Client,
    Combination,
    Notice,
    OutOfToleranceReview,
    Recomputation,
    ReviewedSurvey,
    Survey,
)
from surveys.results.recalculation import recomputation_run
from tests.surveys.branches import Mounting, branch, combined, current_of, logged, mounted
from tests.surveys.fleet.test_out_of_tolerance_reviews import BAD, GOOD, certify
from tests.surveys.scene import Scene, make_scene

pytestmark = pytest.mark.django_db

COMBINATIONS = "/api/v1/combinations/"


@pytest.fixture
def scene(site: Any, cast: Any, kit: Any) -> Scene:
    records = make_scene(site, cast, kit)
    certify(records, date(2026, 9, 1), GOOD)
    return records


@pytest.fixture
def branches(scene: Scene) -> tuple[Combination, list[Survey]]:
    """The sum of two branches surveyed with one meter, which is found 3 % high afterwards."""
    surveys = [logged(mounted(place)) for place in (scene, branch(scene, "West branch"))]
    both = combined(scene, "sum", surveys)
    certify(scene, date(2026, 11, 1), BAD, GOOD)
    return both, surveys


@pytest.fixture
def paths(scene: Scene) -> tuple[Combination, list[Survey]]:
    """Two paths at one point, surveyed with the same meter."""
    first = logged(mounted(scene, Mounting(path_angle_deg=0)))
    second = logged(mounted(scene, Mounting(primary_survey=first, path_angle_deg=90)))
    certify(scene, date(2026, 11, 1), BAD, GOOD)
    return Combination.objects.get(survey=first), [first, second]


def decide(as_user: Any, surveys: Sequence[Survey], decision: str, reason: str = "Looked at it.") -> Any:
    review = OutOfToleranceReview.objects.get()
    assert review.recomputation
    recomputation_run(review.recomputation.pk)
    rows = ReviewedSurvey.objects.filter(review=review, survey__in=surveys)
    decisions = [{"item": str(row.pk), "decision": decision, "reason": reason} for row in rows]
    return as_user("office").post(
        f"/api/v1/out-of-tolerance-reviews/{review.pk}/decisions/", {"decisions": decisions}, format="json"
    )


def notices_of(as_user: Any, combination: Combination) -> list[tuple[str, str]]:
    """Return state and sentence of a combination for the client; the result has the same."""
    owner = as_user("owner")
    shown = owner.get(f"{COMBINATIONS}{combination.pk}/").json()["under_review"]
    [result] = owner.get(f"{COMBINATIONS}{combination.pk}/results/").json()
    assert result["review_notices"] == shown
    return [(one["state"], one["sentence"]) for one in shown]


def test_before_the_decision_a_sum_states_once_that_its_parts_are_under_review(
    branches: tuple[Combination, list[Survey]], as_user: Any
) -> None:
    assert notices_of(as_user, branches[0]) == [
        (
            "under-review",
            "The meter used for Return line, After the bend and West branch, Straight run was found out of tolerance on 2026-11-01. "
            "The combined result uses the affected results and is under review. Do not use the combined result. "
            "We will inform you of the outcome.",
        )
    ]


def test_a_sum_of_surveys_without_review_has_no_notice(scene: Scene, as_user: Any) -> None:
    surveys = [logged(mounted(place)) for place in (scene, branch(scene, "West branch"))]
    assert notices_of(as_user, combined(scene, "sum", surveys)) == []


def test_a_confirmed_part_and_a_withdrawn_part_are_distinguished(
    branches: tuple[Combination, list[Survey]], as_user: Any
) -> None:
    combination, surveys = branches
    decide(as_user, surveys[:1], "confirmed", "Below the threshold.")
    decide(as_user, surveys[1:], "withdrawn", "The meter was dropped.")
    found = dict(notices_of(as_user, combination))
    assert found["confirmed"].startswith("The meter used for Return line, After the bend was")
    assert found["confirmed"].endswith("confirmed (reason: “Below the threshold.”).")
    assert found["withdrawn"].endswith("(reason: “The meter was dropped.”). Do not use the combined result.")


def test_the_client_is_notified_once_of_a_combination_with_a_withdrawn_part(
    branches: tuple[Combination, list[Survey]], as_user: Any
) -> None:
    combination, surveys = branches
    decide(as_user, surveys[:1], "withdrawn", "The meter was dropped.")
    decide(as_user, surveys[1:], "withdrawn", "The same day.")
    # Of each survey, and of the sum when its first part fell.
    assert Notice.objects.filter(kind="withdrawn").count() == 3
    [notice] = (
        as_user("owner").get("/api/v1/notices/", {"combination": str(combination.pk)}).json()["results"]
    )
    assert (notice["kind"], notice["survey"], notice["combination"]) == (
        "withdrawn",
        None,
        str(combination.pk),
    )
    assert (notice["combined_before"], notice["flow_after"]) == (str(current_of(combination).pk), None)
    assert notice["reason"] == (
        "Result withdrawn. The survey 2026-10-06, Return line, After the bend is withdrawn "
        "(reason: “The meter was dropped.”)."
    )


def test_several_parts_withdrawn_at_once_give_one_notice_of_their_combination(
    branches: tuple[Combination, list[Survey]], as_user: Any
) -> None:
    decide(as_user, branches[1], "withdrawn")
    [notice] = Notice.objects.filter(before_combined__isnull=False)
    assert notice.reason["code"] == "parts-withdrawn"
    assert str(notice.reason).count("is withdrawn") == 2


def test_a_retired_combination_gives_no_notice(
    branches: tuple[Combination, list[Survey]], as_user: Any
) -> None:
    Combination.objects.update(retired_at=branches[0].created_at)
    decide(as_user, branches[1], "withdrawn")
    assert not Notice.objects.filter(before_combined__isnull=False).exists()


def test_a_corrected_part_recalculates_the_sum_and_the_client_is_notified(
    branches: tuple[Combination, list[Survey]], as_user: Any
) -> None:
    combination, surveys = branches
    before = current_of(combination)
    # Every change caused by an error found has a notice, however small it is.
    Client.objects.update(notice_threshold=0.9)
    decide(as_user, surveys, "corrected")
    while recomputation_run(Recomputation.objects.get(cause="as-found").pk):
        pass
    after = current_of(combination)
    # By hand: 3 % high everywhere, so the true sum is the indicated over 1.03.
    assert after.volume_flow_m3_s == pytest.approx(before.volume_flow_m3_s / 1.03, rel=1e-6)
    assert Notice.objects.get(after_combined=after).before_combined == before
    shown = as_user("owner").get(f"{COMBINATIONS}{combination.pk}/").json()["under_review"]
    assert [one["state"] for one in shown] == ["corrected"]
    assert "The affected results and the combined result are corrected" in shown[0]["sentence"]


def test_a_corrected_certificate_removes_the_notice(
    branches: tuple[Combination, list[Survey]], scene: Scene, as_user: Any
) -> None:
    certify(scene, date(2026, 11, 1), GOOD, corrects=OutOfToleranceReview.objects.get().calibration)
    shown = as_user("owner").get(f"{COMBINATIONS}{branches[0].pk}/").json()
    assert shown["under_review"] == []


def test_the_review_lists_the_combinations_of_each_survey(
    branches: tuple[Combination, list[Survey]], as_user: Any, client: Any, cast: Any
) -> None:
    address = f"/api/v1/out-of-tolerance-reviews/{OutOfToleranceReview.objects.get().pk}/surveys/"
    rows = as_user("office").get(address).json()["results"]
    assert [row["combinations"] for row in rows] == [[str(branches[0].pk)]] * 2
    client.force_login(cast.calibration_admin)
    page = client.get(
        f"/fleet/out-of-tolerance-reviews/{OutOfToleranceReview.objects.get().pk}/"
    ).content.decode()
    assert page.count("Both (sum)") == 2


def test_the_mean_of_paths_shows_the_review_of_the_other_path_on_each_page_and_in_the_history(
    paths: tuple[Combination, list[Survey]], as_user: Any, client: Any, cast: Any, scene: Scene
) -> None:
    first, second = paths[1]
    decide(as_user, [second], "withdrawn", "The rail had slipped.")
    client.force_login(cast.owner)
    page = client.get(f"/surveys/{first.pk}/").content.decode()
    assert "The meter used for path 2 was found out of tolerance" in page
    assert "(reason: “The rail had slipped.”). Do not use the mean of the paths." in page
    other = client.get(f"/surveys/{second.pk}/").content.decode()
    assert "The mean of the paths uses the affected results and is under review" in other
    assert "Do not use the mean of the paths" in client.get(f"/points/{scene.point.pk}/").content.decode()
    [row] = client.get(f"/points/{scene.point.pk}/history.csv").content.decode().splitlines()[1:]
    assert row.endswith(",2,true")


def test_a_report_carries_the_notice_of_another_path_until_it_is_issued_again(
    paths: tuple[Combination, list[Survey]], as_user: Any
) -> None:
    first, second = paths[1]
    decide(as_user, [first], "confirmed", "Below the threshold.")
    address = f"/api/v1/surveys/{first.pk}/reports/"
    assert as_user("office").post(address, {}).status_code == 201
    decide(as_user, [second], "withdrawn", "The rail had slipped.")
    [report] = as_user("owner").get(address).json()
    assert report["outdated"]
    again = as_user("office").post(address, {"reason": "A path was withdrawn."})
    assert again.status_code == 201
    assert as_user("office").post(address, {"reason": "x"}).json()["code"] == "nothing-changed"


def test_the_site_summary_shows_the_review_before_any_result(
    branches: tuple[Combination, list[Survey]], scene: Scene, as_user: Any
) -> None:
    decide(as_user, branches[1][1:], "withdrawn", "The meter was dropped.")
    pdf = site_summary(Year(scene.pipe.site, 2026, scene.cast.owner), "metric", "https://x.example/")
    callouts = [block for block in pdf.blocks if block["type"] == "callout" and "Both" in block["label"]]
    assert [block["severity"] for block in callouts] == ["error", "error"]
    [row] = next(b for b in pdf.blocks if b["type"] == "table" and "Combination" in b["head"])["rows"]
    assert row[3].endswith(", withdrawn")
