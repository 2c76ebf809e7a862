"""Pipe with a survey, created by the services, for tests of later events."""

from __future__ import annotations

import io
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from typing import Any

from django.utils import timezone

from compute.measuring.entries import MaterialEntry, MediumEntry, PipeEntry
from surveys.models import MeasuringPoint, Pipe, PipeData, Recomputation, Result, Site, Survey
from surveys.pipes.selectors import pipe_data_valid
from surveys.services.pipes.pipes import PipeStatement, pipe_alter, pipe_correct, pipe_create
from surveys.services.pipes.setups import SetupRequest, setup_calculate
from surveys.services.surveys.logs import Upload, log_import
from surveys.services.surveys.surveys import SurveyNotes, survey_record

STATEMENT = PipeStatement(
    PipeEntry(0.2191, 0.0063, MaterialEntry("carbon-steel")),
    MediumEntry("water", 331.15, "measured", 600_000.0),
    {"pipe.wall_thickness": "6.3 mm"},
)
STARTED = datetime(2026, 10, 6, 7, 30, tzinfo=UTC)


# A place that adds almost nothing to the uncertainty of a flow.
LONG_STRAIGHT = {
    "upstream_disturbance": "two-bends-in-plane",
    "upstream_straight_length_m": 6.0,
    "downstream_straight_length_m": 2.5,
}


@dataclass(frozen=True)
class Scene:
    """A pipe, a point on it, and who works with them."""

    pipe: Pipe
    point: MeasuringPoint
    cast: Any
    kit: Any

    def survey(
        self, started_at: datetime = STARTED, readings: int = 80, time_difference: int = 170
    ) -> Survey:
        """Create a survey with its log imported and reduced."""
        setup = setup_calculate(
            point=self.point,
            requested=SetupRequest(self.kit.pair, traverses=2),
            by=self.cast.technician,
            now=timezone.now(),
        )
        survey = survey_record(
            point=self.point,
            setup=setup,
            job=None,
            instruments=[self.kit.meter],
            notes=SurveyNotes(started_at=started_at),
            by=self.cast.technician,
            now=timezone.now(),
        )
        log_import(
            survey=survey,
            upload=Upload(io.BytesIO(log(readings, time_difference)), "a.csv"),
            by=self.cast.technician,
            now=timezone.now(),
        )
        return survey

    def correct(self, wall: float, valid_from: date | None = None, reason: str = "Gauged.") -> Recomputation:
        """Correct the wall of the version in force."""
        corrects = self.in_force()
        _, recomputation = pipe_correct(
            pipe=self.pipe,
            corrects=corrects,
            statement=with_wall(wall),
            reason=reason,
            valid_from=valid_from,
            wall_measurement=None,
            by=self.cast.office,
            now=timezone.now(),
        )
        return recomputation

    def alter(self, wall: float, valid_from: date) -> Recomputation:
        """Alter the wall from a date on."""
        _, recomputation = pipe_alter(
            pipe=self.pipe,
            statement=with_wall(wall),
            reason="Renewed.",
            valid_from=valid_from,
            wall_measurement=None,
            by=self.cast.office,
            now=timezone.now(),
        )
        return recomputation

    def in_force(self) -> PipeData:
        data = pipe_data_valid(PipeData.objects.filter(pipe=self.pipe), date(2026, 10, 6))
        assert data
        return data


def make_scene(site: Site, cast: Any, kit: Any) -> Scene:
    """The pipe with its first data and a measuring point."""
    pipe = pipe_create(
        site=site,
        name="Return line",
        description="",
        statement=STATEMENT,
        valid_from=None,
        by=cast.office,
        now=timezone.now(),
    )
    return Scene(
        pipe, MeasuringPoint.objects.create(pipe=pipe, name="After the bend", **LONG_STRAIGHT), cast, kit
    )


def with_wall(wall: float) -> PipeStatement:
    return PipeStatement(replace(STATEMENT.pipe, wall_thickness=wall), STATEMENT.medium, {})


def log(readings: int, time_difference: int = 170) -> bytes:
    """A short log of round numbers; the time difference in ns."""
    rows = ["time,transit_time [us],time_difference [ns]"]
    rows += [
        f"{(STARTED + timedelta(seconds=i)).isoformat()},{311.16 + 0.001 * (i % 3):.3f},{time_difference + i % 5}"
        for i in range(readings)
    ]
    return "\n".join(rows).encode()


def current(survey: Survey) -> Result:
    """The one current result of a survey."""
    return Result.objects.get(survey=survey, replaced_at__isnull=True)
