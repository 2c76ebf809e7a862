"""Sentences for readers in US units on every page, document and response: no metric value; metric sentences unchanged."""

from __future__ import annotations

import copy
import html
import re
from collections.abc import Iterator
from typing import Any

import pytest
from django.test import Client as Visitor

from surveys.documents.day_sheet import Day, day_sheet
from surveys.documents.pdf import PdfDocument
from surveys.documents.setup_sheet import setup_sheet
from surveys.documents.survey_report import Issue, survey_report
from surveys.models import Job, MeasuringPoint, Result, Setup, Survey
from surveys.results.traceability import traceable_results
from tests.surveys.branches import Mounting, logged, mounted
from tests.surveys.compute.test_compute import SETUP, changed
from tests.surveys.compute.test_diagnosis import BODY as DIAGNOSIS
from tests.surveys.people.access import answer, signed_in
from tests.surveys.people.all_records import END, START, Everything
from tests.surveys.people.routes import calls
from tests.surveys.scene import Scene, make_scene

pytestmark = pytest.mark.django_db

METRIC = re.compile(
    r"\d[ \xa0]?(?:mm2?|cm|um|µm|m|km|mm/s|m/s|m3/[sh]|m³/[sh]|l/s|l/min|degC|°C|K|bar|mbar|kPa|MPa|Pa|kg/m3|kg/m³|mPa\.s)(?![\w/³])"
)
SENTENCES = ("detail", "sentences", "reasoning", "blocked_reason", "error")


def sentences(document: Any) -> Iterator[str]:
    """Every sentence of an answer of the API."""
    if isinstance(document, dict):
        for name, value in document.items():
            if name in SENTENCES and isinstance(value, str):
                yield value
            else:
                yield from sentences(value)
    elif isinstance(document, list):
        for one in document:
            yield from sentences(one)


def metric_in(texts: Iterator[str] | list[str]) -> list[str]:
    return [text for text in texts if METRIC.search(text)]


@pytest.fixture
def there(cast: Any, site: Any, kit: Any) -> Everything:
    cast.idle_technician = cast.technician
    return Everything(cast, site, kit)


@pytest.fixture
def hot(site: Any, cast: Any, kit: Any) -> Scene:
    """Return a hot pipe under pressure with a short straight length, surveyed on two inconsistent paths."""
    scene = make_scene(site, cast, kit)
    MeasuringPoint.objects.filter(pk=scene.point.pk).update(
        upstream_straight_length_m=0.5, downstream_straight_length_m=0.05, upstream_disturbance="single-bend"
    )
    scene.point.refresh_from_db()
    first = logged(mounted(scene, Mounting(path_angle_deg=0)))
    logged(mounted(scene, Mounting(primary_survey=first, path_angle_deg=90)), level=230)
    return scene


def test_the_pattern_matches_metric_values_only() -> None:
    for text in ("6.30 mm.", "58.0 degC", "at 58 °C (136 °F)", "5.0 bar (73 psi)", "3 m of pipe", "0.3 K"):
        assert METRIC.search(text), text
    for text in (
        "0.248 in",
        "136.4 degF",
        "72 psi",
        "1 MHz",
        "9.8 us",
        "170 ns",
        "3 months",
        "2 meters",
        "DN 200",
    ):
        assert not METRIC.search(text), text


def test_no_answer_of_any_address_has_a_metric_sentence_in_us_units(cast: Any, there: Everything) -> None:
    api, metric, seen = signed_in(cast, "administrator"), [], 0
    for method, route in calls():
        if method != "GET":
            continue
        for units in ("us", "metric"):
            found = answer(api, "GET", f"{there.address(route)}?units={units}")
            if found.streaming or found["Content-Type"].startswith("application/pdf"):
                continue
            if units == "us" and found["Content-Type"].startswith("application/json"):
                texts = list(sentences(found.json()))
                seen += len(texts)
                metric += [(route, text) for text in metric_in(texts)]
    assert not metric
    assert seen > 20


def test_a_set_up_is_answered_in_the_readers_units_sentence_by_sentence(as_user: Any) -> None:
    body = changed(
        pipe={"outer_diameter": "200 mm", "wall_thickness": "30 mm"},
        medium={"temperature": "71 degC", "temperature_source": "estimated", "pressure": "800 kPa"},
        transducers={"max_temperature": "60 degC"},
    )
    del body["medium"]["sound_speed"], body["medium"]["density"], body["medium"]["dynamic_viscosity"]
    body["medium"]["name"] = "water"
    body |= {"mounted_spacing": "90 mm"} if "mounted_spacing" in SETUP else {}
    api, texts = as_user("owner"), {}
    for units in ("metric", "us"):
        found = api.post(f"/api/v1/compute/spacing/?units={units}", body, format="json")
        assert found.status_code == 200, found.content
        texts[units] = list(sentences(found.json()))
    assert "The medium is at 71.0\xa0°C; the limit of these transducers is 60.0\xa0°C." in " ".join(
        texts["metric"]
    )
    assert "The medium is at 159.8\xa0°F; the limit of these transducers is 140.0\xa0°F." in " ".join(
        texts["us"]
    )
    assert "30.00\xa0mm is more than a quarter of the outer radius of a 200.0\xa0mm pipe" in " ".join(
        texts["metric"]
    )
    assert "1.181\xa0in is more than a quarter of the outer radius of a 7.874\xa0in pipe" in " ".join(
        texts["us"]
    )
    assert len(texts["metric"]) == len(texts["us"]) > 5
    assert not metric_in(texts["us"])


def test_a_diagnosis_is_in_the_readers_units(as_user: Any) -> None:
    api = as_user("owner")
    for units, size in (
        ("metric", "Pipes of DN 200 have an outer diameter of 219.1\xa0mm"),
        ("us", "Pipes of DN 200 have an outer diameter of 8.626\xa0in"),
    ):
        found = api.post(
            f"/api/v1/compute/diagnosis/?units={units}", copy.deepcopy(DIAGNOSIS), format="json"
        ).json()
        assert size in found["possible_causes"][0]["detail"]
        if units == "us":
            assert not metric_in(list(sentences(found)))


def test_a_rejection_is_in_the_readers_units(as_user: Any) -> None:
    body = changed(pipe={"wall_thickness": "120 mm"})
    for units, texts in (("metric", "A wall of 120\xa0mm"), ("us", "A wall of 4.724\xa0in")):
        found = as_user("owner").post(f"/api/v1/compute/spacing/?units={units}", body, format="json")
        assert found.status_code == 400
        assert texts in found.json()["detail"]
        assert texts in found.json()["errors"][0]["detail"]


def test_a_limit_is_in_the_readers_units(as_user: Any) -> None:
    body = changed(pipe={"outer_diameter": "20000 m"})
    for units, texts in (
        ("metric", "20\xa0000\xa0000\xa0mm is out of range"),
        ("us", "787\xa0400\xa0in is out of range"),
    ):
        found = as_user("owner").post(f"/api/v1/compute/spacing/?units={units}", body, format="json")
        assert (found.status_code, texts in found.json()["detail"]) == (400, True), found.json()


def test_an_unsuitable_reason_of_a_kit_is_in_the_readers_units(as_user: Any, there: Everything) -> None:
    MeasuringPoint.objects.update(upstream_straight_length_m=0.01, downstream_straight_length_m=0.01)
    texts = {}
    for units in ("metric", "us"):
        address = f"/api/v1/jobs/{there.ids['jobs']}/suitable-kits/?units={units}"
        texts[units] = " ".join(sentences(as_user("office").get(address).json()))
    assert "is longer than the straight length of 20.00\xa0mm" in texts["metric"]
    assert "is longer than the straight length of 0.787\xa0in" in texts["us"]
    assert not METRIC.search(texts["us"])


def test_a_stored_result_reads_in_either_units_and_in_metric_as_it_always_did(
    as_user: Any, hot: Scene
) -> None:
    (result, _) = Result.objects.order_by("computed_at")
    texts = {
        units: list(sentences(as_user("owner").get(f"/api/v1/results/{result.pk}/?units={units}").json()))
        for units in ("metric", "us")
    }
    assert any(text.startswith("6.30\xa0mm is an assumed value.") for text in texts["metric"])
    assert any(text.startswith("0.248\xa0in is an assumed value.") for text in texts["us"])
    assert any(text.startswith("0.50\xa0m (2.42 D) available") for text in texts["metric"])
    assert any(text.startswith("1.6\xa0ft (2.42 D) available") for text in texts["us"])
    assert not metric_in(texts["us"])


def words(pdf: PdfDocument) -> str:
    """Return the text of a document without the entered values, which keep their units."""
    return re.sub(r"entered as [\d.]+ mm", "", str(pdf.blocks))


@pytest.mark.parametrize(
    ("units", "straight"), [("metric", "0.50\xa0m (2.42 D)"), ("us", "1.6\xa0ft (2.42 D)")]
)
def test_documents_show_findings_and_safety_notes_in_their_units(
    hot: Scene, units: Any, straight: str
) -> None:
    result = traceable_results().order_by("computed_at")[0]
    report = survey_report(result, Issue("2026-X-1", 1, result.computed_at, "office"), units, "")
    sheet = setup_sheet(Setup.objects.order_by("calculated_at")[0], units, "")
    for pdf in (report, sheet):
        assert any(straight in one.get("text", "") for one in pdf.blocks)
        callouts = [block["text"] for block in pdf.blocks if block["type"] == "callout"]
        warned = [item for block in pdf.blocks if block["type"] == "safety_notes" for item in block["items"]]
        assert callouts
        assert bool(metric_in([*callouts, *warned])) is (units == "metric")
    hot_surface = "58\xa0°C" if units == "metric" else "136\xa0°F"
    assert any(f"may be at {hot_surface}." in item for item in warned)


def test_the_day_sheet_warns_in_its_units(hot: Scene) -> None:
    who = hot.cast.technician
    job = Job.objects.create(
        site=hot.pipe.site, title="Round", technician=who, state="planned", starts_at=START, ends_at=END
    )
    job.measuring_points.add(hot.point)
    texts = words(day_sheet(Day(who, START.date(), hot.cast.office), "us", ""))
    assert "may be at 136\\xa0°F" in texts
    assert not METRIC.search(texts)


def shown(visitor: Visitor, address: str, body: dict[str, str] | None = None) -> str:
    """Return the text of a page, without codes and drawings."""
    found = visitor.post(address, body) if body is not None else visitor.get(address)
    assert found.status_code == 200, address
    page = re.sub(r"<(script|style|svg|option|input)\b.*?(</\1>|>)", " ", found.content.decode(), flags=re.S)
    return html.unescape(re.sub(r"<[^>]+>", " ", page))


def test_pages_show_findings_in_the_selected_units(hot: Scene) -> None:
    survey = Survey.objects.get(primary_survey=None)
    pages = {
        "office": [f"/surveys/{survey.pk}/", f"/field/surveys/{survey.pk}/result/"],
        "owner": [f"/surveys/{survey.pk}/"],
    }
    for who, addresses in pages.items():
        visitor = Visitor()
        visitor.force_login(getattr(hot.cast, who))
        for address in addresses:
            assert "6.30\xa0mm is an assumed value" in shown(visitor, address)
            us = shown(visitor, f"{address}?units=us")
            assert "0.248\xa0in is an assumed value" in us
            assert not METRIC.search(us), METRIC.search(us)


def test_the_worksheet_answers_in_the_units_chosen(hot: Scene) -> None:
    sheet = f'{{"transducers": {{"instrument": "{hot.kit.pair.pk}"}}, "measured_sound_speed": "4900 ft/s"}}'
    visitor = Visitor()
    visitor.force_login(hot.cast.office)
    address = f"/field/points/{hot.point.pk}/answer/"
    metric, us = (shown(visitor, f"{address}?units={units}", {"sheet": sheet}) for units in ("metric", "us"))
    for text in ("58\xa0°C", "0.50\xa0m (2.42 D)"):
        assert text in metric
    for text in ("may be at 136\xa0°F", "1.6\xa0ft (2.42 D)", "Possible cause"):
        assert text in us
    assert not METRIC.search(us), METRIC.search(us)
