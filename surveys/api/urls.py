"""Addresses under /api/."""

from django.urls import URLPattern, URLResolver, include, path, re_path
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView
from rest_framework.routers import SimpleRouter

from surveys.api import compute_views, diagnosis_view, problems, sign_in
from surveys.api.method_views import MethodsView
from surveys.api.records import (
    bulk,
    calibrations,
    combinations,
    due_list,
    fleet,
    jobs,
    labels,
    library,
    log_layouts,
    notices,
    pipes,
    places,
    points,
    policies,
    recomputations,
    surveys,
)
from surveys.api.uncertainty_view import UncertaintyView

router = SimpleRouter(use_regex_path=False)
router.register("clients", places.Clients, "client")
router.register("sites", places.Sites, "site")
router.register("pipes", pipes.Pipes, "pipe")
router.register("measuring-points", points.MeasuringPoints, "measuring-point")
router.register("instruments", fleet.Instruments, "instrument")
router.register("calibrations", calibrations.Calibrations, "calibration")
router.register("acceptance-policies", policies.AcceptancePolicies, "acceptance-policy")
router.register("interval-policies", policies.IntervalPolicies, "interval-policy")
router.register("calendar-feeds", due_list.CalendarFeeds, "calendar-feed")
router.register("own-materials", library.OwnMaterials, "own-material")
router.register("own-media", library.OwnMedia, "own-medium")
router.register("technicians", jobs.Technicians, "technician")
router.register("jobs", jobs.Jobs, "job")
router.register("log-layouts", log_layouts.LogLayouts, "log-layout")
router.register("surveys", surveys.Surveys, "survey")
router.register("combinations", combinations.Combinations, "combination")
router.register("results", recomputations.Results, "result")
router.register("notices", notices.Notices, "notice")
router.register("recomputations", recomputations.Recomputations, "recomputation")

version_1: list[URLPattern | URLResolver] = [
    path("sign-in/", sign_in.SignIn.as_view()),
    path("sign-out/", sign_in.SignOut.as_view()),
    path("me/", sign_in.Me.as_view()),
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
    path("calibrations/bulk/", bulk.BulkCalibrations.as_view()),
    path("calendar-feeds/<str:token>.ics", due_list.CalendarFeedFile.as_view()),
    path("", include(router.urls)),
]

urlpatterns = [
    path("v1/", include(version_1)),
    path("schema/", SpectacularAPIView.as_view(), name="schema"),
    path("docs/", SpectacularSwaggerSplitView.as_view(url_name="schema"), name="docs"),
    re_path(r"", problems.not_found),
]
