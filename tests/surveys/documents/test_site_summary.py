"""Site summary of a year: content, access, and the same bytes until a record changes."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from surveys.documents.formatting import flow_with_uncertainty
from surveys.documents.pdf import PdfDocument
from surveys.documents.site_summary import site_summary
from surveys.documents.site_year import Year
from surveys.models import Client, Combination, Job, MeasuringPoint, OutOfToleranceReview, Recomputation
from surveys.results.recalculation import recomputation_run
from tests.surveys.branches import Mounting, branch, combined, current_of, logged, mounted
from tests.surveys.fleet.test_out_of_tolerance_reviews import BAD, GOOD, certify, decide
from tests.surveys.scene import Scene

pytestmark = pytest.mark.django_db

LAST_YEAR, SPRING, AUTUMN = (
    datetime(*day, 8, tzinfo=UTC) for day in ((2025, 9, 2), (2026, 4, 7), (2026, 10, 6))
)


def summary(scene: Scene, year: int = 2026, who: str = "owner") -> PdfDocument:
    return site_summary(Year(scene.pipe.site, year, getattr(scene.cast, who)), "metric", "https://x.example/")


def section(pdf: PdfDocument, title: str) -> list[dict[str, Any]]:
    """The blocks beneath a heading that begins so; none if it is not there."""
    found, within = [], False
    for block in pdf.blocks:
        if block["type"] == "heading":
            within = block["text"].startswith(title)
        elif within:
            found.append(block)
    return found


def results(pdf: PdfDocument) -> list[list[str]]:
    return [list(row) for row in section(pdf, "Results of")[0]["rows"]]


def address(scene: Scene, year: object) -> str:
    return f"/api/v1/sites/{scene.pipe.site_id}/summary.pdf?year={year}"


def test_each_survey_of_the_year_has_its_result_and_the_change_since_the_previous_one(
    scene: Scene,
) -> None:
    scene.survey(LAST_YEAR)
    scene.survey(SPRING)
    scene.survey(AUTUMN, time_difference=340)
    spring, autumn = results(summary(scene))
    assert spring[:2] == ["Return line, After the bend", "2026-04-07"]
    assert "±" in spring[2]
    # Rectangular inputs make the factor a little smaller than that of a normal distribution.
    assert 1.9 < float(spring[3]) <= 1.96
    # Twice the time difference is about twice the flow: far more than any uncertainty explains.
    assert ", significant (uncertainty ±" in autumn[4]
    assert spring[4] == "no change"
    assert "The flow changed significantly since the previous survey at: Return line" in str(
        summary(scene).blocks
    )


def test_surveys_of_later_years_do_not_show(scene: Scene) -> None:
    scene.survey(LAST_YEAR)
    before = summary(scene, 2025)
    scene.survey(AUTUMN)
    assert (before.blocks, before.drawings) == (summary(scene, 2025).blocks, summary(scene, 2025).drawings)


def test_a_year_begins_and_ends_by_the_clock_of_the_site(scene: Scene) -> None:
    # In Copenhagen it is the new year already.
    scene.survey(datetime(2025, 12, 31, 23, 30, tzinfo=UTC))
    assert results(summary(scene))[0][1] == "2026-01-01"
    assert results(summary(scene, 2025))[0][1] == "none in 2025"


def test_changed_results_name_the_replaced_result_and_the_reason(scene: Scene) -> None:
    survey = scene.survey(AUTUMN)
    recomputation_run(scene.correct(0.008, reason="The wall was gauged.").pk)
    told_in = survey.results.get(replaced_at=None).notice.created_at.year
    (table,) = section(summary(scene, told_in), "Changed results")
    assert table["head"][1] == "Superseded"
    ((figure, before, after, _, why),) = table["rows"]
    assert "Return line, After the bend" in figure
    assert before != after
    assert "The wall was gauged." in why
    assert results(summary(scene))[0][2] == after


def test_a_result_under_review_is_shown_first_and_a_withdrawn_one_is_not_compared(
    scene: Scene, as_user: Any
) -> None:
    certify(scene, date(2026, 9, 1), GOOD)
    scene.survey(AUTUMN)
    certify(scene, date(2026, 11, 1), BAD, GOOD)
    pdf = summary(scene)
    first = next(block for block in pdf.blocks if block["type"] in ("callout", "heading"))
    assert (first["severity"], "under review" in first["text"]) == ("error", True)
    assert results(pdf)[0][2].endswith("under review")
    decide(as_user, OutOfToleranceReview.objects.get(), "withdrawn")
    assert results(summary(scene))[0][4] == "withdrawn, not compared"


def test_a_finding_on_several_surveys_is_shown_once(scene: Scene) -> None:
    MeasuringPoint.objects.filter(pk=scene.point.pk).update(
        orientation="horizontal", mounting="top-or-bottom"
    )
    scene.point.refresh_from_db()
    scene.survey(SPRING)
    scene.survey(AUTUMN)
    found = [
        one
        for one in section(summary(scene), "Findings that")
        if one["label"] == "Transducers at the top or bottom"
    ]
    assert len(found) == 1
    assert "(2026-04-07)" in found[0]["text"]
    assert "(2026-10-06)" in found[0]["text"]


def test_instruments_are_shown_with_the_certificate_of_the_day(scene: Scene) -> None:
    scene.survey(SPRING)
    certify(scene, date(2026, 9, 1), GOOD)
    scene.survey(AUTUMN)
    rows = section(summary(scene), "Instruments")[0]["rows"]
    assert [(row[2], row[5]) for row in rows if row[1] == "M-0412"] == [
        ("C-M-0412", "2026-04-07"),
        ("HR-2026-09-01", "2026-10-06"),
    ]


def test_a_planned_visit_is_named_and_without_one_nothing_is_suggested(scene: Scene) -> None:
    scene.survey(AUTUMN)
    assert not section(summary(scene), "Planned visits")
    job = Job.objects.create(
        site=scene.pipe.site, title="Second round", state="planned", starts_at=datetime(2027, 3, 1, 8, tzinfo=UTC),
        ends_at=datetime(2027, 3, 1, 12, tzinfo=UTC),
    )  # fmt: skip
    job.measuring_points.set([scene.point])
    assert section(summary(scene), "Planned visits")[0]["rows"] == [
        ["Second round", "2027-03-01 09:00 CET", "Return line, After the bend"]
    ]


def test_a_survey_without_a_log_and_a_point_not_surveyed_are_named(scene: Scene) -> None:
    mounted(scene)
    MeasuringPoint.objects.create(pipe=scene.pipe, name="Before the pump")
    rows = results(summary(scene))
    assert [row[2] for row in rows] == ["no result yet", "–"]
    assert rows[1][4] == "never surveyed"


def test_a_year_without_a_survey_has_a_notice(scene: Scene, as_user: Any) -> None:
    scene.survey(LAST_YEAR)
    found = str(summary(scene, 2026).blocks)
    assert "No survey was made at this site in 2026" in found
    assert "The last survey before was on 2025-09-02." in found
    assert as_user("owner").get(address(scene, 2026)).content.startswith(b"%PDF-")


@pytest.mark.parametrize(
    "year",
    ["", "26", "2026.0", "1969", "3000", "99999999999999999999", "\uff12\uff10\uff12\uff16", "-2026", "a"],
)
def test_an_invalid_year_is_rejected(scene: Scene, as_user: Any, year: str) -> None:
    answer = as_user("owner").get(address(scene, year))
    assert answer.status_code == 400
    assert (answer.json()["errors"][0]["field"], answer.json()["errors"][0]["code"]) == (
        "year",
        "year-invalid",
    )


def test_the_same_records_give_the_same_bytes_and_a_changed_one_others(scene: Scene, as_user: Any) -> None:
    scene.survey(AUTUMN)
    first, again = (as_user("owner").get(address(scene, 2026)).content for _ in range(2))
    assert first == again
    assert as_user("owner").get(address(scene, 2026) + "&units=us").content != first
    recomputation_run(scene.correct(0.008).pk)
    assert as_user("owner").get(address(scene, 2026)).content != first


@pytest.mark.parametrize(
    ("who", "status"),
    [("owner", 200), ("office", 200), ("stranger", 404), ("technician", 404), ("nobody", 401)],
)
def test_it_is_for_those_who_see_the_site(scene: Scene, as_user: Any, who: str, status: int) -> None:
    assert as_user(who).get(address(scene, 2026)).status_code == status


def test_the_number_of_queries_does_not_grow_with_points_and_surveys(scene: Scene) -> None:
    def queries() -> int:
        with CaptureQueriesContext(
            connection,
        ) as ran:
            summary(scene)
        return len(ran)

    scene.survey(SPRING)
    recomputation_run(scene.correct(0.008).pk)
    few = queries()
    for name in ("Flow line", "Bypass"):
        other = branch(scene, name)
        other.survey(SPRING)
        other.survey(AUTUMN)
        recomputation_run(other.correct(0.008).pk)
    assert queries() == few


def test_combined_flows_are_named_and_the_mean_of_paths_is_shown_at_its_point(scene: Scene) -> None:
    first = logged(mounted(scene, Mounting(path_angle_deg=0.0)), 170.0)
    logged(mounted(scene, Mounting(primary_survey=first, path_angle_deg=90.0)), 230.0)
    other = logged(mounted(branch(scene, "Flow line")))
    paths = Combination.objects.get(kind="multipath")
    both = combined(scene, "sum", [first, other])
    while any(recomputation_run(run.pk) for run in Recomputation.objects.filter(state="waiting")):
        pass
    (table,) = section(summary(scene), "Combined flows")
    assert [row[:2] for row in table["rows"]] == [[both.name, "sum"]]
    mean = flow_with_uncertainty(
        current_of(paths).volume_flow_m3_s, current_of(paths).expanded_uncertainty_m3_s, "metric"
    )
    assert mean in [row[2] for row in results(summary(scene))]
    assert "Paths disagree" in [block["label"] for block in section(summary(scene), "Findings that")]


def test_the_page_of_the_site_offers_the_year(scene: Scene, client: Any) -> None:
    client.force_login(scene.cast.owner, backend="surveys.services.people.sign_in.PeopleBackend")
    page = client.get(f"/sites/{scene.pipe.site_id}/").content.decode()
    assert f'action="{address(scene, "").partition("?")[0]}"' in page


def test_another_client_of_the_house_has_none_of_it(scene: Scene) -> None:
    scene.survey(AUTUMN)
    assert Client.objects.count() > 1
    assert not section(summary(scene, who="stranger"), "Findings that")
