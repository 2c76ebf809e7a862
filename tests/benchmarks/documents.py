"""Cost of long documents, from records to PDF: a report with very many findings, and the summary of a large site's year.

The floor is typesetting an empty page. The typesetter caches earlier content, so no two documents of a run are equal.
"""

from __future__ import annotations

from datetime import UTC, datetime
from itertools import count
from types import SimpleNamespace

from django.utils import timezone

from surveys.commands.demo.people import make_cast
from surveys.commands.demo.records import make_kit, make_pipe
from surveys.documents.pdf import PdfDocument, typeset
from surveys.documents.site_summary import site_summary
from surveys.documents.site_year import Year
from surveys.documents.survey_report import Issue, survey_report
from surveys.models import Result, Site, Survey, User
from surveys.results.traceability import traceable_results
from tests.benchmarks.measuring import Figure, Figures, ratio
from tests.surveys.branches import branch
from tests.surveys.documents.pages import pages
from tests.surveys.scene import Scene, make_scene

ADDRESS = "https://surveys.example/results/01a2145b-f8e2-7e1c-8663-ba76ba4851a5/traceability/"
SPRING, AUTUMN = datetime(2026, 4, 7, 8, tzinfo=UTC), datetime(2026, 10, 6, 8, tzinfo=UTC)
RUNS = count()


def figures(small: bool) -> Figures:
    findings, points, repeats = (40, 2, 1) if small else (240, 75, 9)
    scene = _scene()
    survey = scene.survey(AUTUMN, 20_000)
    for number in range(points):
        other = branch(scene, f"Branch {number + 1}")
        other.survey(SPRING)
        other.survey(AUTUMN)
    for what, pdf in (
        ("a report", lambda: _report(survey, findings)),
        (f"a site's year of {2 * points} surveys", lambda: _summary(scene.pipe.site)),
    ):
        # Of pages there are so many; an empty one is the floor.
        leaves = pages(_set(pdf()))
        found = ratio(
            f"{what}, so many pages, to an empty page", lambda pdf=pdf: _set(pdf()), _empty, repeats=repeats, size=leaves
        )  # fmt: skip
        yield found
        assert found.seconds
        yield Figure(what="the same", value=found.seconds, unit="s", target=2.0, size=leaves)


def _scene() -> Scene:
    cast = make_cast().users
    people = SimpleNamespace(office=cast["office"], technician=cast["technician"])
    kit = make_kit(cast["calibration-admin"], timezone.now())
    return make_scene(make_pipe(cast["office"]).site, people, kit)


def _empty() -> bytes:
    return _set(PdfDocument("Empty", "", "", AUTUMN))


def _set(pdf: PdfDocument) -> bytes:
    """Typeset a document whose blocks all differ from earlier ones."""
    mark = f" ({next(RUNS)})"
    pdf.title += mark
    for block in pdf.blocks:
        if "text" in block:
            block["text"] += mark
        for row in block.get("rows", ()):
            row[0] += mark
    return typeset(pdf)


def _report(survey: Survey, findings: int) -> PdfDocument:
    result: Result = traceable_results().get(survey=survey, replaced_at__isnull=True)
    own = result.findings
    result.findings = [own[number % len(own)] for number in range(findings)]
    issue = Issue("2026-00000000-1", 1, result.computed_at, "office")
    return survey_report(result, issue, "metric", ADDRESS)


def _summary(site: Site) -> PdfDocument:
    return site_summary(Year(site, 2026, User.objects.get(client=site.client)), "metric", ADDRESS)
