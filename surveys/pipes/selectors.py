"""Selectors of pipe data, custom materials and media, logs and calibrations."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import UUID

import numpy as np
import zstandard
from django.contrib.auth.models import AnonymousUser
from django.db.models import Manager, Q
from numpy.typing import NDArray

from compute.library.materials import is_solid
from compute.library.media import is_medium
from compute.logs.segments import Segment
from compute.measuring.entries import MediumEntry
from compute.measuring.location import Place
from surveys.logfiles.codec import decode_block
from surveys.models import (
    Calibration,
    CombinedResult,
    CustomMaterial,
    CustomMaterialData,
    CustomMedium,
    CustomMediumData,
    Instrument,
    Log,
    MeasuringPoint,
    Pipe,
    PipeData,
    Setup,
    Survey,
    SurveyData,
    TransducerData,
    User,
)

Viewer = User | AnonymousUser
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def pipe_data_valid(
    versions: Iterable[PipeData], at: date, known_at: datetime | None = None
) -> PipeData | None:
    """The version true at a date, as it was known at a time (now, if none is given).

    A version that had been corrected by then is out; of the rest the one with the latest `valid_from` not
    after the date is in force, the one without such a date being the oldest.
    """
    known = [v for v in versions if known_at is None or v.recorded_at <= known_at]
    corrected = {v.corrects_id for v in known}
    valid = [v for v in known if v.id not in corrected and (v.valid_from is None or v.valid_from <= at)]
    return max(valid, key=lambda v: (v.valid_from or date.min, v.recorded_at), default=None)


def pipe_data_at(pipe: Pipe, at: date, known_at: datetime | None = None) -> PipeData | None:
    """`pipe_data_valid` of a pipe's own versions."""
    return pipe_data_valid(pipe.data.all(), at, known_at)


def custom_material_named(name: str, user: Viewer) -> CustomMaterialData | None:
    """The latest version of the office's custom material of that name, if there is one the user may know of.

    A name of the library is none of the office's own (`services.library` refuses it), and nothing is asked for it.
    """
    if is_solid(name):
        return None
    rows = CustomMaterialData.objects.visible_to(user).filter(material__name=name)
    return rows.select_related("material").first()


def custom_medium_named(name: str, user: Viewer) -> CustomMediumData | None:
    """The latest version of the office's custom medium of that name, as `custom_material_named`."""
    if is_medium(name):
        return None
    rows = CustomMediumData.objects.visible_to(user).filter(medium__name=name)
    return rows.select_related("medium").first()


def custom_materials_now(user: Viewer) -> list[CustomMaterialData]:
    """The latest version of each of the office's custom materials the user may know of."""
    rows = CustomMaterial.objects.visible_to(user).prefetch_related("versions")
    return [material.versions.all()[0] for material in rows]


def custom_media_now(user: Viewer) -> list[CustomMediumData]:
    """The latest version of each of the office's custom media the user may know of."""
    rows = CustomMedium.objects.visible_to(user).prefetch_related("versions")
    return [medium.versions.all()[0] for medium in rows]


def survey_date(survey: Survey) -> date:
    """The day of a survey by the calendar of its site."""
    return survey.started_at.astimezone(survey.measuring_point.pipe.site.zone).date()


def survey_medium(survey: SurveyData | Setup, data: PipeData) -> MediumEntry:
    """The pipe's medium, at the temperature taken on the day if one was."""
    entry = data.medium_entry()
    if survey.medium_temperature_k is None:
        return entry
    return replace(
        entry, temperature=survey.medium_temperature_k, temperature_source=survey.medium_temperature_source
    )


def marked_segments(data: SurveyData) -> tuple[Segment, ...]:
    """Return the marked segments of the log for the physics."""
    return tuple(
        Segment(
            microseconds(datetime.fromisoformat(one["start"])),
            microseconds(datetime.fromisoformat(one["end"])),
            one["reason"],
        )
        for one in data.segments
    )


def microseconds(moment: datetime) -> int:
    """A time as the logs have it: microseconds since 1970 UTC."""
    return (moment - EPOCH) // timedelta(microseconds=1)


def place_of(point: MeasuringPoint) -> Place:
    """Return a measuring point's location for the physics."""
    return Place(
        disturbance=point.upstream_disturbance,
        upstream_straight_length=point.upstream_straight_length_m,
        downstream_straight_length=point.downstream_straight_length_m,
        orientation=point.orientation,
        mounting=point.mounting,
        full_pipe=point.full_pipe,
        hazards=tuple(point.hazards),
    )


Block = tuple[NDArray[np.int64], dict[str, NDArray[np.float64]]]


def log_blocks(log: Log) -> Iterator[bytes | memoryview]:
    """A log's packed blocks in order."""
    rows = log.blocks.order_by("sequence").values_list("content", flat=True)
    return rows.iterator(chunk_size=4)


def kept_file(parts: Manager[Any]) -> Iterator[bytes]:
    """Yield the unchanged bytes of a stored log or document, by its parts."""
    for part in parts.order_by("sequence").iterator(chunk_size=2):
        yield zstandard.ZstdDecompressor().decompress(bytes(part.content))


def log_columns(log: Log, names: frozenset[str] | None = None) -> Iterator[Block]:
    """A log block by block, as the file gave it: times in microseconds since 1970 UTC, and the columns (all, or those named)."""
    for content in log_blocks(log):
        yield decode_block(content, names)


def paths_result(survey: Survey, at: datetime | None = None) -> CombinedResult | None:
    """Return the mean of the paths of a survey, current at a time; the current one if no time is given."""
    in_force = Q(replaced_at__isnull=True)
    if at is not None:
        in_force = (in_force | Q(replaced_at__gt=at)) & Q(computed_at__lte=at)
    first = survey.primary_survey_id or survey.pk
    rows = CombinedResult.objects.filter(
        in_force, combination__survey=first, combination__retired_at__isnull=True
    )
    return rows.first()


def transducer_data_now(instrument: Instrument) -> TransducerData | None:
    """Return the version of a transducer pair's data for new set-ups."""
    return transducer_data_latest(instrument.transducer_data.all()).get(instrument.pk)


def transducer_data_latest(versions: Iterable[TransducerData]) -> dict[UUID, TransducerData]:
    """Return the version for new set-ups by instrument.

    It is the latest version that corrects no other, or its correction: a correction of an earlier version describes the pair
    as it was then.
    """
    known = sorted(versions, key=lambda one: (one.recorded_at, one.pk))
    corrected_by = {one.corrects_id: one for one in known if one.corrects_id is not None}
    latest = {one.instrument_id: one for one in known if one.corrects_id is None}
    return {instrument_id: _end_of(one, corrected_by) for instrument_id, one in latest.items()}


def _end_of(version: TransducerData, corrected_by: Mapping[UUID, TransducerData]) -> TransducerData:
    while (later := corrected_by.get(version.pk)) is not None:
        version = later
    return version


def calibration_in_force(calibrations: Iterable[Calibration], on: date) -> Calibration | None:
    """Of an instrument's calibrations the latest made by a day, due or not; none that was corrected."""
    performed = [
        c for c in calibrations if c.calibrated_on <= on and getattr(c, "corrected_by", None) is None
    ]
    return max(performed, key=lambda c: (c.calibrated_on, c.recorded_at), default=None)
