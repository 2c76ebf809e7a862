"""Guards in the database: values of results and pipe data can be added, never changed.

PostgreSQL also rejects their deletion. In SQLite a trigger cannot distinguish a deletion from the cleanup of test tables, so
only the protecting foreign keys and the querysets reject it. The triggers are created after every migration, because SQLite
drops the triggers of a table that it rebuilds. `replaced_at` is the only column that changes, once, when another row replaces
the row.
"""

from __future__ import annotations

from typing import Any

from django.db import connections

IMMUTABLE = {
    "surveys_pipedata": (),
    "surveys_transducerdata": (),
    "surveys_calibration": (),
    "surveys_calibrationpoint": (),
    "surveys_acceptancepolicy": (),
    "surveys_intervalpolicy": (),
    "surveys_errorcorrectionpolicy": (),
    "surveys_document": (),
    "surveys_documentpart": (),
    "surveys_instrumentstate": (),
    "surveys_jobstatuschange": (),
    "surveys_bookingevent": (),
    "surveys_setup": (),
    "surveys_surveydata": ("replaced_at",),
    "surveys_sitemeterreading": ("replaced_at",),
    "surveys_wallmeasurement": (),
    "surveys_custommaterialdata": (),
    "surveys_custommediumdata": (),
    "surveys_log": (),
    "surveys_readingblock": (),
    "surveys_logfilepart": (),
    "surveys_result": ("replaced_at",),
    "surveys_report": ("replaced_at",),
    "surveys_intermediatecheck": (),
    "surveys_outoftolerancereview": ("recomputation_id",),
    "surveys_combinationpart": (),
    "surveys_combinedresult": ("replaced_at",),
    # Blanked with the personal data of a user who leaves.
    "surveys_auditentry": ("actor_name",),
}

# Owner and location of a record: fixed, since a change would give its measurements to another client.
BELONGING = (
    ("surveys_site", "client_id"),
    ("surveys_pipe", "site_id"),
    ("surveys_measuringpoint", "pipe_id"),
    ("surveys_survey", "measuring_point_id"),
    ("surveys_survey", "client_id"),
)

POSTGRESQL_FUNCTION = """
CREATE OR REPLACE FUNCTION surveys_refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'append-only: rows of % are never changed or removed', TG_TABLE_NAME USING ERRCODE = 'integrity_constraint_violation';
END $$
"""


def install_guards(using: str, **_: Any) -> None:
    """Create the triggers that reject changes, if the tables exist."""
    connection = connections[using]
    tables = set(connection.introspection.table_names())
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(POSTGRESQL_FUNCTION)
        for table, free in IMMUTABLE.items():
            if table in tables:
                # The table description of Django has SQLite parse the statement, which takes 10 ms each.
                cursor.execute(f'SELECT * FROM "{table}" LIMIT 0')  # noqa: S608 - a name of our own
                guarded = ", ".join(
                    f'"{column[0]}"' for column in cursor.description if column[0] not in free
                )
                for statement in _statements(connection.vendor, table, guarded):
                    cursor.execute(statement)
        for table, column in BELONGING:
            if table in tables:
                for statement in _belongs(connection.vendor, table, column):
                    cursor.execute(statement)


def _belongs(vendor: str, table: str, column: str) -> tuple[str, ...]:
    name = f"{table}_{column}_fixed"
    differs = "IS DISTINCT FROM" if vendor == "postgresql" else "IS NOT"
    head = (
        f'CREATE TRIGGER {name} BEFORE UPDATE OF {column} ON "{table}" FOR EACH ROW '
        f"WHEN (OLD.{column} {differs} NEW.{column}) "
    )
    if vendor == "postgresql":
        return (
            f'DROP TRIGGER IF EXISTS {name} ON "{table}"',
            head + "EXECUTE FUNCTION surveys_refuse_change()",
        )
    rejection = f"SELECT RAISE(ABORT, 'append-only: {column} of {table} never changes');"
    return f"DROP TRIGGER IF EXISTS {name}", head + f"BEGIN {rejection} END"


def _statements(vendor: str, table: str, columns: str) -> tuple[str, ...]:
    name = f"{table}_append_only"
    head = f'CREATE TRIGGER {name} BEFORE UPDATE OF {columns} ON "{table}" FOR EACH ROW '
    if vendor == "postgresql":
        reject = "EXECUTE FUNCTION surveys_refuse_change()"
        return (
            f'DROP TRIGGER IF EXISTS {name} ON "{table}"',
            head + reject,
            f'DROP TRIGGER IF EXISTS {table}_kept ON "{table}"',
            f'CREATE TRIGGER {table}_kept BEFORE DELETE ON "{table}" FOR EACH ROW {reject}',
        )
    rejection = f"SELECT RAISE(ABORT, 'append-only: rows of {table} are never changed');"
    return f"DROP TRIGGER IF EXISTS {name}", head + f"BEGIN {rejection} END"
