"""Every page and document in a pseudo-locale: what is not marked as translated is data, a unit or a name."""

from __future__ import annotations

import html
import json
import re
import sys
from collections.abc import Iterator
from html.parser import HTMLParser
from typing import Any

import pytest
from django.apps import apps
from django.db import models
from django.utils import translation

from compute.base.sources import Source
from compute.library.materials import solids
from compute.library.media import media
from compute.results.equations import EQUATIONS
from surveys.core.messages.library import MATERIALS, MEDIA
from surveys.documents.day_sheet import Day, day_sheet
from surveys.documents.pdf import PdfDocument
from surveys.documents.setup_sheet import setup_sheet
from surveys.documents.survey_report import Issue, survey_report
from surveys.models import Job, Setup
from surveys.results.traceability import traceable_results
from tests.surveys.people.access import answer, signed_in
from tests.surveys.people.all_records import END, START, Everything
from tests.surveys.people.routes import calls

pytestmark = pytest.mark.django_db

OPENS, CLOSES = "\N{MATHEMATICAL LEFT WHITE SQUARE BRACKET}", "\N{MATHEMATICAL RIGHT WHITE SQUARE BRACKET}"
TRANSLATED = re.compile(f"{OPENS}[^{OPENS}{CLOSES}]*{CLOSES}")
SEPARATOR = "\n\x00\n"
WORD = re.compile(r"[A-Za-z][A-Za-z'-]{2,}")
# Units, time zones, file kinds and names that no language translates.
NEUTRAL = {
    "UTC", "CET", "CEST", "bar", "kPa", "mPa", "psi", "gal", "min", "deg", "MHz", "kHz", "SHA", "PDF", "CSV", "XLSX", "ISO", "IEC", "GUM",
    "JCGM", "EN", "ASME", "DIN", "NPS", "IAPWS", "Flow", "Surveys", "API", "ms", "mm", "ft", "in", "lb", "Re",
}  # fmt: skip
SHOWN_ATTRIBUTES = {"placeholder", "title", "aria-label", "alt"}


class Shown(HTMLParser):
    """The texts of a page that people read or hear."""

    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.hidden = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.hidden += tag in ("script", "style", "code")
        given = dict(attrs)
        self.texts += [value for name, value in attrs if name in SHOWN_ATTRIBUTES and value]
        if tag == "input" and given.get("type") in ("submit", "button") and given.get("value"):
            self.texts.append(str(given["value"]))

    def handle_endtag(self, tag: str) -> None:
        self.hidden -= tag in ("script", "style", "code")

    def handle_data(self, data: str) -> None:
        if not self.hidden and data.strip():
            self.texts.append(data)


@pytest.fixture
def pseudo_locale(monkeypatch: pytest.MonkeyPatch) -> None:
    """Enclose each translation in brackets, with its placeholders."""

    def enclosed(text: str) -> str:
        return f"{OPENS}{text}{CLOSES}"

    catalogue = translation._trans  # type: ignore[attr-defined]
    monkeypatch.setattr(catalogue, "gettext", lambda text: enclosed(str(text)) if text else "", raising=False)
    monkeypatch.setattr(
        catalogue, "ngettext", lambda one, many, number: enclosed(one if number == 1 else many), raising=False
    )
    monkeypatch.setattr(catalogue, "pgettext", lambda context, text: enclosed(text), raising=False)
    monkeypatch.setattr(
        catalogue,
        "npgettext",
        lambda context, one, many, number: enclosed(one if number == 1 else many),
        raising=False,
    )


@pytest.fixture
def there(cast: Any, site: Any, kit: Any) -> Everything:
    cast.idle_technician = cast.technician
    return Everything(cast, site, kit)


def words_of_records() -> set[str]:
    """Every word of the texts in the database, which pages show as they are."""
    found: set[str] = set()
    for model in apps.get_app_config("surveys").get_models():
        columns = [
            field.attname
            for field in model._meta.concrete_fields
            if isinstance(field, models.CharField | models.TextField | models.JSONField | models.UUIDField)
        ]
        for row in model._base_manager.values_list(*columns):
            for value in row:
                text = json.dumps(value, default=str) if isinstance(value, dict | list) else str(value)
                found.update(WORD.findall(text))
    # Citations are in the language of their publications.
    for one in cited():
        found.update(WORD.findall(one.text))
    # Formulas have the same letters in every language.
    for equation in EQUATIONS:
        found.update(WORD.findall(equation.formula))
    return found


def cited() -> Iterator[Source]:
    """The sources stated in the modules of the physics and in its library."""
    for name, module in list(sys.modules.items()):
        if name.startswith("compute."):
            yield from (one for one in vars(module).values() if isinstance(one, Source))
    for solid in solids():
        yield from (one for one in (solid.source_sound, solid.source_roughness) if one)
    yield from (medium.source for medium in media())


def untranslated(texts: Iterator[str] | list[str], data: set[str]) -> list[str]:
    """The texts that keep a word of no translation, record or unit; a translation may go across the tags of a page."""
    rest = SEPARATOR.join(html.unescape(text) for text in texts)
    while TRANSLATED.search(rest):
        rest = TRANSLATED.sub(" ", rest)
    found = [" ".join(text.split()) for text in rest.split(SEPARATOR)]
    return [text for text in found if any(word not in data for word in WORD.findall(text))]


def test_the_guard_finds_a_text_that_is_not_translated() -> None:
    assert untranslated([f"{OPENS}Pipe{CLOSES} DN 200", "Save reading"], {"DN"}) == ["Save reading"]


def test_every_title_of_the_library_is_translated_on_pages_and_documents(
    cast: Any, there: Everything, pseudo_locale: None
) -> None:
    assert [str(title) for title in MATERIALS] == [f"{OPENS}{one.title}{CLOSES}" for one in solids()]
    assert [str(title) for title in MEDIA] == [f"{OPENS}{one.title}{CLOSES}" for one in media()]
    shown = "".join(
        answer(signed_in(cast, "office"), "GET", there.address(route)).content.decode()
        for method, route in calls()
        if method == "GET" and route.startswith("office/") and route.endswith("/correction/")
    )
    pipe = traceable_results().order_by("computed_at")[0].pipe_data
    report = survey_report(
        traceable_results().order_by("computed_at")[0],
        Issue("2026-X-1", 1, pipe.recorded_at, "office"),
        "metric",
        "",
    )
    for text in (html.unescape(shown), "\n".join(texts_of(report))):
        assert f"{OPENS}carbon steel (mild){CLOSES}" in text
        assert f"{OPENS}Water{CLOSES}" in text


@pytest.mark.parametrize("who", ["administrator", "technician", "owner"])
def test_no_page_has_an_untranslated_text(
    cast: Any, there: Everything, pseudo_locale: None, who: str
) -> None:
    visitor, data = signed_in(cast, who), words_of_records() | NEUTRAL
    left: dict[str, list[str]] = {}
    pages = 0
    for method, route in calls():
        if method != "GET" or route.startswith(("api/", "admin/")):
            continue
        found = answer(visitor, "GET", there.address(route))
        if not found.get("Content-Type", "").startswith("text/html") or found.streaming:
            continue
        pages += 1
        shown = Shown()
        shown.feed(found.content.decode())
        if texts := untranslated(shown.texts, data):
            left[route] = texts
    assert left == {}
    assert pages > 5


def texts_of(pdf: PdfDocument) -> Iterator[str]:
    """The texts of a document, without its drawings."""

    def walk(node: Any) -> Iterator[str]:
        if isinstance(node, dict):
            for name, value in node.items():
                if name not in ("type", "severity", "name"):
                    yield from walk(value)
        elif isinstance(node, list | tuple):
            for value in node:
                yield from walk(value)
        elif isinstance(node, str):
            yield node

    yield from walk(pdf.blocks)


def test_no_document_has_an_untranslated_text(cast: Any, there: Everything, pseudo_locale: None) -> None:
    result = traceable_results().order_by("computed_at")[0]
    job = Job.objects.create(
        site=result.survey.measuring_point.pipe.site, title="Round", technician=cast.technician, state="planned",
        starts_at=START, ends_at=END,
    )  # fmt: skip
    job.measuring_points.add(result.survey.measuring_point)
    documents = {
        "report": survey_report(result, Issue("2026-X-1", 1, result.computed_at, "office"), "metric", ""),
        "set-up sheet": setup_sheet(Setup.objects.order_by("calculated_at")[0], "metric", ""),
        "day sheet": day_sheet(Day(cast.technician, START.date(), cast.office), "metric", ""),
    }
    data = words_of_records() | NEUTRAL
    left = {name: untranslated(texts_of(pdf), data) for name, pdf in documents.items()}
    assert left == {name: [] for name in documents}
