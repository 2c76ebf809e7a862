"""Taking a backup: every table as it was at one moment, while others may write."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from django.db import connection, transaction

from surveys.operations.backup.files import BackupError, backup_writer, whole_file_sha256
from surveys.operations.backup.tables import migrations, tables


@dataclass(frozen=True, slots=True)
class BackupSummary:
    """The SHA-256 of a backup file, its size, and the number of rows of each table."""

    sha256: str
    size_bytes: int
    rows: dict[str, int]


def backup_take(path: Path, *, now: datetime) -> BackupSummary:
    """Write all records to a file. Other processes can write to the database meanwhile.

    Raises BackupError if the file exists or cannot be written, or if the database is not migrated.
    """
    with backup_writer(path) as writer, _one_moment():
        writer.head(created_at=now.isoformat(), migrations=_migrated())
        for table in tables():
            writer.table(table.name, table.columns)
            for row in table.rows():
                writer.row(row)
    return BackupSummary(whole_file_sha256(path), path.stat().st_size, writer.rows)


def _migrated() -> list[str]:
    applied = migrations()
    if not applied:
        raise BackupError("The database has no tables. There is nothing to back up.")
    return applied


@contextmanager
def _one_moment() -> Iterator[None]:
    """Open a transaction in which every read sees the same moment."""
    if connection.vendor == "postgresql":
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            yield
        return
    # Deferred, unlike elsewhere: an immediate transaction would hold the lock that writers need. With the write-ahead
    # log of SQLite, a reader sees the moment of its first read until its transaction ends.
    with connection.cursor() as cursor:
        cursor.execute("BEGIN DEFERRED")
        try:
            yield
        finally:
            cursor.execute("ROLLBACK")
