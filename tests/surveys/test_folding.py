"""Migrations that only create models create them whole and together."""

from __future__ import annotations

from typing import Any

import pytest
from django.apps.registry import Apps
from django.db import connection, migrations, models
from django.db.migrations.operations import AddConstraint, AddField, AddIndex, AlterField, CreateModel
from django.db.migrations.state import ModelState, ProjectState
from django.db.migrations.writer import MigrationWriter

from surveys.management.folding import CreateModels, folded

CHARACTERS = models.CharField(max_length=9)


def key() -> list[Any]:
    return [("id", models.BigAutoField(primary_key=True)), ("length_m", models.FloatField())]


def positive(name: str) -> models.CheckConstraint:
    return models.CheckConstraint(name=name, condition=models.Q(length_m__gt=0))


def refers(to: str) -> models.ForeignKey[Any, Any]:
    return models.ForeignKey(to, models.PROTECT, null=True)


def circle() -> list[Any]:
    """What Django finds for two models that refer to each other, one with a constraint and an index."""
    return [
        CreateModel("Pipe", key()),
        CreateModel("Survey", [*key(), ("pipe", refers("folding.pipe"))]),
        AddField("pipe", "latest", refers("folding.survey")),
        AddConstraint("pipe", positive("long")),
        AddIndex("pipe", models.Index(fields=["length_m"], name="by_length")),
    ]


def test_fields_constraints_and_indexes_go_into_the_creation_of_their_model() -> None:
    (all_at_once,) = folded(circle())
    pipe, survey = all_at_once.models
    assert [name for name, _ in pipe.fields] == ["id", "length_m", "latest"]
    assert [one.name for one in pipe.options["constraints"]] == ["long"]
    assert [one.name for one in pipe.options["indexes"]] == ["by_length"]
    assert [name for name, _ in survey.fields] == ["id", "length_m", "pipe"]


@pytest.mark.parametrize(
    "other",
    [
        AddConstraint("site", positive("wide")),
        AddField("site", "name", CHARACTERS),
        AlterField("pipe", "name", CHARACTERS),
    ],
)
def test_a_migration_that_does_more_than_create_is_left_as_it_was_found(other: Any) -> None:
    operations = [*circle(), other]
    assert folded(operations) == operations


@pytest.mark.django_db(transaction=True)
def test_a_circle_is_created_and_taken_away_by_one_operation() -> None:
    (operation,) = folded(circle())
    before, after = ProjectState(), ProjectState()
    operation.state_forwards("folding", after)
    with connection.schema_editor() as editor:
        operation.database_forwards("folding", editor, before, after)
    try:
        apps: Apps = after.apps
        pipe = apps.get_model("folding", "Pipe").objects.create(length_m=2.0)
        pipe.latest = apps.get_model("folding", "Survey").objects.create(length_m=1.0, pipe=pipe)
        pipe.save()
        with connection.cursor() as cursor:
            described = connection.introspection.get_constraints(cursor, "folding_pipe")
        assert {"long", "by_length"} <= set(described)
        assert ["latest_id"] in [one["columns"] for one in described.values() if one["foreign_key"]]
        apps.get_model("folding", "Pipe").objects.update(latest=None)
        apps.get_model("folding", "Survey").objects.all().delete()
    finally:
        with connection.schema_editor() as editor:
            operation.database_backwards("folding", editor, after, before)
    assert not {"folding_pipe", "folding_survey"} & set(connection.introspection.table_names())


def test_each_model_is_rendered_once(monkeypatch: pytest.MonkeyPatch) -> None:
    rendered: list[str] = []
    render = ModelState.render

    def counted(state: ModelState, apps: Any) -> Any:
        rendered.append(state.name)
        return render(state, apps)

    monkeypatch.setattr(ModelState, "render", counted)
    state = ProjectState()
    assert not state.apps.get_models()
    (operation,) = folded(circle())
    operation.state_forwards("folding", state)
    assert {model.__name__ for model in state.apps.get_models()} == {"Pipe", "Survey"}
    assert sorted(rendered) == ["Pipe", "Survey"]


def test_it_is_written_to_a_file_that_says_the_same() -> None:
    migration = migrations.Migration("0001_initial", "folding")
    migration.operations = folded(circle())
    written: dict[str, Any] = {}
    exec(MigrationWriter(migration).as_string(), written)  # noqa: S102 - as the loader of migrations does
    (read,) = written["Migration"].operations
    assert isinstance(read, CreateModels)
    first, again = ProjectState(), ProjectState()
    migration.operations[0].state_forwards("folding", first)
    read.state_forwards("folding", again)
    assert first == again
