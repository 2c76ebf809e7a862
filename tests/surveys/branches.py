"""Surveys that belong together: branches of one site, paths at one point, each with the log it is to have."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from django.utils import timezone

from surveys.commands.demo.kit import transducer_entry
from surveys.models import Combination, CombinedResult, Instrument, MeasuringPoint, Recomputation, Survey
from surveys.models.instrument import Kind
from surveys.results import recalculation
from surveys.services.fleet.instruments import instrument_create
from surveys.services.pipes.pipes import pipe_create
from surveys.services.pipes.setups import SetupRequest, setup_calculate
from surveys.services.results.combinations import combination_create
from surveys.services.surveys.logs import Upload, log_import
from surveys.services.surveys.surveys import SurveyNotes, survey_record
from tests.surveys.scene import LONG_STRAIGHT, STARTED, STATEMENT, Scene


@dataclass(frozen=True)
class Mounting:
    """How a survey is to be mounted."""

    primary_survey: Survey | None = None
    path_angle_deg: float | None = None
    pair: Instrument | None = None
    traverses: int = 2


def branch(scene: Scene, name: str) -> Scene:
    """Another pipe of the same kind at the site, with a point on it."""
    pipe = pipe_create(
        site=scene.pipe.site,
        name=name,
        description="",
        statement=STATEMENT,
        valid_from=None,
        by=scene.cast.office,
        now=timezone.now(),
    )
    return replace(
        scene, pipe=pipe, point=MeasuringPoint.objects.create(pipe=pipe, name="Straight run", **LONG_STRAIGHT)
    )


def another_pair(scene: Scene) -> Instrument:
    """A second transducer pair of the same type."""
    pair = Instrument(kind=Kind.TRANSDUCER_PAIR, type_name="Of the same type", serial="P-2")
    return instrument_create(
        instrument=pair, entry=transducer_entry(), as_entered={}, by=scene.cast.office, now=timezone.now()
    )


def mounted(scene: Scene, mounting: Mounting | None = None) -> Survey:
    """A survey that has no log yet."""
    mounting = mounting or Mounting()
    setup = setup_calculate(
        point=scene.point,
        requested=SetupRequest(mounting.pair or scene.kit.pair, traverses=mounting.traverses),
        by=scene.cast.technician,
        now=timezone.now(),
    )
    path_angle = None if mounting.path_angle_deg is None else math.radians(mounting.path_angle_deg)
    return survey_record(
        point=scene.point,
        setup=setup,
        job=None,
        instruments=[scene.kit.meter],
        notes=SurveyNotes(started_at=STARTED, path_angle_rad=path_angle),
        by=scene.cast.technician,
        now=timezone.now(),
        primary_survey=mounting.primary_survey,
    )


def logged(survey: Survey, level: float | Sequence[float] = 170.0, late: float = 0.0) -> Survey:
    """The survey with a log of 80 readings about a time difference [ns], or of those given; it starts `late` [s]."""
    levels = [level] * 80 if isinstance(level, int | float) else level
    rows = ["time,transit_time [us],time_difference [ns]"]
    rows += [
        f"{(STARTED + timedelta(seconds=late + i)).isoformat()},{311.16 + 0.001 * (i % 3):.3f},{level + i % 5}"
        for i, level in enumerate(levels)
    ]
    log_import(
        survey=survey,
        upload=Upload(io.BytesIO("\n".join(rows).encode()), "a.csv"),
        by=survey.technician,
        now=timezone.now(),
    )
    return survey


def combined(scene: Scene, kind: str, surveys: Sequence[Survey]) -> Combination:
    """Surveys combined by the office."""
    return combination_create(
        combination=Combination(site=scene.pipe.site, name="Both", kind=kind),
        surveys=surveys,
        by=scene.cast.office,
        now=timezone.now(),
    )


def current_of(combination: Combination) -> CombinedResult:
    """The one current result of a combination."""
    return CombinedResult.objects.get(combination=combination, replaced_at__isnull=True)


def worked_off(recomputation: Recomputation) -> Recomputation:
    """A recomputation, run to its end."""
    recalculation.recomputation_run(recomputation.pk)
    recomputation.refresh_from_db()
    return recomputation


def rows_of(budget: Sequence[dict[str, Any]]) -> dict[str, float]:
    """Contribution [m3/s] of each input of a survey's budget, with the sign of its sensitivity."""
    return {
        row["input"]: math.copysign(row["contribution"]["si"], row["sensitivity"]["si"]) for row in budget
    }


def later(seconds: float) -> datetime:
    """A time on the day of the surveys."""
    return STARTED + timedelta(seconds=seconds)
