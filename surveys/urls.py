"""Every address the service answers."""

from django.contrib import admin
from django.contrib.auth.views import LogoutView
from django.urls import include, path
from django.views.generic import RedirectView
from django.views.i18n import JavaScriptCatalog

from surveys.pages import account

handler400 = "surveys.api.refusals.bad_request"
handler404 = "surveys.api.refusals.not_found"
handler500 = "surveys.api.refusals.server_error"

urlpatterns = [
    path("favicon.ico", account.favicon),
    # The texts of the scripts, in the language of the reader.
    path("jsi18n/", JavaScriptCatalog.as_view(packages=["surveys"]), name="javascript-catalog"),
    path("sign-in/", account.SignInPage.as_view(), name="sign-in"),
    path("sign-out/", LogoutView.as_view(), name="sign-out"),
    path("password/", account.password, name="password"),
    path("second-factor/", account.second_factor, name="second-factor"),
    path("invitations/<str:token>/", account.invitation, name="invitation"),
    # The admin's own sign-in asks for no second factor.
    path("admin/login/", RedirectView.as_view(pattern_name="sign-in", query_string=True)),
    path("admin/", admin.site.urls),
    path("api/", include("surveys.api.urls")),
    path("help/", include("surveys.pages.help.urls")),
    path("field/", include("surveys.pages.technician.urls")),
    path("office/", include("surveys.pages.office.urls")),
    path("fleet/", include("surveys.pages.calibration.urls")),
    path("", include("surveys.pages.client.urls")),
]
