"""Addresses of the client pages."""

from django.urls import path

from surveys.pages.client import home, instruments, notices, places, surveys, views

urlpatterns = [
    path("", home.home, name="home"),
    path("units/", home.units, name="units"),
    path("sites/", places.sites, name="portal-sites"),
    path("sites/<uuid:pk>/", places.site, name="portal-site"),
    path("points/<uuid:pk>/", places.point, name="portal-point"),
    path("points/<uuid:pk>/history.csv", places.point_table, name="portal-point-table"),
    path("surveys/<uuid:pk>/", surveys.survey, name="portal-survey"),
    path("instruments/<uuid:pk>/", instruments.instrument, name="portal-instrument"),
    path("notices/", notices.notices, name="portal-notices"),
    path("notices/<uuid:pk>/acknowledgement/", notices.acknowledge, name="portal-notice-acknowledge"),
    path("results/<uuid:pk>/traceability/", views.traceability, name="traceability"),
]
