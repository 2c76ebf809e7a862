"""Guards in the database itself: figures of results and pipe data can be added, never changed.

They are put back after every migration, because SQLite drops a table's triggers when it rebuilds the
table. `replaced_at` is the one column that changes, once, when another takes the row's place.
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
    "surveys_document": (),
    "surveys_documentpart": (),
    "surveys_instrumentstate": (),
    "surveys_setup": (),
    "surveys_surveydata": ("replaced_at",),
    "surveys_gauging": (),
    "surveys_ownmaterialdata": (),
    "surveys_ownmediumdata": (),
    "surveys_log": (),
    "surveys_readingblock": (),
    "surveys_logfilepart": (),
    "surveys_result": ("replaced_at",),
    "surveys_combinationpart": (),
    "surveys_combinedresult": ("replaced_at",),
}

POSTGRESQL_FUNCTION = """
CREATE OR REPLACE FUNCTION surveys_refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'append-only: rows of % are never changed', TG_TABLE_NAME USING ERRCODE = 'integrity_constraint_violation';
END $$
"""


def install_guards(using: str, **_: Any) -> None:
    """Create the triggers that refuse changes, if the tables are there."""
    connection = connections[using]
    tables = set(connection.introspection.table_names())
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(POSTGRESQL_FUNCTION)
        for table, free in IMMUTABLE.items():
            if table in tables:
                columns = [c.name for c in connection.introspection.get_table_description(cursor, table)]
                guarded = ", ".join(f'"{name}"' for name in columns if name not in free)
                for statement in _statements(connection.vendor, table, guarded):
                    cursor.execute(statement)


def _statements(vendor: str, table: str, columns: str) -> tuple[str, str]:
    name = f"{table}_append_only"
    head = f'CREATE TRIGGER {name} BEFORE UPDATE OF {columns} ON "{table}" FOR EACH ROW '
    if vendor == "postgresql":
        return (
            f'DROP TRIGGER IF EXISTS {name} ON "{table}"',
            head + "EXECUTE FUNCTION surveys_refuse_change()",
        )
    refusal = f"SELECT RAISE(ABORT, 'append-only: rows of {table} are never changed');"
    return f"DROP TRIGGER IF EXISTS {name}", head + f"BEGIN {refusal} END"
