"""Addresses of the office's pages."""

from django.urls import path

from surveys.pages.office import (
    board,
    corrections,
    outliers,
    review,
    sheet_response,
    site_meters,
    transducers,
    types,
)

urlpatterns = [
    path("jobs/", board.board, name="office-board"),
    path("jobs/<uuid:pk>/status-changes/", board.move, name="office-move"),
    path("bookings/<uuid:pk>/check-out/", board.check_out, name="office-check-out"),
    path("bookings/<uuid:pk>/check-in/", board.check_in, name="office-check-in"),
    path("review/", review.queue, name="office-review"),
    path("pipes/<uuid:pk>/correction/", corrections.correction, name="office-correction"),
    path("transducers/<uuid:pk>/correction/", transducers.correction, name="office-transducers"),
    path("instrument-types/<uuid:pk>/", types.correction, name="office-type"),
    path("recomputations/<uuid:pk>/", sheet_response.recomputation, name="office-recomputation"),
    path("surveys/<uuid:pk>/report/", review.issue, name="office-issue"),
    path("surveys/<uuid:pk>/outliers/", outliers.outliers, name="office-outliers"),
    path("surveys/<uuid:pk>/site-meter/", site_meters.site_meter, name="office-site-meter"),
]
