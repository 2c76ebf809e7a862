"""Addresses of the calibration admin's pages."""

from django.urls import path

from surveys.pages.calibration import board, certificates, doubts, intervals

urlpatterns = [
    path("due/", board.due, name="fleet-due"),
    path("instruments/<uuid:pk>/", board.instrument, name="fleet-instrument"),
    path("instruments/<uuid:pk>/certificate/", certificates.certificate_new, name="fleet-certificate-new"),
    path("calibrations/<uuid:pk>/", certificates.certificate, name="fleet-certificate"),
    path("instruments/<uuid:pk>/intervals/", intervals.intervals, name="fleet-intervals"),
    path("interval-reviews/<uuid:pk>/", intervals.interval, name="fleet-interval"),
    path("interval-reviews/<uuid:pk>/decision/", intervals.interval_decide, name="fleet-interval-decide"),
    path("out-of-tolerance-reviews/", doubts.review_list, name="fleet-doubts"),
    path("out-of-tolerance-reviews/<uuid:pk>/", doubts.review_detail, name="fleet-doubt"),
    path(
        "out-of-tolerance-reviews/<uuid:pk>/surveys/<uuid:survey>/decision/",
        doubts.review_decision,
        name="fleet-doubt-decide",
    ),
]
