"""Reports and sheets as PDF: issued, issued again, the same bytes for the same record, hostile text shown as text."""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime
from typing import Any

import pytest
import typst
from django.db import IntegrityError, transaction

from compute.measuring.drawing import Drawn, beam
from compute.results.survey import METHOD_VERSION, METHODS
from surveys.documents.flow_chart import Result as Shown
from surveys.documents.flow_chart import flow_chart
from surveys.documents.formatting import flow_with_uncertainty
from surveys.documents.pdf import MAX_TEXT_LENGTH, PdfDocument, typeset
from surveys.documents.setup_drawings import cross_drawing, side_drawing
from surveys.documents.survey_report import Issue, survey_report
from surveys.documents.typesetting import pdf_of
from surveys.models import Combination, Pipe, Recomputation, Report, Survey
from surveys.results.recalculation import recomputation_run
from surveys.results.traceability import traceable_results
from tests.surveys.branches import Mounting, current_of, logged, mounted
from tests.surveys.documents.pages import pages
from tests.surveys.scene import Scene

pytestmark = pytest.mark.django_db


@pytest.fixture
def survey(scene: Scene) -> Survey:
    return scene.survey()


def issue(as_user: Any, survey: Survey, who: str = "office", **body: str) -> Any:
    return as_user(who).post(f"/api/v1/surveys/{survey.pk}/reports/", body)


def report_of(survey: Survey) -> PdfDocument:
    result = traceable_results().get(survey=survey, replaced_at__isnull=True)
    return survey_report(
        result, Issue("2026-X-1", 1, result.computed_at, "office"), "metric", "https://x.example/"
    )


def words(pdf: PdfDocument) -> str:
    return str(pdf.blocks)


def test_an_issued_report_is_stored_byte_for_byte_with_its_checksum(as_user: Any, survey: Survey) -> None:
    answer = issue(as_user, survey)
    assert answer.status_code == 201
    served = as_user("owner").get(f"/api/v1/surveys/{survey.pk}/report.pdf")
    assert served["Content-Type"] == "application/pdf"
    assert served.content.startswith(b"%PDF-")
    assert hashlib.sha256(served.content).hexdigest() == answer.json()["sha256"]
    again = as_user("owner").get(f"/api/v1/reports/{answer.json()['id']}/file.pdf")
    assert again.content == served.content


def test_before_the_first_issue_there_is_none_but_staff_may_read_a_draft(
    as_user: Any, survey: Survey
) -> None:
    address = f"/api/v1/surveys/{survey.pk}/report.pdf"
    assert as_user("owner").get(address).status_code == 404
    assert as_user("owner").get(f"{address}?draft=true").status_code == 404
    assert as_user("office").get(f"{address}?draft=true").content.startswith(b"%PDF-")


def test_the_same_record_gives_the_same_bytes(survey: Survey) -> None:
    assert typeset(report_of(survey)) == typeset(report_of(survey))


def test_an_unchanged_report_is_not_issued_again(as_user: Any, survey: Survey) -> None:
    issue(as_user, survey)
    answer = issue(as_user, survey, reason="Once more.")
    assert (answer.status_code, answer.json()["code"]) == (409, "nothing-changed")


def test_the_site_meter_reading_is_in_the_report_as_recorded_at_its_issue(
    as_user: Any, survey: Survey
) -> None:
    issue(as_user, survey)
    address = f"/api/v1/surveys/{survey.pk}/site-meter-readings/"
    stated = {"meter": "FT-101", "volume_flow": "140 m3/h", "relative_expanded_uncertainty": 0.02}
    as_user("office").post(address, stated)
    text = words(report_of(survey))
    assert "FT-101" not in text
    again = issue(as_user, survey, reason="The site gave its meter's figure.")
    assert again.status_code == 201
    result = traceable_results().get(survey=survey, replaced_at__isnull=True)
    issued = Issue("2026-X-2", 2, Report.objects.get(pk=again.json()["id"]).issued_at, "office")
    text = words(survey_report(result, issued, "metric", "https://x.example/"))
    assert "FT-101" in text
    assert "En = " in text
    assert issue(as_user, survey, reason="Once more.").status_code == 409


def test_after_a_correction_it_is_outdated_and_the_next_issue_names_the_replaced_one(
    as_user: Any, survey: Survey, scene: Scene
) -> None:
    first = issue(as_user, survey).json()
    recomputation_run(scene.correct(0.008).pk)
    outdated = as_user("office").get("/api/v1/reports/?outdated=true").json()["results"]
    assert [one["id"] for one in outdated] == [first["id"]]
    served = as_user("owner").get(f"/api/v1/surveys/{survey.pk}/report.pdf")
    assert "changed since it was issued" in served["Warning"]
    assert issue(as_user, survey).json()["errors"][0]["field"] == "reason"
    second = issue(as_user, survey, reason="The wall was gauged.").json()
    assert (second["revision"], second["replaces"]) == (2, first["id"])
    kept = as_user("owner").get(f"/api/v1/reports/{first['id']}/").json()
    assert kept["replaced_by"] == second["id"]
    assert "replaced" in as_user("owner").get(f"/api/v1/reports/{first['id']}/file.pdf")["Warning"]
    assert "Warning" not in as_user("owner").get(f"/api/v1/reports/{second['id']}/file.pdf")


def test_the_report_shows_the_result_the_budget_the_findings_and_the_certificates(survey: Survey) -> None:
    text = words(report_of(survey))
    for part in (
        "m³/h",
        "outer diameter",
        "velocity profile factor",
        "Wall thickness not measured",
        "C-M-0412",
        "Harbour Row",
        survey.log.sha256,
        "IAPWS",
        "CRC Handbook",
        "JCGM 100:2008",
        f"{METHOD_VERSION} ({METHODS[-1].since}). ",
    ):
        assert part in text


def test_a_flow_between_the_regimes_shows_its_coverage_interval(client: Any, cast: Any, scene: Scene) -> None:
    """A time difference of about 1 ns is a Reynolds number of some 3,000: laminar or turbulent."""
    survey = scene.survey(time_difference=-1)
    result = survey.results.get(replaced_at=None)
    assert (result.propagation_method, result.monte_carlo_trials) == ("monte-carlo", 20_000)
    assert result.coverage_low_m3_s < result.volume_flow_m3_s < result.coverage_high_m3_s
    client.force_login(cast.owner)
    shown = client.get(f"/surveys/{survey.pk}/").content.decode()
    for text in (words(report_of(survey)), shown):
        assert "The inputs were drawn 20" in text
        assert "contains the flow with a probability of approximately 95" in text
    assert 'href="/help/method/"' in shown


def test_a_path_measured_with_others_is_reported_beneath_their_mean_and_issued_again_when_that_is_new(
    as_user: Any, scene: Scene
) -> None:
    first = logged(mounted(scene, Mounting(path_angle_deg=0.0)), 170.0)
    alone = issue(as_user, first).json()
    assert not alone["outdated"]
    logged(mounted(scene, Mounting(primary_survey=first, path_angle_deg=90.0)), 200.0)
    for run in Recomputation.objects.filter(state="waiting"):
        recomputation_run(run.pk)
    mean = current_of(Combination.objects.get(kind="multipath"))
    assert as_user("office").get(f"/api/v1/reports/{alone['id']}/").json()["outdated"]
    assert issue(as_user, first, reason="Measured crosswise too.").json()["revision"] == 2
    pdf = survey_report(
        traceable_results().get(survey=first, replaced_at__isnull=True),
        Issue("2026-X-2", 2, mean.computed_at, "office"),
        "metric",
        "",
    )
    figures = [block for block in pdf.blocks if block["type"] == "figure"]
    assert [("mean of 2 paths" in one["label"]) for one in figures] == [True, False]
    flow = flow_with_uncertainty(mean.volume_flow_m3_s, mean.expanded_uncertainty_m3_s, "metric")
    assert figures[0]["value"] == f"qV = {flow}"
    table = next(block for block in pdf.blocks if block["type"] == "table" and block["head"][0] == "Path")
    assert [row[1] for row in table["rows"]] == ["0°", "90°"]


def test_a_survey_without_a_result_has_no_report(as_user: Any, scene: Scene, survey: Survey) -> None:
    bare = Survey.objects.create(
        measuring_point=scene.point,
        client=survey.client,
        technician=survey.technician,
        started_at=survey.started_at,
        recorded_at=survey.recorded_at,
    )
    answer = issue(as_user, bare)
    assert (answer.status_code, answer.json()["code"]) == (409, "no-result")


@pytest.mark.parametrize(
    ("who", "read", "write"),
    [
        ("owner", 200, 403),
        ("office", 200, 409),
        ("stranger", 404, 403),
        ("nobody", 401, 401),
        ("technician", 404, 403),
    ],
)
def test_who_reads_and_who_issues(as_user: Any, survey: Survey, who: str, read: int, write: int) -> None:
    issue(as_user, survey)
    assert as_user(who).get(f"/api/v1/surveys/{survey.pk}/report.pdf").status_code == read
    assert issue(as_user, survey, who).status_code == write


def test_the_database_keeps_one_current_report_and_changes_none(as_user: Any, survey: Survey) -> None:
    report = Report.objects.get(pk=issue(as_user, survey).json()["id"])
    with pytest.raises(IntegrityError), transaction.atomic():
        Report.objects.filter(pk=report.pk).update(sha256="0" * 64)


def test_the_sheet_of_a_set_up_is_for_those_who_see_its_point(as_user: Any, survey: Survey) -> None:
    setup = survey.stated.setup
    address = f"/api/v1/measuring-points/{setup.measuring_point_id}/setups/{setup.pk}/sheet.pdf"
    assert as_user("office").get(address).content.startswith(b"%PDF-")
    assert as_user("office").get(f"{address}?units=us").content != as_user("office").get(address).content
    assert as_user("stranger").get(address).status_code == 404
    assert as_user("nobody").get(address).status_code == 401


@pytest.mark.parametrize(
    "name",
    [
        '#panic("x") $x$ *b* _i_ `c` \\',
        ']#import "@preview/x:1.0.0"',
        "‮أنبوب 管道 😀",
        "A" * 200,
        '<script>&"',
    ],
)
def test_hostile_names_are_text(scene: Scene, survey: Survey, name: str) -> None:
    Pipe.objects.filter(pk=scene.pipe.pk).update(name=name)
    assert typeset(report_of(survey)).startswith(b"%PDF-")


def test_a_very_long_text_is_truncated_and_marked() -> None:
    pdf = PdfDocument("A", "", "", datetime(2026, 1, 1, tzinfo=UTC))
    pdf.text("word " * 10_000)
    assert pdf.blocks[0]["text"].endswith("[…]")
    assert typeset(pdf).startswith(b"%PDF-")


def test_a_word_longer_than_the_page_is_wide_is_broken_and_not_lost() -> None:
    pdf = PdfDocument("A", "", "", datetime(2026, 1, 1, tzinfo=UTC))
    pdf.text("W" * MAX_TEXT_LENGTH)
    # On one line, as before, it would run off the one page.
    assert pages(typeset(pdf)) > 1


def test_a_letter_that_turns_the_direction_of_text_turns_nothing() -> None:
    plain, turned = (
        PdfDocument(f"{turn}Pump", turn, turn, datetime(2026, 1, 1, tzinfo=UTC)) for turn in ("", "\u202e")
    )
    for pdf in (plain, turned):
        pdf.table([f"Site{pdf.subtitle}"], [[f"136 m³/h{pdf.subtitle}"]])
    assert typeset(plain) == typeset(turned)


@pytest.mark.parametrize(("name", "leaves"), [("Pipe Ø", 1), ("管道", 2)])
def test_characters_without_a_font_are_reported(name: str, leaves: int) -> None:
    source = b"""
    #set document(title: "A", date: auto)
    #sys.inputs.name
    #if "unprinted" in sys.inputs [#pagebreak() Some letters are empty boxes.]
    """
    assert pages(pdf_of(source, {"name": name}, datetime(2026, 1, 1, tzinfo=UTC))) == leaves


def test_without_unusual_characters_the_document_meets_its_standards(survey: Survey, caplog: Any) -> None:
    content = typeset(report_of(survey))
    assert b"pdfuaid" in content
    assert not caplog.records


@pytest.mark.parametrize("traverses", [1, 2, 3, 4])
def test_the_drawn_beam_ends_where_the_second_transducer_sits(traverses: int) -> None:
    wall, lining, angle, bore = (0.008, 0.9), (0.003, 0.7), 0.4, 0.2
    # By hand: thickness times tangent twice for each layer, bore times tangent for each traverse.
    from math import tan

    advance = 2 * 0.008 * tan(0.9) + 2 * 0.003 * tan(0.7) + traverses * bore * tan(angle)
    setup = Drawn(0.222, bore, (wall, lining), angle, traverses, advance, advance - 0.03, 0.015)
    along, down = beam(setup)[-1]
    assert along == pytest.approx(advance, rel=1e-12)
    assert down == pytest.approx(0.222 if traverses % 2 else 0.0, abs=1e-12)
    for svg in (side_drawing(setup, "metric"), cross_drawing(setup)):
        source = '#image(bytes(sys.inputs.svg), format: "svg", alt: "x")'
        assert typst.compile(source.encode(), format="pdf", sys_inputs={"svg": svg})


def test_the_chart_keeps_the_peaks_of_a_long_log_and_breaks_at_gaps() -> None:
    import numpy as np

    values = np.ones(100_000)
    values[54_321] = 9.0
    times = np.arange(100_000, dtype=np.int64) * 1_000_000
    times[60_000:] += 10_000_000_000_000
    svg = flow_chart(times, values, Shown(1.0, 0.1), "m³/h", UTC)
    assert len(svg) < 120_000
    assert svg.count("<polyline") == 2
    heights = {
        float(pair.split(",")[1]) for part in svg.split('points="')[1:] for pair in part.split('"')[0].split()
    }
    assert max(heights) - min(heights) > 100


def test_a_varying_log_is_one_line_at_any_downsampling() -> None:
    import numpy as np

    # Lowest and highest lie beside one another at the ends of each stretch: steps of thinned points are of two sizes.
    values = np.sin(np.arange(50_000) / 40.0)
    svg = flow_chart(np.arange(50_000, dtype=np.int64) * 1_000_000, values, Shown(0.0, 0.1), "m³/h", UTC)
    assert svg.count("<polyline") == 1
