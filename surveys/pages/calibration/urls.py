"""Addresses of the calibration admin's pages."""

from django.urls import path

from surveys.pages.calibration import board, certificates, intervals, out_of_tolerance_reviews

urlpatterns = [
    path("due/", board.due, name="fleet-due"),
    path("instruments/<uuid:pk>/", board.instrument, name="fleet-instrument"),
    path("instruments/<uuid:pk>/certificate/", certificates.certificate_new, name="fleet-certificate-new"),
    path("calibrations/<uuid:pk>/", certificates.certificate, name="fleet-certificate"),
    path("instruments/<uuid:pk>/intervals/", intervals.intervals, name="fleet-intervals"),
    path("interval-reviews/<uuid:pk>/", intervals.interval, name="fleet-interval"),
    path("interval-reviews/<uuid:pk>/decision/", intervals.interval_decide, name="fleet-interval-decide"),
    path(
        "out-of-tolerance-reviews/",
        out_of_tolerance_reviews.review_list,
        name="fleet-out-of-tolerance-reviews",
    ),
    path(
        "out-of-tolerance-reviews/<uuid:pk>/",
        out_of_tolerance_reviews.review_detail,
        name="fleet-out-of-tolerance-review",
    ),
    path(
        "out-of-tolerance-reviews/<uuid:pk>/surveys/<uuid:survey>/decision/",
        out_of_tolerance_reviews.review_decision,
        name="fleet-out-of-tolerance-decide",
    ),
]
