"""Addresses under /api/."""

from csp.decorators import csp_update
from django.urls import URLPattern, URLResolver, include, path, re_path
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView
from rest_framework.routers import SimpleRouter

from surveys.api import compute_views, diagnosis_view, refusals, second_factor, sign_in
from surveys.api.method_views import MethodsView
from surveys.api.records import (
    audit,
    batch,
    bookings,
    bulk,
    calibrations,
    combinations,
    day_sheets,
    due_list,
    fleet,
    instrument_reviews,
    instrument_types,
    jobs,
    labels,
    library,
    log_layouts,
    notices,
    people,
    pipes,
    places,
    plans,
    points,
    policies,
    qualification_files,
    recomputations,
    reports,
    site_summaries,
    surveys,
    technicians,
    tokens,
    tolerance,
)
from surveys.api.uncertainty_view import UncertaintyView

router = SimpleRouter(use_regex_path=False)
# They are tried in this order: first what is asked for most.
router.register("surveys", surveys.Surveys, "survey")
router.register("results", recomputations.Results, "result")
router.register("clients", places.Clients, "client")
router.register("sites", places.Sites, "site")
router.register("pipes", pipes.Pipes, "pipe")
router.register("measuring-points", points.MeasuringPoints, "measuring-point")
router.register("instruments", fleet.Instruments, "instrument")
router.register("calibrations", calibrations.Calibrations, "calibration")
router.register("acceptance-policies", policies.AcceptancePolicies, "acceptance-policy")
router.register("error-correction-policies", policies.ErrorCorrectionPolicies, "error-correction-policy")
router.register("interval-policies", policies.IntervalPolicies, "interval-policy")
router.register("calendar-feeds", due_list.CalendarFeeds, "calendar-feed")
router.register("instrument-types", instrument_types.InstrumentTypes, "instrument-type")
router.register("interval-reviews", instrument_reviews.IntervalReviews, "interval-review")
router.register("out-of-tolerance-reviews", tolerance.OutOfToleranceReviews, "out-of-tolerance-review")
router.register("custom-materials", library.CustomMaterials, "custom-material")
router.register("custom-media", library.CustomMedia, "custom-medium")
router.register("technicians", technicians.Technicians, "technician")
router.register("jobs", jobs.Jobs, "job")
router.register("bookings", bookings.Bookings, "booking")
router.register("dispatch/plans", plans.DispatchPlans, "dispatch-plan")
router.register("log-formats", log_layouts.LogFormats, "log-format")
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
    path("second-factor/", second_factor.SecondFactor.as_view()),
    path("second-factor/confirmations/", second_factor.SecondFactorConfirmation.as_view()),
    path("compute/spacing/", compute_views.SpacingView.as_view()),
    path("compute/flow/", compute_views.FlowView.as_view()),
    path("compute/uncertainty/", UncertaintyView.as_view()),
    path("compute/diagnosis/", diagnosis_view.DiagnosisView.as_view()),
    path("compute/methods/", MethodsView.as_view()),
    path("compute/pipe-sizes/", compute_views.PipeSizesView.as_view()),
    path("compute/materials/", compute_views.MaterialsView.as_view()),
    path("compute/media/", compute_views.MediaView.as_view()),
    path("instruments/calibration-due/", due_list.CalibrationDue.as_view()),
    path("instruments/<uuid:pk>/label.pdf", labels.InstrumentLabel.as_view()),
    path("surveys/batch/", batch.SurveyBatch.as_view()),
    path("instruments/<uuid:pk>/intermediate-checks/", instrument_reviews.InstrumentChecks.as_view()),
    path("interval-reviews/<uuid:pk>/chart.svg", instrument_reviews.IntervalReviewChart.as_view()),
    path("calibrations/bulk/", bulk.BulkCalibrations.as_view()),
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
    re_path(r"", refusals.not_found),
]
