"""Integrity check: no finding in correct data, and one for each corruption."""

from __future__ import annotations

import io
import logging
import math
from collections.abc import Callable
from typing import Any

import pytest
import zstandard
from django.core.files.base import ContentFile
from django.core.management import CommandError, call_command
from django.db import connection
from django.utils import timezone

from surveys.logfiles.codec import decode_block, encode_block
from surveys.models import (
    Client,
    Combination,
    CombinedResult,
    Document,
    DocumentPart,
    LogFilePart,
    PipeData,
    ReadingBlock,
    Recomputation,
    RecomputationItem,
    Report,
    Result,
    Survey,
)
from surveys.operations.integrity_check.everything import DataCheck
from surveys.operations.tasks import check_data
from surveys.results.recalculation import recomputation_run
from surveys.services.fleet.documents import document_add
from surveys.services.results.combinations import combination_create
from surveys.services.results.reports import report_issue
from tests.surveys.drills.seed import copied
from tests.surveys.fleet.test_error_correction import certify, policy
from tests.surveys.scene import STARTED, Scene

pytestmark = pytest.mark.django_db
PDF = b"%PDF-1.7\n" + b"x" * 500 + b"\n%%EOF\n"


@pytest.fixture
def survey(scene: Scene, as_user: Any) -> Survey:
    """A survey with an error curve applied, its pipe corrected and gauged since, a report, a document, and a sum with another."""
    certify(scene)
    policy(as_user)
    first, second = scene.survey(), scene.survey(readings=70)
    recomputation_run(scene.correct(0.008).pk)
    now = timezone.now()
    both = Combination(site=scene.pipe.site, name="Both", kind=Combination.Kind.SUM)
    combination_create(combination=both, surveys=[first, second], by=scene.cast.office, now=now)
    report_issue(survey=first, units="metric", reason="", address="", by=scene.cast.office, now=now)
    document = Document(title="Manual", file_name="m.pdf")
    document_add(
        instrument=scene.kit.meter, document=document, file=ContentFile(PDF), by=scene.cast.office, now=now
    )
    return first


def codes(sample: int | None = None) -> set[str]:
    return {finding.code for finding in DataCheck(sample).findings()}


def freely(table: str) -> None:
    """Put a table without constraints and guards in the place of one, until the test's transaction is undone: a disk heeds neither."""
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE") if connection.vendor == "postgresql" else None
        cursor.execute(f'ALTER TABLE "{table}" RENAME TO "{table}_guarded"')
        cursor.execute(f'CREATE TABLE "{table}" AS SELECT * FROM "{table}_guarded"')


def test_where_nothing_is_amiss_nothing_is_found(survey: Survey, capsys: Any) -> None:
    out = io.StringIO()
    call_command("check_integrity", stdout=out)
    assert "2 logs, 4 results, 1 combined results" in out.getvalue()
    assert "1 documents, 1 reports" in out.getvalue()
    assert "No problems found." in out.getvalue()


def test_results_are_reproduced_though_the_day_of_the_survey_was_corrected_since(
    scene: Scene, survey: Survey
) -> None:
    Survey.objects.filter(pk=survey.pk).update(started_at=STARTED.replace(year=2027))
    assert "result-not-reproducible" not in codes()


def test_findings_are_printed_and_the_command_exits_1(survey: Survey) -> None:
    freely("surveys_document")
    document = Document.objects.get()
    Document.objects.update(sha256="0" * 64)
    out = io.StringIO()
    with pytest.raises(CommandError, match="1 problem found") as ended:
        call_command("check_integrity", stdout=out)
    assert ended.value.returncode == 1
    assert f"document-altered  document {document.pk}" in out.getvalue()


def test_the_nightly_check_looks_at_a_sample_and_logs_each_finding_as_an_error(
    survey: Survey, settings: Any, caplog: pytest.LogCaptureFixture
) -> None:
    settings.INTEGRITY_CHECK_SAMPLE = 1
    check = DataCheck(1)
    assert list(check.findings()) == []
    assert (check.looked_at["logs"], check.looked_at["results"]) == (1, 1)
    freely("surveys_recomputation")
    Recomputation.objects.update(state="finished")
    RecomputationItem.objects.filter(pk=RecomputationItem.objects.all()[0].pk).update(state="waiting")
    with caplog.at_level(logging.ERROR):
        check_data()
    assert ["run-closed-with-work-open" in record.message for record in caplog.records] == [True]


def turned(content: bytes | memoryview) -> bytes:
    """The bytes with the last but one bit of the last turned."""
    return bytes(content[:-1]) + bytes([content[-1] ^ 2])


def another_file(packed: bytes | memoryview) -> bytes:
    return zstandard.ZstdCompressor().compress(
        zstandard.ZstdDecompressor().decompress(bytes(packed)).replace(b"311.16", b"311.17")
    )


def other_readings(content: bytes | memoryview) -> bytes:
    """The block with its last reading the least bit larger."""
    times, columns = decode_block(bytes(content))
    name = next(iter(columns))
    columns[name].view("i8")[-1] += 1
    return encode_block(times, columns)


def corrupt_file_part() -> None:
    part = LogFilePart.objects.all()[0]
    LogFilePart.objects.filter(pk=part.pk).update(content=another_file(part.content))


def corrupt_block() -> None:
    block = ReadingBlock.objects.all()[0]
    ReadingBlock.objects.filter(pk=block.pk).update(content=other_readings(block.content))


def cut_block() -> None:
    block = ReadingBlock.objects.all()[0]
    ReadingBlock.objects.filter(pk=block.pk).update(content=bytes(block.content)[:40])


def delete_blocks() -> None:
    ReadingBlock.objects.filter(pk=ReadingBlock.objects.all()[0].pk)._raw_delete(connection.alias)


def stray_block() -> None:
    block = ReadingBlock.objects.all()[0]
    ReadingBlock.objects.create(
        pk=10**6, log_id=Survey.objects.all()[0].pk, sequence=9, count=1, content=block.content
    )


def nudge(model: Any, column: str) -> Callable[[], None]:
    """A figure the least bit larger."""

    def corrupt() -> None:
        row = model.objects.filter(replaced_at=None)[0]
        model.objects.filter(pk=row.pk).update(**{column: math.nextafter(getattr(row, column), math.inf)})

    return corrupt


def two_current_results() -> None:
    Result.objects.bulk_create([copied(Result.objects.filter(replaced_at=None)[0], replaces=None)])


def delete_successor() -> None:
    Result.objects.filter(replaced_at=None)._raw_delete(connection.alias)


def unreplace_results() -> None:
    Result.objects.update(replaced_at=None)


def correct_twice() -> None:
    corrected = PipeData.objects.get(corrects__isnull=False)
    PipeData.objects.bulk_create([copied(corrected)])


def correct_without_recalculation() -> None:
    corrected = PipeData.objects.get(corrects__isnull=False)
    PipeData.objects.bulk_create([copied(corrected, corrects=corrected, wall_thickness_m=0.007)])


def open_item() -> None:
    RecomputationItem.objects.update(state="waiting")


def park_item() -> None:
    RecomputationItem.objects.update(state="failed")


def delete_document_part() -> None:
    DocumentPart.objects.all()._raw_delete(connection.alias)


def move_to_other_client() -> None:
    Survey.objects.update(client=Client.objects.create(name="Somebody else"))


def alter_report() -> None:
    report = Report.objects.get()
    Report.objects.update(content=turned(report.content))


@pytest.mark.parametrize(
    ("table", "corrupt", "found"),
    [
        ("surveys_logfilepart", corrupt_file_part, "log-file-altered"),
        (
            "surveys_logfilepart",
            lambda: LogFilePart.objects.update(content=b"no zstd"),
            "log-file-unreadable",
        ),
        ("surveys_readingblock", corrupt_block, "readings-altered"),
        ("surveys_readingblock", cut_block, "readings-unreadable"),
        ("surveys_readingblock", delete_blocks, "readings-missing"),
        ("surveys_readingblock", delete_blocks, "without-reading-block"),
        ("surveys_readingblock", stray_block, "orphan-reading-block"),
        ("surveys_result", nudge(Result, "volume_flow_m3_s"), "result-not-reproducible"),
        ("surveys_result", nudge(Result, "expanded_uncertainty_m3_s"), "result-not-reproducible"),
        ("surveys_combinedresult", nudge(CombinedResult, "volume_flow_m3_s"), "result-not-reproducible"),
        ("surveys_result", two_current_results, "two-current-results"),
        ("surveys_result", two_current_results, "history-starts-twice"),
        ("surveys_result", delete_successor, "result-without-successor"),
        ("surveys_result", delete_successor, "log-without-result"),
        ("surveys_result", unreplace_results, "result-replaced-but-current"),
        ("surveys_pipedata", correct_twice, "pipe-data-corrected-twice"),
        ("surveys_pipedata", correct_without_recalculation, "result-outdated"),
        ("surveys_recomputationitem", open_item, "run-closed-with-work-open"),
        ("surveys_recomputationitem", park_item, "run-hides-failures"),
        ("surveys_documentpart", delete_document_part, "without-document-part"),
        ("surveys_survey", move_to_other_client, "survey-of-another-client"),
        ("surveys_report", alter_report, "report-altered"),
    ],
)
def test_corrupt_records_are_found(
    survey: Survey, table: str, corrupt: Callable[[], None], found: str
) -> None:
    freely(table)
    corrupt()
    assert found in codes()


def test_a_log_read_in_an_earlier_zone_of_its_site_is_not_a_finding(scene: Scene, survey: Survey) -> None:
    site = scene.pipe.site
    site.time_zone = "Asia/Kathmandu"
    site.save()
    assert {code for code in codes() if code.startswith("readings")} == set()
