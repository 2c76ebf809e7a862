"""Pages that do not need the API or a script: sign-in, password, second factor and invitation."""

from __future__ import annotations

import re
from base64 import b32encode
from collections.abc import Callable
from functools import wraps
from typing import Any, cast

from axes.models import AccessAttempt
from django import forms
from django.conf import settings
from django.contrib.auth import logout
from django.contrib.auth.decorators import login_required
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.views import LoginView
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.templatetags.static import static
from django.urls import reverse
from django.utils import timezone
from django.utils.decorators import method_decorator
from django.utils.safestring import mark_safe
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from compute.base.messages import message
from surveys.core.errors import ServiceError
from surveys.core.messages import code_of, error_text
from surveys.core.messages import render as render_message
from surveys.core.request_context import client_address
from surveys.core.request_limits import limits_of, name_limit, wait_for
from surveys.documents.qr_code import qr_svg
from surveys.inputs.problems import CONTENT_TYPE, problem_of_message
from surveys.models import User
from surveys.services.people.people import invitation_accept, invitation_open
from surveys.services.people.sign_in import (
    credentials_check,
    password_change,
    password_check,
    second_factor_begin,
    second_factor_begun,
    second_factor_confirm,
    second_factor_enrolment_required,
    second_factor_of,
)

Page = Callable[..., HttpResponseBase]


@require_safe
def favicon(request: HttpRequest) -> HttpResponse:
    """Redirect to the icon, which browsers request here for pages that do not name one."""
    return redirect(static("surveys/icon.svg"))


def rate_limited(page: Page) -> Page:
    """Limit how often one address or user may send the forms of a page, so that passwords and codes cannot be guessed."""

    @wraps(page)
    def limited(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        wait = None
        if request.method == "POST":
            named = [name_limit(request.POST["username"])] if "username" in request.POST else []
            wait = wait_for([*limits_of("sign-in", request), *named])
        if wait is None:
            return page(request, *args, **kwargs)
        answer = render(request, "too_often.html", {"seconds": int(wait) + 1}, status=429)
        answer["Retry-After"] = str(int(wait) + 1)
        return answer

    return limited


class SignInForm(AuthenticationForm):
    one_time_code = forms.CharField(max_length=32, required=False)

    def clean(self) -> dict[str, Any]:
        given = self.cleaned_data
        if self.request is not None and "username" in given and "password" in given:
            try:
                self.user_cache = credentials_check(
                    self.request,
                    username=given["username"],
                    password=given["password"],
                    one_time_code=given.get("one_time_code", ""),
                    now=timezone.now(),
                )
            except ServiceError as error:
                raise forms.ValidationError(error_text(error), code=code_of(error)) from None
        return given


@method_decorator(rate_limited, name="dispatch")
class SignInPage(LoginView):
    """The page that begins a session."""

    http_method_names = ["get", "head", "post", "options"]
    template_name = "sign_in.html"
    authentication_form = SignInForm

    def get_success_url(self) -> str:
        """Return the page requested before sign-in, or the second factor's page while enrolment is required."""
        user = self.request.user
        missing = isinstance(user, User) and second_factor_enrolment_required(user)
        return reverse("second-factor") if missing else super().get_success_url()


class NewPasswordForm(forms.Form):
    """A new password, entered twice."""

    new_password = forms.CharField(max_length=200, strip=False)
    again = forms.CharField(max_length=200, strip=False)

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if given.get("new_password") != given.get("again"):
            raise forms.ValidationError(_("The two passwords are not the same."), code="passwords-differ")
        return given


class PasswordForm(NewPasswordForm):
    current_password = forms.CharField(max_length=200, strip=False)


@never_cache
@login_required
@rate_limited
@require_http_methods(["GET", "POST"])
def password(request: HttpRequest) -> HttpResponse:
    """Change the user's password and end all sessions."""

    def change(given: dict[str, str]) -> None:
        user = password_check(
            request, username=request.user.get_username(), password=given["current_password"]
        )
        password_change(user=user, new=given["new_password"], now=timezone.now())

    form = PasswordForm(request.POST or None)
    if _done(form, change):
        logout(request)
        return redirect("sign-in")
    return _page(request, "password.html", {"form": form})


@never_cache
@rate_limited
@require_http_methods(["GET", "POST"])
def invitation(request: HttpRequest, token: str) -> HttpResponse:
    """Let an invited person set a password once; 404 for an invitation that is not valid any more."""
    now = timezone.now()
    found = invitation_open(token, now)
    if found is None:
        raise Http404

    def accept(given: dict[str, str]) -> None:
        if invitation_accept(token=token, password=given["new_password"], now=now) is None:
            raise Http404

    form = NewPasswordForm(request.POST or None)
    if _done(form, accept):
        return redirect("sign-in")
    return _page(request, "invitation.html", {"form": form, "invitation": found})


class OwnPasswordForm(forms.Form):
    password = forms.CharField(max_length=200, strip=False)


class CodeForm(forms.Form):
    one_time_code = forms.CharField(max_length=12)


@never_cache
@login_required
@rate_limited
@require_http_methods(["GET", "POST"])
def second_factor(request: HttpRequest) -> HttpResponse:
    """Enrol a second factor: password, then one-time code; then show the recovery codes once."""
    user = cast(User, request.user)
    shown: dict[str, Any] = {"confirmed": second_factor_of(user) is not None}

    def begin(given: dict[str, str]) -> None:
        password_check(request, username=user.get_username(), password=given["password"])
        second_factor_begin(user=user)

    def confirm(given: dict[str, str]) -> None:
        shown["recovery_codes"] = second_factor_confirm(user=user, **given)

    form: forms.Form
    if "one_time_code" in request.POST:
        form = CodeForm(request.POST)
        begun = not _done(form, confirm)
    else:
        form = OwnPasswordForm(request.POST or None)
        begun = _done(form, begin)
    if begun and (device := second_factor_begun(user)):
        # Generated from values of this service; no user's text is in the picture.
        shown["qr"] = mark_safe(qr_svg(device.config_url))  # noqa: S308
        shown["secret"] = " ".join(re.findall("....", b32encode(device.bin_key).decode()))
    return _page(request, "second_factor.html", shown | {"form": form})


def locked_out(request: HttpRequest, response: Any, credentials: dict[str, Any] | None) -> HttpResponse:
    """Answer while a user name is locked for an address, whether or not the user exists."""
    username = (credentials or {}).get("username") or request.POST.get("username", "")
    attempt = (
        AccessAttempt.objects.filter(username=username, ip_address=client_address(request))
        .order_by("-attempt_time")
        .first()
    )
    opens = (attempt.attempt_time if attempt else timezone.now()) + settings.AXES_COOLOFF_TIME
    seconds = max(1, int((opens - timezone.now()).total_seconds()) + 1)
    minutes = -(-seconds // 60)
    locked = message("sign-in-locked", count=minutes)
    answer: HttpResponse
    if request.path.startswith("/api/"):
        document = problem_of_message(429, locked)
        answer = JsonResponse(document, status=429, content_type=CONTENT_TYPE)
    else:
        answer = render(request, "sign_in.html", {"locked": render_message(locked).body}, status=429)
    answer["Retry-After"] = str(seconds)
    return answer


def _done(form: forms.Form, action: Callable[[dict[str, Any]], None]) -> bool:
    """Perform the action of a valid form; add an error to the form if the action is rejected."""
    if not form.is_valid():
        return False
    try:
        action(form.cleaned_data)
    except ServiceError as error:
        form.add_error(None, _("The password is wrong.") if error.status == 401 else error_text(error))
        return False
    return True


def _page(request: HttpRequest, template: str, context: dict[str, Any]) -> HttpResponse:
    return render(request, template, context, status=400 if context["form"].errors else 200)
