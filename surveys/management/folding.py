"""New migrations that create their models at one go, with fields, constraints and indexes in them."""

from __future__ import annotations

from typing import Any

from django.db.migrations.autodetector import MigrationAutodetector
from django.db.migrations.operations import AddConstraint, AddField, AddIndex, CreateModel
from django.db.migrations.operations.base import Operation, OperationCategory


class CreateModels(Operation):
    """Models that may refer to one another in a circle.

    After each operation Django renders anew whatever is related to what it touched, and here everything is: an operation a model,
    a circle's field, a constraint took four fifths of a first `migrate`.
    """

    category = OperationCategory.ADDITION
    serialization_expand_args = ["models"]

    def __init__(self, models: list[CreateModel]) -> None:
        self.models = models

    def deconstruct(self) -> Any:
        """How a migration writes it."""
        return type(self).__name__, [], {"models": self.models}

    def state_forwards(self, app_label: str, state: Any) -> None:
        # A state that has rendered nothing takes up models at no cost, and renders all together when it is next asked.
        state.__dict__.pop("apps", None)
        for one in self.models:
            one.state_forwards(app_label, state)

    def database_forwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        # A reference waits for its table: PostgreSQL is told of references at the end, SQLite looks for tables when rows come.
        for one in self.models:
            one.database_forwards(app_label, schema_editor, from_state, to_state)

    def database_backwards(self, app_label: str, schema_editor: Any, from_state: Any, to_state: Any) -> None:
        for one in reversed(self.models):
            one.database_backwards(app_label, schema_editor, from_state, to_state)

    def describe(self) -> str:
        """One line for whoever looks on."""
        return f"Create {len(self.models)} models"

    @property
    def migration_name_fragment(self) -> str:
        """What names a migration that nobody names."""
        return "_".join(one.name_lower for one in self.models)

    def references_model(self, name: str, app_label: str) -> bool:
        """Whether a model is among these or referred to by one."""
        return any(one.references_model(name, app_label) for one in self.models)


class Autodetector(MigrationAutodetector):
    """Finds what Django's does."""

    def changes(self, *args: Any, **kwargs: Any) -> dict[str, list[Any]]:
        found: dict[str, list[Any]] = super().changes(*args, **kwargs)
        for migrations in found.values():
            for migration in migrations:
                migration.operations = folded(migration.operations)
        return found


def folded(operations: list[Any]) -> list[Any]:
    """One operation that creates models whole, if the operations do nothing but create them; else the operations as they are."""
    created = {one.name_lower: one for one in operations if isinstance(one, CreateModel)}
    additions = [one for one in operations if not isinstance(one, CreateModel)]
    if not created or not all(_adds_to(created, one) for one in additions):
        return operations
    for one in additions:
        model = created[one.model_name_lower]
        if isinstance(one, AddField):
            model.fields.append((one.name, one.field))
        elif isinstance(one, AddConstraint):
            model.options.setdefault("constraints", []).append(one.constraint)
        else:
            model.options.setdefault("indexes", []).append(one.index)
    return [CreateModels(list(created.values()))]


def _adds_to(created: dict[str, CreateModel], one: Any) -> bool:
    return isinstance(one, AddField | AddConstraint | AddIndex) and one.model_name_lower in created
