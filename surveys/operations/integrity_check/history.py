"""Gaps in histories: results and versions with no successor or with two, runs closed with open work, rows without an owner.

Constraints of the database prevent most of them. They are checked all the same, because a disk error, a restored copy or a manual
change can break the constraints. Each rule is a sentence and a query for the records that break the rule.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from uuid import UUID

from django.db import connection

from surveys.operations.integrity_check.finding import Corruption

# Number of records listed for each rule.
MAX_REPORTED = 100


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule, and the query for the records that break it."""

    code: str
    of: str
    detail: str
    query: str


def _chains() -> Iterator[Rule]:
    """Rules of records of which one is current and each of the others is replaced by one."""
    for table, owner, of in (
        ("surveys_result", "survey_id", "survey"),
        ("surveys_combinedresult", "combination_id", "combination"),
        ("surveys_report", "survey_id", "survey"),
    ):
        what = table.removeprefix("surveys_")
        yield Rule(
            f"two-current-{what}s",
            of,
            f"More than one {what} is current.",
            f"SELECT {owner} FROM {table} WHERE replaced_at IS NULL GROUP BY {owner} HAVING count(*) > 1",
        )
        yield Rule(
            f"{what}-without-successor",
            what,
            "The record is marked as replaced, but has no successor.",
            f"SELECT old.id FROM {table} old WHERE old.replaced_at IS NOT NULL "
            f"AND NOT EXISTS (SELECT 1 FROM {table} new WHERE new.replaces_id = old.id)",
        )
        yield Rule(
            f"{what}-replaced-but-current",
            what,
            "The record has a successor, but is not marked as replaced.",
            f"SELECT old.id FROM {table} old WHERE old.replaced_at IS NULL "
            f"AND EXISTS (SELECT 1 FROM {table} new WHERE new.replaces_id = old.id)",
        )
        yield Rule(
            f"{what}-replaced-twice",
            what,
            "The record has more than one successor.",
            f"SELECT replaces_id FROM {table} WHERE replaces_id IS NOT NULL GROUP BY replaces_id HAVING count(*) > 1",
        )
        yield Rule(
            f"{what}-replaces-a-strange-one",
            what,
            f"The record replaces a record of a different {of}.",
            f"SELECT new.id FROM {table} new JOIN {table} old ON old.id = new.replaces_id WHERE old.{owner} <> new.{owner}",
        )


def _corrected_once() -> Iterator[Rule]:
    for table, of in (
        ("surveys_pipedata", "pipe data"),
        ("surveys_transducerdata", "transducer data"),
        ("surveys_calibration", "calibration"),
        ("surveys_intermediatecheck", "intermediate check"),
    ):
        yield Rule(
            f"{of.replace(' ', '-')}-corrected-twice",
            of,
            "More than one version corrects this version.",
            f"SELECT corrects_id FROM {table} WHERE corrects_id IS NOT NULL GROUP BY corrects_id HAVING count(*) > 1",
        )


def _owned() -> Iterator[Rule]:
    for table, owner, column, of in (
        ("surveys_readingblock", "surveys_log", "log_id", "reading block"),
        ("surveys_logfilepart", "surveys_log", "log_id", "log file part"),
        ("surveys_documentpart", "surveys_document", "document_id", "document part"),
    ):
        yield Rule(
            f"orphan-{of.replace(' ', '-')}",
            of,
            "The record to which this part belongs is missing.",
            f"SELECT part.id FROM {table} part LEFT JOIN {owner} whole ON whole.id = part.{column} WHERE whole.id IS NULL",
        )
        yield Rule(
            f"without-{of.replace(' ', '-')}",
            owner.removeprefix("surveys_"),
            f"The record has no {of}.",
            f"SELECT whole.id FROM {owner} whole WHERE NOT EXISTS (SELECT 1 FROM {table} part WHERE part.{column} = whole.id)",
        )


RULES = (
    *_chains(),
    *_corrected_once(),
    *_owned(),
    Rule(
        "log-without-result",
        "log",
        "The survey of the log has no current result.",
        "SELECT l.id FROM surveys_log l WHERE NOT EXISTS "
        "(SELECT 1 FROM surveys_result r WHERE r.survey_id = l.survey_id AND r.replaced_at IS NULL)",
    ),
    Rule(
        "history-starts-twice",
        "survey",
        "More than one result of the survey has no predecessor.",
        "SELECT survey_id FROM surveys_result WHERE replaces_id IS NULL GROUP BY survey_id HAVING count(*) > 1",
    ),
    Rule(
        "survey-without-statement",
        "survey",
        "The survey does not have exactly one version of its data in force.",
        "SELECT s.id FROM surveys_survey s WHERE 1 <> "
        "(SELECT count(*) FROM surveys_surveydata d WHERE d.survey_id = s.id AND d.replaced_at IS NULL)",
    ),
    Rule(
        "survey-of-another-client",
        "survey",
        "The client of the survey is not the client of its site.",
        "SELECT s.id FROM surveys_survey s JOIN surveys_measuringpoint m ON m.id = s.measuring_point_id "
        "JOIN surveys_pipe p ON p.id = m.pipe_id JOIN surveys_site w ON w.id = p.site_id WHERE w.client_id <> s.client_id",
    ),
    Rule(
        "run-closed-with-work-open",
        "recomputation",
        "The recalculation is finished, but has surveys that are not done.",
        "SELECT r.id FROM surveys_recomputation r WHERE r.state LIKE 'finished%' AND EXISTS "
        "(SELECT 1 FROM surveys_recomputationitem i WHERE i.recomputation_id = r.id AND i.state IN ('waiting', 'running'))",
    ),
    Rule(
        "run-hides-failures",
        "recomputation",
        "The recalculation is finished without failures, but has a failed survey.",
        "SELECT r.id FROM surveys_recomputation r WHERE r.state = 'finished' AND EXISTS "
        "(SELECT 1 FROM surveys_recomputationitem i WHERE i.recomputation_id = r.id AND i.state = 'failed')",
    ),
    Rule(
        "item-of-another-survey",
        "recomputation item",
        "The result of the item belongs to a different survey.",
        "SELECT i.id FROM surveys_recomputationitem i JOIN surveys_result r ON r.id = i.after_id WHERE r.survey_id <> i.survey_id",
    ),
    Rule(
        "notice-of-no-change",
        "notice",
        "The results before and after do not succeed one another.",
        "SELECT n.id FROM surveys_notice n JOIN surveys_result r ON r.id = n.after_id WHERE n.before_id <> r.replaces_id",
    ),
)


def corrupt_history() -> Iterator[Corruption]:
    """Find the records that break a rule, with one query for each rule."""
    for rule in RULES:
        with connection.cursor() as cursor:
            cursor.execute(rule.query)
            ids = [row[0] for row in cursor.fetchmany(MAX_REPORTED + 1)]
        for one in ids[:MAX_REPORTED]:
            yield Corruption(rule.code, f"{rule.of} {_displayed_key(one)}", rule.detail)
        if len(ids) > MAX_REPORTED:
            yield Corruption(rule.code, rule.of, f"There are more than {MAX_REPORTED} records of this kind.")


def _displayed_key(key: object) -> str:
    """SQLite keeps a UUID without its hyphens."""
    return str(UUID(key)) if isinstance(key, str) and len(key) == 32 else str(key)
