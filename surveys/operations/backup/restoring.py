"""Restoring a backup into an empty, migrated database of either kind, completely or not at all."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from django.contrib.contenttypes.models import ContentType
from django.core.exceptions import ValidationError
from django.core.management.color import no_style
from django.db import DatabaseError, connection, transaction

from surveys.operations.backup.files import BackupError, Reader, backup_reader, whole_file_sha256
from surveys.operations.backup.tables import FILLED_BY_MIGRATION, Table, differences, migrations, tables
from surveys.operations.backup.taking import BackupSummary

# Rows of one INSERT; fewer if their binary values together are larger than the limit.
ROWS_PER_BATCH, BYTES_PER_READ = 500, 8_000_000


def backup_restore(path: Path) -> BackupSummary:
    """Write the records of a file into the database unchanged: the same keys, times, values and bytes.

    Raises BackupDamaged for a file that is not complete, before anything is written; BackupError for a database that is not empty,
    is of a different version or rejects a row. Nothing is stored then.
    """
    sha256 = whole_file_sha256(path)
    with backup_reader(path) as reader:
        _same_version(reader.head["migrations"])
        with transaction.atomic():
            _empty()
            rows = _put_in(reader)
    ContentType.objects.clear_cache()
    return BackupSummary(sha256, path.stat().st_size, rows)


def _same_version(wanted: list[str]) -> None:
    applied = migrations()
    if not applied:
        raise BackupError("The database has no tables yet. Run `manage.py migrate` on it first.")
    if missing := sorted(set(wanted) - set(applied)):
        raise BackupError(
            f"The backup is from a later version of this program: the database lacks the migrations {', '.join(missing)}. "
            "Restore it with that version or a later one, after `manage.py migrate`."
        )
    if further := sorted(set(applied) - set(wanted)):
        raise BackupError(
            f"The backup is from an earlier version of this program: it lacks the migrations {', '.join(further)}. Restore it "
            "with that version, then run `manage.py migrate` with this version."
        )


def _empty() -> None:
    """Reject a database that has records; delete the rows that migrations have created."""
    for table in tables():
        if table.name not in FILLED_BY_MIGRATION and table.model._base_manager.exists():
            raise BackupError(
                f"The database is not empty: {table.name} has {table.count()} rows. Nothing was changed. Restore into a new "
                "database that only `manage.py migrate` has written to."
            )
    with connection.cursor() as cursor:
        for name in sorted(FILLED_BY_MIGRATION):  # permissions before the types they are of
            cursor.execute(f'DELETE FROM "{name}"')  # noqa: S608 - the name comes from the models


def _put_in(reader: Reader) -> dict[str, int]:
    known = {table.name: table for table in tables()}
    put: dict[str, int] = {}
    for name, columns in reader.tables():
        table = known.pop(name, None)
        if table is None or table.columns != columns:
            what = differences(table.columns, columns) if table else "the database has no such table"
            raise BackupError(
                f"The backup is from a different version of this program: {name} differs ({what})."
            )
        put[name] = _put_in_table(table, reader)
    if known:
        raise BackupError(
            f"The backup is from a different version of this program: it lacks the tables {', '.join(sorted(known))}."
        )
    _check_foreign_keys()
    _counted(put, reader.rows)
    _numbered()
    return put


def _put_in_table(table: Table, reader: Reader) -> int:
    columns = ", ".join(f'"{column}"' for column in table.columns)
    places = ", ".join(["%s"] * len(table.columns))
    insert = f'INSERT INTO "{table.name}" ({columns}) VALUES ({places})'  # noqa: S608 - the names come from the models
    count, stored = 0, table.stored()
    with connection.cursor() as cursor:
        for rows in _batches(reader.lines(table.binary), table.binary):
            try:
                cursor.executemany(insert, [_prepared(stored, row) for row in rows])
            except (DatabaseError, ValidationError, ValueError) as error:
                fault = str(error).splitlines()[0]
                raise BackupError(
                    f"The database rejects a row of {table.name} after {count}: {fault}. Nothing was restored."
                ) from error
            count += len(rows)
    return count


def _prepared(stored: list[Callable[[Any], Any]], row: list[Any]) -> list[Any]:
    return [store(value) for store, value in zip(stored, row, strict=True)]


def _batches(rows: Iterator[list[Any]], binary: list[int]) -> Iterator[list[list[Any]]]:
    batch: list[list[Any]] = []
    size = 0
    for row in rows:
        batch.append(row)
        size += sum(len(row[place] or b"") for place in binary)
        if len(batch) == ROWS_PER_BATCH or size > BYTES_PER_READ:
            yield batch
            batch, size = [], 0
    if batch:
        yield batch


def _check_foreign_keys() -> None:
    """Check every foreign key, so that the commit cannot fail."""
    try:
        connection.check_constraints()
    except DatabaseError as error:
        fault = str(error).splitlines()[0]
        raise BackupError(
            f"A row of the backup refers to a row that is not in the backup: {fault}. Nothing was restored."
        ) from error


def _counted(put: dict[str, int], wanted: dict[str, int]) -> None:
    """Check that every table has as many rows as the backup."""
    found = {table.name: table.count() for table in tables()}
    if not put == found == wanted:
        wrong = sorted(name for name in found if found[name] != wanted.get(name))
        raise BackupError(
            f"The number of restored rows differs from the backup in {', '.join(wrong)}. Nothing was restored. "
            "Make sure that no other process writes to the database."
        )


def _numbered() -> None:
    """Let the ids of new rows follow those of the restored rows (PostgreSQL; SQLite does so itself)."""
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), [table.model for table in tables()]):
            cursor.execute(statement)
