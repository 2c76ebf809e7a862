"""Addresses of the technician's pages; the common prefix limits the scope of their service worker."""

from django.urls import path

from surveys.pages.technician import calendar, fragments, results, views

urlpatterns = [
    path("", views.today, name="field-today"),
    path("calendar/", calendar.calendar, name="field-calendar"),
    path("worker.js", views.worker, name="field-worker"),
    path("points/<uuid:pk>/", views.worksheet, name="field-worksheet"),
    path("points/<uuid:pk>/answer/", fragments.answer, name="field-answer"),
    path("points/<uuid:pk>/wall/", views.wall, name="field-wall"),
    path("points/<uuid:pk>/wall/answer/", fragments.wall_answer, name="field-wall-answer"),
    path("points/<uuid:pk>/survey/", views.survey, name="field-survey"),
    path("surveys/<uuid:pk>/result/", results.result, name="field-result"),
]
