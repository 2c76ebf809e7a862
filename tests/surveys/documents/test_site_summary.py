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
from tests.surveys.scene import Scene, scene

pytestmark = pytest.mark.django_db

LAST_YEAR, SPRING, AUTUMN = (
    datetime(*day, 8, tzinfo=UTC) for day in ((2025, 9, 2), (2026, 4, 7), (2026, 10, 6))
)


@pytest.fixture
def here(site: Any, cast: Any, kit: Any) -> Scene:
    return scene(site, cast, kit)


def summary(here: Scene, year: int = 2026, who: str = "owner") -> PdfDocument:
    return site_summary(Year(here.pipe.site, year, getattr(here.cast, who)), "metric", "https://x.example/")


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


def address(here: Scene, year: object) -> str:
    return f"/api/v1/sites/{here.pipe.site_id}/summary.pdf?year={year}"


def test_each_survey_of_the_year_has_its_result_and_the_change_since_the_previous_one(
    here: Scene,
) -> None:
    here.survey(LAST_YEAR)
    here.survey(SPRING)
    here.survey(AUTUMN, time_difference=340)
    spring, autumn = results(summary(here))
    assert spring[:2] == ["Return line, After the bend", "2026-04-07"]
    assert "±" in spring[2]
    assert spring[3] == "1.96"
    # Twice the time difference is about twice the flow: far more than any uncertainty explains.
    assert ", significant (uncertainty ±" in autumn[4]
    assert spring[4] == "no change"
    assert "The flow changed significantly since the previous survey at: Return line" in str(
        summary(here).blocks
    )


def test_surveys_of_later_years_do_not_show(here: Scene) -> None:
    here.survey(LAST_YEAR)
    before = summary(here, 2025)
    here.survey(AUTUMN)
    assert (before.blocks, before.drawings) == (summary(here, 2025).blocks, summary(here, 2025).drawings)


def test_a_year_begins_and_ends_by_the_clock_of_the_site(here: Scene) -> None:
    # In Copenhagen it is the new year already.
    here.survey(datetime(2025, 12, 31, 23, 30, tzinfo=UTC))
    assert results(summary(here))[0][1] == "2026-01-01"
    assert results(summary(here, 2025))[0][1] == "none in 2025"


def test_changed_results_name_the_replaced_result_and_the_reason(here: Scene) -> None:
    survey = here.survey(AUTUMN)
    recomputation_run(here.correct(0.008, reason="The wall was gauged.").pk)
    told_in = survey.results.get(replaced_at=None).notice.created_at.year
    (table,) = section(summary(here, told_in), "Changed results")
    assert table["head"][1] == "Superseded"
    ((figure, before, after, _, why),) = table["rows"]
    assert "Return line, After the bend" in figure
    assert before != after
    assert "The wall was gauged." in why
    assert results(summary(here))[0][2] == after


def test_a_result_under_review_is_shown_first_and_a_withdrawn_one_is_not_compared(
    here: Scene, as_user: Any
) -> None:
    certify(here, date(2026, 9, 1), GOOD)
    here.survey(AUTUMN)
    certify(here, date(2026, 11, 1), BAD, GOOD)
    pdf = summary(here)
    first = next(block for block in pdf.blocks if block["type"] in ("callout", "heading"))
    assert (first["severity"], "under review" in first["text"]) == ("error", True)
    assert results(pdf)[0][2].endswith("under review")
    decide(as_user, OutOfToleranceReview.objects.get(), "withdrawn")
    assert results(summary(here))[0][4] == "withdrawn, not compared"


def test_a_finding_on_several_surveys_is_shown_once(here: Scene) -> None:
    MeasuringPoint.objects.filter(pk=here.point.pk).update(orientation="horizontal", mounting="top-or-bottom")
    here.point.refresh_from_db()
    here.survey(SPRING)
    here.survey(AUTUMN)
    told = [
        one
        for one in section(summary(here), "Findings that")
        if one["label"] == "Transducers at the top or bottom"
    ]
    assert len(told) == 1
    assert "(2026-04-07)" in told[0]["text"]
    assert "(2026-10-06)" in told[0]["text"]


def test_instruments_are_shown_with_the_certificate_of_the_day(here: Scene) -> None:
    here.survey(SPRING)
    certify(here, date(2026, 9, 1), GOOD)
    here.survey(AUTUMN)
    rows = section(summary(here), "Instruments")[0]["rows"]
    assert [(row[2], row[5]) for row in rows if row[1] == "M-0412"] == [
        ("C-M-0412", "2026-04-07"),
        ("HR-2026-09-01", "2026-10-06"),
    ]


def test_a_planned_visit_is_named_and_without_one_nothing_is_suggested(here: Scene) -> None:
    here.survey(AUTUMN)
    assert not section(summary(here), "Planned visits")
    job = Job.objects.create(
        site=here.pipe.site, title="Second round", state="planned", starts_at=datetime(2027, 3, 1, 8, tzinfo=UTC),
        ends_at=datetime(2027, 3, 1, 12, tzinfo=UTC),
    )  # fmt: skip
    job.measuring_points.set([here.point])
    assert section(summary(here), "Planned visits")[0]["rows"] == [
        ["Second round", "2027-03-01 09:00 CET", "Return line, After the bend"]
    ]


def test_a_survey_without_a_log_and_a_point_not_surveyed_are_named(here: Scene) -> None:
    mounted(here)
    MeasuringPoint.objects.create(pipe=here.pipe, name="Before the pump")
    rows = results(summary(here))
    assert [row[2] for row in rows] == ["no result yet", "–"]
    assert rows[1][4] == "never surveyed"


def test_a_year_without_a_survey_has_a_notice(here: Scene, as_user: Any) -> None:
    here.survey(LAST_YEAR)
    told = str(summary(here, 2026).blocks)
    assert "No survey was made at this site in 2026" in told
    assert "The last survey before was on 2025-09-02." in told
    assert as_user("owner").get(address(here, 2026)).content.startswith(b"%PDF-")


@pytest.mark.parametrize(
    "year",
    ["", "26", "2026.0", "1969", "3000", "99999999999999999999", "\uff12\uff10\uff12\uff16", "-2026", "a"],
)
def test_an_invalid_year_is_rejected(here: Scene, as_user: Any, year: str) -> None:
    answer = as_user("owner").get(address(here, year))
    assert answer.status_code == 400
    assert (answer.json()["errors"][0]["field"], answer.json()["errors"][0]["code"]) == (
        "year",
        "year-invalid",
    )


def test_the_same_records_give_the_same_bytes_and_a_changed_one_others(here: Scene, as_user: Any) -> None:
    here.survey(AUTUMN)
    first, again = (as_user("owner").get(address(here, 2026)).content for _ in range(2))
    assert first == again
    assert as_user("owner").get(address(here, 2026) + "&units=us").content != first
    recomputation_run(here.correct(0.008).pk)
    assert as_user("owner").get(address(here, 2026)).content != first


@pytest.mark.parametrize(
    ("who", "status"),
    [("owner", 200), ("office", 200), ("stranger", 404), ("technician", 404), ("nobody", 401)],
)
def test_it_is_for_those_who_see_the_site(here: Scene, as_user: Any, who: str, status: int) -> None:
    assert as_user(who).get(address(here, 2026)).status_code == status


def test_the_number_of_queries_does_not_grow_with_points_and_surveys(here: Scene) -> None:
    def queries() -> int:
        with CaptureQueriesContext(
            connection,
        ) as ran:
            summary(here)
        return len(ran)

    here.survey(SPRING)
    recomputation_run(here.correct(0.008).pk)
    few = queries()
    for name in ("Flow line", "Bypass"):
        other = branch(here, name)
        other.survey(SPRING)
        other.survey(AUTUMN)
        recomputation_run(other.correct(0.008).pk)
    assert queries() == few


def test_combined_flows_are_named_and_the_mean_of_paths_is_shown_at_its_point(here: Scene) -> None:
    first = logged(mounted(here, Mounting(path_angle_deg=0.0)), 170.0)
    logged(mounted(here, Mounting(primary_survey=first, path_angle_deg=90.0)), 230.0)
    other = logged(mounted(branch(here, "Flow line")))
    paths = Combination.objects.get(kind="multipath")
    both = combined(here, "sum", [first, other])
    while any(recomputation_run(run.pk) for run in Recomputation.objects.filter(state="waiting")):
        pass
    (table,) = section(summary(here), "Combined flows")
    assert [row[:2] for row in table["rows"]] == [[both.name, "sum"]]
    mean = flow_with_uncertainty(
        current_of(paths).volume_flow_m3_s, current_of(paths).expanded_uncertainty_m3_s, "metric"
    )
    assert mean in [row[2] for row in results(summary(here))]
    assert "Paths disagree" in [block["label"] for block in section(summary(here), "Findings that")]


def test_the_page_of_the_site_offers_the_year(here: Scene, client: Any) -> None:
    client.force_login(here.cast.owner, backend="surveys.services.people.sign_in.PeopleBackend")
    page = client.get(f"/sites/{here.pipe.site_id}/").content.decode()
    assert f'action="{address(here, "").partition("?")[0]}"' in page


def test_another_client_of_the_house_has_none_of_it(here: Scene) -> None:
    here.survey(AUTUMN)
    assert Client.objects.count() > 1
    assert not section(summary(here, who="stranger"), "Findings that")
