"""Rules of the history: results and versions without successor or with two; closed runs with open work; rows without owner.

The constraints of the database prevent most of these. A disk error, a restored copy or manual changes can bypass them. Each
rule is a sentence and the query for the records that break it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from uuid import UUID

from django.db import connection

from surveys.operations.integrity_check.finding import Corruption

# Maximum number of findings of one kind that are reported one by one.
MAX_REPORTED = 100


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule, and the query for the records that break it."""

    code: str
    of: str
    detail: str
    query: str


def _chains() -> Iterator[Rule]:
    """Yield the rules of records of which one is current and each of the others has been replaced by one."""
    for table, owner, of in (
        ("surveys_result", "survey_id", "survey"),
        ("surveys_combinedresult", "combination_id", "combination"),
        ("surveys_report", "survey_id", "survey"),
    ):
        what = table.removeprefix("surveys_")
        yield Rule(
            f"two-current-{what}s",
            of,
            "It has more than one current record of this kind.",
            f"SELECT {owner} FROM {table} WHERE replaced_at IS NULL GROUP BY {owner} HAVING count(*) > 1",
        )
        yield Rule(
            f"{what}-without-successor",
            what,
            "It is marked as replaced, but nothing replaces it.",
            f"SELECT old.id FROM {table} old WHERE old.replaced_at IS NOT NULL "
            f"AND NOT EXISTS (SELECT 1 FROM {table} new WHERE new.replaces_id = old.id)",
        )
        yield Rule(
            f"{what}-replaced-but-current",
            what,
            "Another replaces it, but it is not marked as replaced.",
            f"SELECT old.id FROM {table} old WHERE old.replaced_at IS NULL "
            f"AND EXISTS (SELECT 1 FROM {table} new WHERE new.replaces_id = old.id)",
        )
        yield Rule(
            f"{what}-replaced-twice",
            what,
            "More than one record replaces it.",
            f"SELECT replaces_id FROM {table} WHERE replaces_id IS NOT NULL GROUP BY replaces_id HAVING count(*) > 1",
        )
        yield Rule(
            f"{what}-replaces-a-strange-one",
            what,
            f"It replaces one of another {of}.",
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
            "Two versions correct it, so that nobody can tell which is true.",
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
            "What it is a part of is not there.",
            f"SELECT part.id FROM {table} part LEFT JOIN {owner} whole ON whole.id = part.{column} WHERE whole.id IS NULL",
        )
        yield Rule(
            f"without-{of.replace(' ', '-')}",
            owner.removeprefix("surveys_"),
            f"It has no {of}.",
            f"SELECT whole.id FROM {owner} whole WHERE NOT EXISTS (SELECT 1 FROM {table} part WHERE part.{column} = whole.id)",
        )


RULES = (
    *_chains(),
    *_corrected_once(),
    *_owned(),
    Rule(
        "log-without-result",
        "log",
        "Its survey has no current result.",
        "SELECT l.id FROM surveys_log l WHERE NOT EXISTS "
        "(SELECT 1 FROM surveys_result r WHERE r.survey_id = l.survey_id AND r.replaced_at IS NULL)",
    ),
    Rule(
        "history-starts-twice",
        "survey",
        "More than one of its results replaces none.",
        "SELECT survey_id FROM surveys_result WHERE replaces_id IS NULL GROUP BY survey_id HAVING count(*) > 1",
    ),
    Rule(
        "survey-without-statement",
        "survey",
        "Not exactly one version of what is stated of it is in force.",
        "SELECT s.id FROM surveys_survey s WHERE 1 <> "
        "(SELECT count(*) FROM surveys_surveydata d WHERE d.survey_id = s.id AND d.replaced_at IS NULL)",
    ),
    Rule(
        "survey-of-another-client",
        "survey",
        "It names another client than the site it was made at.",
        "SELECT s.id FROM surveys_survey s JOIN surveys_measuringpoint m ON m.id = s.measuring_point_id "
        "JOIN surveys_pipe p ON p.id = m.pipe_id JOIN surveys_site w ON w.id = p.site_id WHERE w.client_id <> s.client_id",
    ),
    Rule(
        "run-closed-with-work-open",
        "recomputation",
        "It is finished, but not every survey of it is done.",
        "SELECT r.id FROM surveys_recomputation r WHERE r.state LIKE 'finished%' AND EXISTS "
        "(SELECT 1 FROM surveys_recomputationitem i WHERE i.recomputation_id = r.id AND i.state IN ('waiting', 'running'))",
    ),
    Rule(
        "run-hides-failures",
        "recomputation",
        "It is finished as if nothing had failed, but a survey of it is failed.",
        "SELECT r.id FROM surveys_recomputation r WHERE r.state = 'finished' AND EXISTS "
        "(SELECT 1 FROM surveys_recomputationitem i WHERE i.recomputation_id = r.id AND i.state = 'failed')",
    ),
    Rule(
        "item-of-another-survey",
        "recomputation item",
        "It ended with a result of another survey.",
        "SELECT i.id FROM surveys_recomputationitem i JOIN surveys_result r ON r.id = i.after_id WHERE r.survey_id <> i.survey_id",
    ),
    Rule(
        "notice-of-no-change",
        "notice",
        "It tells of a result and one that this did not replace.",
        "SELECT n.id FROM surveys_notice n JOIN surveys_result r ON r.id = n.after_id WHERE n.before_id <> r.replaces_id",
    ),
)


def corrupt_history() -> Iterator[Corruption]:
    """Yield all records that break a rule, with one query for each rule."""
    for rule in RULES:
        with connection.cursor() as cursor:
            cursor.execute(rule.query)
            ids = [row[0] for row in cursor.fetchmany(MAX_REPORTED + 1)]
        for one in ids[:MAX_REPORTED]:
            yield Corruption(rule.code, f"{rule.of} {_displayed_key(one)}", rule.detail)
        if len(ids) > MAX_REPORTED:
            yield Corruption(rule.code, rule.of, f"And more than {MAX_REPORTED} others.")


def _displayed_key(key: object) -> str:
    """Return a UUID with the hyphens that SQLite does not store."""
    return str(UUID(key)) if isinstance(key, str) and len(key) == 32 else str(key)
