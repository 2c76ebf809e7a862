"""Addresses under /api/."""

from csp.decorators import csp_update
from django.urls import URLPattern, URLResolver, include, path, re_path
from django.views.decorators.csrf import csrf_exempt
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView
from rest_framework.routers import SimpleRouter

from surveys.api import refusals
from surveys.api.compute import diagnosis, views
from surveys.api.compute.methods import MethodsView
from surveys.api.compute.uncertainty import UncertaintyView
from surveys.api.dispatch import bookings, day_sheets, jobs, plans, qualification_files, technicians
from surveys.api.fleet import (
    calibrations,
    certificate_tables,
    due_list,
    instrument_reviews,
    instrument_types,
    instruments,
    labels,
    out_of_tolerance_reviews,
    policies,
)
from surveys.api.people import audit, people, second_factor, sign_in, tokens
from surveys.api.pipes import library, measuring_points, pipes, places
from surveys.api.results import combinations, notices, recomputations, reports, site_summaries
from surveys.api.surveys import batch, log_formats, surveys

router = SimpleRouter(use_regex_path=False)
# They are tried in this order: first what is asked for most.
router.register("surveys", surveys.Surveys, "survey")
router.register("results", recomputations.Results, "result")
router.register("clients", places.Clients, "client")
router.register("sites", places.Sites, "site")
router.register("pipes", pipes.Pipes, "pipe")
router.register("measuring-points", measuring_points.MeasuringPoints, "measuring-point")
router.register("instruments", instruments.Instruments, "instrument")
router.register("calibrations", calibrations.Calibrations, "calibration")
router.register("acceptance-policies", policies.AcceptancePolicies, "acceptance-policy")
router.register("error-correction-policies", policies.ErrorCorrectionPolicies, "error-correction-policy")
router.register("interval-policies", policies.IntervalPolicies, "interval-policy")
router.register("calendar-feeds", due_list.CalendarFeeds, "calendar-feed")
router.register("instrument-types", instrument_types.InstrumentTypes, "instrument-type")
router.register("interval-reviews", instrument_reviews.IntervalReviews, "interval-review")
router.register(
    "out-of-tolerance-reviews", out_of_tolerance_reviews.OutOfToleranceReviews, "out-of-tolerance-review"
)
router.register("custom-materials", library.CustomMaterials, "custom-material")
router.register("custom-media", library.CustomMedia, "custom-medium")
router.register("technicians", technicians.Technicians, "technician")
router.register("jobs", jobs.Jobs, "job")
router.register("bookings", bookings.Bookings, "booking")
router.register("dispatch/plans", plans.DispatchPlans, "dispatch-plan")
router.register("log-formats", log_formats.LogFormats, "log-format")
router.register("combinations", combinations.Combinations, "combination")
router.register("reports", reports.Reports, "report")
router.register("notices", notices.Notices, "notice")
router.register("recomputations", recomputations.Recomputations, "recomputation")
router.register("users", people.Users, "user")
router.register("invitations", people.Invitations, "invitation")
router.register("tokens", tokens.Tokens, "token")
router.register("audit", audit.Audit, "audit-entry")

version_1: list[URLPattern | URLResolver] = [
    path("sign-in/", sign_in.SignIn.as_view()),
    path("sign-out/", sign_in.SignOut.as_view()),
    path("me/", sign_in.Me.as_view()),
    path("password/", sign_in.Password.as_view()),
    path("second-factor/", second_factor.SecondFactor.as_view(), name="own-second-factor"),
    path("second-factor/confirmations/", second_factor.SecondFactorConfirmation.as_view()),
    path("compute/spacing/", views.SpacingView.as_view()),
    path("compute/flow/", views.FlowView.as_view()),
    path("compute/uncertainty/", UncertaintyView.as_view()),
    path("compute/diagnosis/", diagnosis.DiagnosisView.as_view()),
    path("compute/methods/", MethodsView.as_view()),
    path("compute/pipe-sizes/", views.PipeSizesView.as_view()),
    path("compute/materials/", views.MaterialsView.as_view()),
    path("compute/media/", views.MediaView.as_view()),
    path("instruments/calibration-due/", due_list.CalibrationDue.as_view()),
    path("instruments/<uuid:pk>/label.pdf", labels.InstrumentLabel.as_view()),
    path("surveys/batch/", batch.SurveyBatch.as_view()),
    path("instruments/<uuid:pk>/intermediate-checks/", instrument_reviews.InstrumentChecks.as_view()),
    path("interval-reviews/<uuid:pk>/chart.svg", instrument_reviews.IntervalReviewChart.as_view()),
    path("calibrations/bulk/", certificate_tables.BulkCalibrations.as_view()),
    path("calendar-feeds/<str:token>.ics", due_list.CalendarFeedFile.as_view()),
    path("technicians/<uuid:pk>/day-sheet.pdf", day_sheets.DaySheet.as_view()),
    path("sites/<uuid:pk>/summary.pdf", site_summaries.SiteSummary.as_view()),
    path("reports/<uuid:pk>/file.pdf", reports.ReportFile.as_view()),
    path(
        "technicians/<uuid:pk>/qualifications/<uuid:qualification>/certificate/",
        qualification_files.QualificationFile.as_view(),
    ),
    path("surveys/<uuid:pk>/reports/", reports.SurveyReports.as_view()),
    path("surveys/<uuid:pk>/report.pdf", reports.SurveyReport.as_view()),
    path("measuring-points/<uuid:pk>/setups/<uuid:setup>/sheet.pdf", reports.SetupSheet.as_view()),
    path("", include(router.urls)),
]

# The library's page sets styles of its own; scripts inline it has none.
docs = csp_update({"style-src": ["'unsafe-inline'"]})(SpectacularSwaggerSplitView.as_view(url_name="schema"))

urlpatterns = [
    path("v1/", include(version_1)),
    path("schema/", SpectacularAPIView.as_view(), name="schema"),
    path("docs/", docs, name="docs"),
    # Without the check of the CSRF token: a form that goes nowhere is answered as such.
    re_path(r"", csrf_exempt(refusals.not_found)),
]
