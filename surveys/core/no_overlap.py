"""Constraint in the database that prevents overlapping bookings under concurrent writes.

PostgreSQL uses an exclusion constraint. SQLite uses triggers, created after every migration, because SQLite drops the triggers
of a table that it rebuilds. Spans are half open: one can start when another ends. Cancelled rows do not count.
"""

from __future__ import annotations

from typing import Any

from django.apps import apps
from django.db import connections
from django.db.models import BaseConstraint


class NoOverlap(BaseConstraint):
    """No two rows of one `column` (a UUID, or null) overlap from `starts_at` to `ends_at`, unless cancelled (`cancelled_at`)."""

    def __init__(self, *, column: str, name: str) -> None:
        super().__init__(name=name)
        self.column = column

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, NoOverlap):
            return NotImplemented
        return self.deconstruct() == other.deconstruct()

    __hash__ = None  # type: ignore[assignment]

    def constraint_sql(self, model: Any, schema_editor: Any) -> str | None:  # type: ignore[override]
        """Return the clause of the table; none for a database with triggers."""
        if schema_editor.connection.vendor != "postgresql":
            return None
        # A range of one number has "&&" in every PostgreSQL, equality of UUIDs would need an extension. Equal ids have equal
        # numbers, so that nothing overlaps; two ids of one number are rejected at worst, once in 2**64.
        number = f'uuid_hash_extended("{self.column}", 0)'
        return (
            f'CONSTRAINT "{self.name}" EXCLUDE USING gist '
            f"(int8range({number}, {number}, '[]') WITH &&, tstzrange(\"starts_at\", \"ends_at\", '[)') WITH &&) "
            # A row of another kind has no id here; a range without ends would overlap every other.
            f'WHERE ("cancelled_at" IS NULL AND "{self.column}" IS NOT NULL)'
        )

    def create_sql(self, model: Any, schema_editor: Any) -> str | None:  # type: ignore[override]
        """Return the statement that adds the constraint to a table."""
        clause = self.constraint_sql(model, schema_editor)
        return clause and f'ALTER TABLE "{model._meta.db_table}" ADD {clause}'

    def remove_sql(self, model: Any, schema_editor: Any) -> str | None:  # type: ignore[override]
        """Return the statement that removes the constraint from a table."""
        if schema_editor.connection.vendor != "postgresql":
            return None
        return f'ALTER TABLE "{model._meta.db_table}" DROP CONSTRAINT "{self.name}"'

    def validate(self, *_: Any, **__: Any) -> None:
        """Do nothing: only the database can check this, when the row is written."""

    def deconstruct(self) -> Any:
        """Return the form of the constraint in a migration."""
        return "surveys.core.no_overlap.NoOverlap", (), {"column": self.column, "name": self.name}

    def triggers(self, table: str) -> dict[str, str]:
        """Return the name and the statement of each trigger of SQLite."""
        # The names come from the models, not from users.
        clash = (
            f"SELECT RAISE(ABORT, '{self.name}') WHERE EXISTS (SELECT 1 FROM \"{table}\" AS other "  # noqa: S608
            f'WHERE other."{self.column}" = NEW."{self.column}" AND other.id <> NEW.id AND other.cancelled_at IS NULL '
            "AND other.starts_at < NEW.ends_at AND other.ends_at > NEW.starts_at);"
        )
        return {
            f"{self.name}_{event.lower()}": f'CREATE TRIGGER {self.name}_{event.lower()} BEFORE {event} ON "{table}" '
            f"FOR EACH ROW WHEN NEW.cancelled_at IS NULL BEGIN {clash} END"
            for event in ("INSERT", "UPDATE")
        }


def install_guards(using: str, **_: Any) -> None:
    """Create the triggers of every such constraint on SQLite, if the tables exist."""
    connection = connections[using]
    if connection.vendor != "sqlite":
        return
    tables = set(connection.introspection.table_names())
    with connection.cursor() as cursor:
        for model in apps.get_app_config("surveys").get_models():
            for one in model._meta.constraints:
                if isinstance(one, NoOverlap) and model._meta.db_table in tables:
                    for name, statement in one.triggers(model._meta.db_table).items():
                        cursor.execute(f"DROP TRIGGER IF EXISTS {name}")
                        cursor.execute(statement)
