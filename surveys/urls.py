"""Every address the service answers."""

from django.contrib import admin
from django.contrib.auth.views import LoginView, LogoutView
from django.urls import include, path
from django.views.generic import RedirectView

handler400 = "surveys.api.problems.bad_request"
handler404 = "surveys.api.problems.not_found"
handler500 = "surveys.api.problems.server_error"

urlpatterns = [
    path("", RedirectView.as_view(pattern_name="docs")),
    path("sign-in/", LoginView.as_view(template_name="sign_in.html"), name="sign-in"),
    path("sign-out/", LogoutView.as_view(), name="sign-out"),
    path("admin/", admin.site.urls),
    path("api/", include("surveys.api.urls")),
]
