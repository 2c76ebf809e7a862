"""Migrations that create models create their constraints with them."""

from __future__ import annotations

from django.db import models
from django.db.migrations.operations import AddConstraint, AddField, AddIndex, CreateModel

from surveys.management.folding import folded

KEY = [("id", models.BigAutoField(primary_key=True)), ("length_m", models.FloatField())]


def positive(name: str) -> models.CheckConstraint:
    return models.CheckConstraint(name=name, condition=models.Q(length_m__gt=0))


def test_a_constraint_and_an_index_go_into_the_creation_of_their_model() -> None:
    index = models.Index(fields=["length_m"], name="by_length")
    operations = [CreateModel("Pipe", KEY), AddConstraint("pipe", positive("long")), AddIndex("pipe", index)]
    (created,) = folded(operations)
    assert [one.name for one in created.options["constraints"]] == ["long"]
    assert [one.name for one in created.options["indexes"]] == ["by_length"]


def test_they_stay_behind_where_the_model_gets_fields_later_or_is_there_already() -> None:
    late = AddField("pipe", "bore_m", models.FloatField(default=0))
    of_new, of_old = AddConstraint("pipe", positive("long")), AddConstraint("site", positive("wide"))
    operations = [CreateModel("Pipe", KEY), late, of_new, of_old]
    assert folded(operations) == operations
