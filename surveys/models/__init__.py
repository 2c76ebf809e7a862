"""The records, one file for each aggregate."""

from surveys.models.base import Record, VisibleQuerySet, uuid7
from surveys.models.calibration import (
    AcceptancePolicy,
    CalendarFeed,
    Calibration,
    CalibrationPoint,
    CalibrationReminder,
    IntervalPolicy,
)
from surveys.models.combination import Combination, CombinationPart, CombinedResult
from surveys.models.document import Document, DocumentPart
from surveys.models.idempotency import IdempotencyKey
from surveys.models.instrument import Instrument, InstrumentState, TransducerData
from surveys.models.job import Job
from surveys.models.library import OwnMaterial, OwnMaterialData, OwnMedium, OwnMediumData
from surveys.models.log_layout import LogLayout
from surveys.models.measuring_point import MeasuringPoint, Setup
from surveys.models.notice import Notice
from surveys.models.pipe import Gauging, Pipe, PipeData
from surveys.models.result import Recomputation, RecomputationItem, Result
from surveys.models.site import Client, Site
from surveys.models.survey import Log, LogFilePart, ReadingBlock, Survey, SurveyData
from surveys.models.user import Role, User

__all__ = [
    "AcceptancePolicy",
    "CalendarFeed",
    "Calibration",
    "CalibrationPoint",
    "CalibrationReminder",
    "Client",
    "Combination",
    "CombinationPart",
    "CombinedResult",
    "Document",
    "DocumentPart",
    "Gauging",
    "IdempotencyKey",
    "Instrument",
    "InstrumentState",
    "IntervalPolicy",
    "Job",
    "Log",
    "LogFilePart",
    "LogLayout",
    "MeasuringPoint",
    "Notice",
    "OwnMaterial",
    "OwnMaterialData",
    "OwnMedium",
    "OwnMediumData",
    "Pipe",
    "PipeData",
    "ReadingBlock",
    "Recomputation",
    "RecomputationItem",
    "Record",
    "Result",
    "Role",
    "Setup",
    "Site",
    "Survey",
    "SurveyData",
    "TransducerData",
    "User",
    "VisibleQuerySet",
    "uuid7",
]
