"""New migrations with constraints and indexes in the models they create."""

from __future__ import annotations

from typing import Any

from django.db.migrations.autodetector import MigrationAutodetector
from django.db.migrations.operations import AddConstraint, AddField, AddIndex, CreateModel


class Autodetector(MigrationAutodetector):
    """Django adds each constraint by an operation of its own, and each costs a rendering of every model: most of a first `migrate`."""

    def changes(self, *args: Any, **kwargs: Any) -> dict[str, list[Any]]:
        found: dict[str, list[Any]] = super().changes(*args, **kwargs)
        for migrations in found.values():
            for migration in migrations:
                migration.operations = folded(migration.operations)
        return found


def folded(operations: list[Any]) -> list[Any]:
    """Constraints and indexes put into the creation of their model, unless that gets fields later on, which they may name."""
    created = {one.name_lower: one for one in operations if isinstance(one, CreateModel)}
    for one in operations:
        if isinstance(one, AddField):
            created.pop(one.model_name_lower, None)
    left = []
    for one in operations:
        model = created.get(one.model_name_lower) if isinstance(one, AddConstraint | AddIndex) else None
        if model is None:
            left.append(one)
        elif isinstance(one, AddConstraint):
            model.options.setdefault("constraints", []).append(one.constraint)
        else:
            model.options.setdefault("indexes", []).append(one.index)
    return left
