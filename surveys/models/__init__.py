"""Models of the records, one module for each aggregate."""

from surveys.models.audit import AuditEntry
from surveys.models.base import Record, VisibleQuerySet, uuid7
from surveys.models.booking import Booking, BookingEvent
from surveys.models.calibration import (
    AcceptancePolicy,
    CalendarFeed,
    Calibration,
    CalibrationPoint,
    CalibrationReminder,
    ErrorCorrectionPolicy,
    IntervalPolicy,
)
from surveys.models.combination import Combination, CombinationPart, CombinedResult
from surveys.models.dispatch_plan import DispatchPlan
from surveys.models.document import Document, DocumentPart
from surveys.models.idempotency import IdempotencyKey
from surveys.models.instrument import Instrument, InstrumentState, TransducerData
from surveys.models.instrument_review import IntermediateCheck, IntervalReview
from surveys.models.instrument_type import InstrumentType
from surveys.models.job import Job, JobStatusChange
from surveys.models.library import CustomMaterial, CustomMaterialData, CustomMedium, CustomMediumData
from surveys.models.log_format import LogFormat
from surveys.models.measuring_point import MeasuringPoint, Setup
from surveys.models.notice import Notice
from surveys.models.pipe import Pipe, PipeData, WallMeasurement
from surveys.models.report import Report
from surveys.models.result import Recomputation, RecomputationItem, Result
from surveys.models.role import Role
from surveys.models.sign_in import ApiToken, Invitation, RecoveryCode, Scope
from surveys.models.site import Client, Site
from surveys.models.site_meter import SiteMeterReading
from surveys.models.survey import Log, LogFilePart, ReadingBlock, Survey, SurveyData
from surveys.models.technician import Absence, Qualification, TechnicianProfile
from surveys.models.tolerance import OutOfToleranceReview, ReviewedSurvey
from surveys.models.user import User

__all__ = [
    "Absence",
    "AcceptancePolicy",
    "ApiToken",
    "AuditEntry",
    "Booking",
    "BookingEvent",
    "CalendarFeed",
    "Calibration",
    "CalibrationPoint",
    "CalibrationReminder",
    "Client",
    "Combination",
    "CombinationPart",
    "CombinedResult",
    "CustomMaterial",
    "CustomMaterialData",
    "CustomMedium",
    "CustomMediumData",
    "DispatchPlan",
    "Document",
    "DocumentPart",
    "ErrorCorrectionPolicy",
    "IdempotencyKey",
    "Instrument",
    "InstrumentState",
    "InstrumentType",
    "IntermediateCheck",
    "IntervalPolicy",
    "IntervalReview",
    "Invitation",
    "Job",
    "JobStatusChange",
    "Log",
    "LogFilePart",
    "LogFormat",
    "MeasuringPoint",
    "Notice",
    "OutOfToleranceReview",
    "Pipe",
    "PipeData",
    "Qualification",
    "ReadingBlock",
    "Recomputation",
    "RecomputationItem",
    "Record",
    "RecoveryCode",
    "Report",
    "Result",
    "ReviewedSurvey",
    "Role",
    "Scope",
    "Setup",
    "Site",
    "SiteMeterReading",
    "Survey",
    "SurveyData",
    "TechnicianProfile",
    "TransducerData",
    "User",
    "VisibleQuerySet",
    "WallMeasurement",
    "uuid7",
]
