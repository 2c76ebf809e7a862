"""Custom materials and media: creation, and revision with the pipes based on them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime

from django.db import transaction
from django.db.models import Q, QuerySet

from compute.base.errors import ComputeError
from compute.base.messages import message, quantity, record
from compute.library.custom_medium import table_properties
from compute.library.materials import solids
from compute.library.media import media
from compute.measuring.entries import MediumEntry, PipeEntry
from surveys.core.errors import Conflict, ServiceError
from surveys.models import (
    CustomMaterial,
    CustomMaterialData,
    CustomMedium,
    CustomMediumData,
    Pipe,
    PipeData,
    Recomputation,
    User,
)
from surveys.models.library import CustomMediumEntry
from surveys.models.reasons import Reason, system_reason
from surveys.services.pipes.pipes import PipeStatement, pipe_correct
from surveys.services.records import record_create


@transaction.atomic
def custom_material_create(
    *, material: CustomMaterial, data: CustomMaterialData, by: User, now: datetime
) -> CustomMaterial:
    """Create a custom material with its first values.

    Raises Conflict if the library has that name, ServiceError for impossible values.
    """
    _check_name(material.name, (solid.name for solid in solids()))
    record_create(material)
    data.material, data.reason = material, system_reason(message("first-entry"))
    _store_material(data, by, now)
    return material


@transaction.atomic
def custom_medium_create(
    *, medium: CustomMedium, data: CustomMediumData, by: User, now: datetime
) -> CustomMedium:
    """Create a custom medium with its first table.

    Raises Conflict if the library has that name, ComputeError for a table that cannot be read.
    """
    _check_name(medium.name, (one.name for one in media()))
    record_create(medium)
    data.medium, data.reason = medium, system_reason(message("first-entry"))
    _store_medium(data, by, now)
    return medium


@transaction.atomic
def custom_material_revise(
    *, material: CustomMaterial, data: CustomMaterialData, by: User, now: datetime
) -> list[Recomputation]:
    """Replace wrong values of a custom material; every pipe based on them is corrected.

    Raises ServiceError for values that are impossible, also on one of the pipes.
    """
    of_material = Q(custom_material_data__material=material) | Q(custom_lining_data__material=material)
    _lock_pipes(of_material)
    CustomMaterial.objects.select_for_update().get(pk=material.pk)
    data.material = material
    _store_material(data, by, now)
    reason = system_reason(message("custom-material-revised", name=material.name, reason=data.reason))
    return [
        _correct(row, _with_material(row, data), row.medium_entry(), reason, by=by, now=now)
        for row in _in_force(of_material)
    ]


@transaction.atomic
def custom_medium_revise(
    *, medium: CustomMedium, data: CustomMediumData, by: User, now: datetime
) -> list[Recomputation]:
    """Replace a wrong table of a custom medium; every pipe based on it is corrected.

    Raises ComputeError for a table that cannot be read, ServiceError if it is unsuitable for one of the pipes.
    """
    of_medium = Q(custom_medium_data__medium=medium)
    _lock_pipes(of_medium)
    CustomMedium.objects.select_for_update().get(pk=medium.pk)
    data.medium = medium
    _store_medium(data, by, now)
    reason = system_reason(message("custom-medium-revised", name=medium.name, reason=data.reason))
    return [
        _correct(row, row.pipe_entry(), _with_medium(row, data), reason, by=by, now=now)
        for row in _in_force(of_medium)
    ]


def _check_name(name: str, taken: Iterable[str]) -> None:
    if name in set(taken):
        raise Conflict("name-taken", field="name", name=name)


def _store_material(data: CustomMaterialData, by: User, now: datetime) -> None:
    shear = data.shear_sound_speed_m_s
    if shear is not None and shear >= data.longitudinal_sound_speed_m_s:
        raise ServiceError(
            "shear-not-slower",
            field="shear_sound_speed",
            shear=quantity(shear, "speed"),
            longitudinal=quantity(data.longitudinal_sound_speed_m_s, "speed"),
        )
    data.recorded_by, data.recorded_at = by, now
    record_create(data)


def _store_medium(data: CustomMediumData, by: User, now: datetime) -> None:
    table = data.medium_table()
    try:
        table_properties(table, table.temperature)
    except ComputeError as error:
        raise ServiceError.of(error, field="table") from None
    data.recorded_by, data.recorded_at = by, now
    record_create(data)


def _lock_pipes(based_on: Q) -> None:
    # Pipes before the material or medium: the same order as a change of a pipe.
    pipes = PipeData.objects.filter(based_on).values("pipe")
    list(Pipe.objects.select_for_update(no_key=True).filter(pk__in=pipes).order_by("pk"))


def _in_force(based_on: Q) -> QuerySet[PipeData]:
    """Return the uncorrected versions of pipe data, of any date."""
    rows = PipeData.objects.filter(based_on, corrected_by__isnull=True)
    return rows.select_related("pipe", "wall_measurement").order_by("pipe_id", "recorded_at", "id")


def _with_material(row: PipeData, data: CustomMaterialData) -> PipeEntry:
    entry = row.pipe_entry()
    if row.custom_material_data and row.custom_material_data.material_id == data.material_id:
        entry = replace(entry, material=data.entry())
    if entry.lining and row.custom_lining_data and row.custom_lining_data.material_id == data.material_id:
        entry = replace(entry, lining=replace(entry.lining, material=data.entry()))
    return entry


def _with_medium(row: PipeData, data: CustomMediumData) -> CustomMediumEntry:
    return CustomMediumEntry(
        name=row.medium,
        temperature=row.medium_temperature_k,
        temperature_source=row.medium_temperature_source,
        pressure=row.medium_pressure_pa,
        version=data,
    )


# The message of a physics error, with the pipe.
OF_A_PIPE = {"out-of-range": "out-of-range/pipe", "not-enough-data": "not-enough-data/pipe"}


def _correct(
    row: PipeData, pipe: PipeEntry, medium: MediumEntry, reason: Reason, *, by: User, now: datetime
) -> Recomputation:
    try:
        _, recomputation = pipe_correct(
            pipe=row.pipe,
            corrects=row,
            statement=PipeStatement(pipe, medium, row.as_entered),
            reason=reason,
            valid_from=row.valid_from,
            wall_measurement=row.wall_measurement,
            by=by,
            now=now,
        )
    except ComputeError as error:
        key = OF_A_PIPE.get(error.code)
        if key is None:
            raise ServiceError.of(error) from None
        pipe_name = record("pipe", row.pipe_id, str(row.pipe))
        raise ServiceError(key, pipe=pipe_name, cause=error.message) from None
    return recomputation
