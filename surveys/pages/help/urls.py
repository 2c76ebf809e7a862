"""Addresses of the help."""

from django.urls import path

from surveys.pages.help import codes, method

urlpatterns = [
    path("method/", method.MethodPage.as_view(), name="help-method"),
    path("codes/", codes.CodeList.as_view(), name="help-codes"),
    path("codes/<slug:code>/", codes.CodePage.as_view(), name="help-code"),
]
