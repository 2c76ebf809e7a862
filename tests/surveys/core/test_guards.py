"""Rules enforced by the database itself."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from django.db.models import ProtectedError
from django.utils import timezone

from surveys.core.append_only import IMMUTABLE
from surveys.models import (
    Calibration,
    Client,
    MeasuringPoint,
    Pipe,
    PipeData,
    Result,
    Role,
    Site,
    Survey,
    User,
)
from tests.surveys.scene import Scene, current

pytestmark = pytest.mark.django_db


def rejected(do: Any) -> str:
    with pytest.raises(IntegrityError) as caught, transaction.atomic():
        do()
    return str(caught.value)


def test_a_survey_has_one_current_result(scene: Scene) -> None:
    result = current(scene.survey())
    result.pk, result.replaces = None, None
    assert "result" in rejected(lambda: result.save(force_insert=True))


@pytest.mark.parametrize("column", ["volume_flow_m3_s", "findings", "pipe_data_id"])
def test_a_result_is_never_changed(scene: Scene, column: str) -> None:
    scene.survey()
    value = {"volume_flow_m3_s": 1.0, "findings": [], "pipe_data_id": scene.in_force().pk}[column]
    assert "append-only" in rejected(lambda: Result.objects.update(**{column: value}))


def test_measurements_never_change_their_owner(scene: Scene) -> None:
    survey, other = scene.survey(), Client.objects.create(name="Somebody else")
    site = Site.objects.create(client=other, name="Elsewhere")
    pipe = Pipe.objects.create(site=site, name="P")
    point = MeasuringPoint.objects.create(pipe=pipe, name="M")
    assert survey.client == scene.pipe.site.client
    for row, value in (
        (scene.pipe.site, {"client": other}),
        (scene.pipe, {"site": site}),
        (scene.point, {"pipe": pipe}),
        (survey, {"measuring_point": point}),
        (survey, {"client": other}),
    ):
        rows = type(row).objects.filter(pk=row.pk)
        assert "append-only" in rejected(lambda rows=rows, value=value: rows.update(**value))
        # To write what stands there already is no change.
        [(name, _)] = value.items()
        assert rows.update(**{name: getattr(row, name)}) == 1


def test_pipe_data_is_never_changed(scene: Scene) -> None:
    assert "append-only" in rejected(lambda: PipeData.objects.update(wall_thickness_m=0.009))


def test_every_append_only_table_has_guards() -> None:
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT tbl_name FROM sqlite_master WHERE type = 'trigger'")
        else:
            cursor.execute("SELECT DISTINCT event_object_table FROM information_schema.triggers")
        assert {row[0] for row in cursor.fetchall()} >= set(IMMUTABLE)


@pytest.mark.parametrize(
    ("column", "value", "constraint"),
    [
        ("wall_thickness_m", 0.11, "pipe_data_bore_left"),
        ("wall_thickness_m", 0.0, "pipe_data_wall_positive"),
        ("outer_diameter_m", -0.2, "pipe_data"),
        ("material", "", "pipe_data_material_named_or_by_value"),
        ("medium", "", "pipe_data_medium_named_or_by_value"),
        ("change", "modification", "pipe_data_modification_dated"),
        ("change", "correction", "pipe_data_corrects_if_correction"),
    ],
)
def test_impossible_pipe_data_is_rejected(scene: Scene, column: str, value: Any, constraint: str) -> None:
    data = scene.in_force()
    data.pk, data.change, data.reason = None, data.change, "x"
    setattr(data, column, value)
    assert constraint in rejected(lambda: data.save(force_insert=True))


def test_a_calibration_is_due_after_its_date(scene: Scene) -> None:
    def too_early() -> None:
        Calibration.objects.create(
            instrument=scene.kit.meter,
            certificate="C",
            laboratory="L",
            calibrated_on=date(2026, 3, 1),
            due_on=date(2026, 3, 1),
            recorded_at=timezone.now(),
            recorded_by=scene.cast.calibration_admin,
        )

    assert "calibration_due_after_its_date" in rejected(too_early)


def test_only_client_viewers_belong_to_a_client(cast: Any) -> None:
    assert "user_client_only" in rejected(
        lambda: User.objects.filter(role=Role.OFFICE).update(client=cast.client)
    )


def test_inputs_of_a_result_cannot_be_deleted_by_a_query(scene: Scene) -> None:
    scene.survey()
    for rows in (
        PipeData.objects.all(),
        Survey.objects.all(),
        Client.objects.filter(pk=scene.cast.client.pk),
    ):
        with pytest.raises(ProtectedError):
            rows.delete()


def test_no_input_of_a_result_is_removed_by_a_cascade(scene: Any) -> None:
    """PostgreSQL rejects it by a trigger, SQLite by the foreign keys of dependent rows."""
    scene.survey()
    for model in (Result, PipeData, Calibration):
        rejected(lambda table=model._meta.db_table: removed_by_sql(table))


def removed_by_sql(table: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(f"DELETE FROM {table}")
    if connection.vendor == "sqlite":
        connection.check_constraints()
