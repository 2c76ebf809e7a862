"""One's own second factor: begun, confirmed, taken away."""

from __future__ import annotations

from base64 import b32encode
from typing import Any, cast

from django.urls import reverse
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from surveys.api.people.sign_in import PasswordField, own_password_check
from surveys.api.throttles import ThrottledView
from surveys.api.views import documented
from surveys.documents.qr_code import qr_svg
from surveys.inputs.fields import StrictSerializer, TextField
from surveys.models import RecoveryCode, User
from surveys.services.people.sign_in import (
    second_factor_begin,
    second_factor_confirm,
    second_factor_enrolment_required,
    second_factor_of,
    second_factor_remove,
)

NO_STORE = {"Cache-Control": "no-store"}


class SecondFactorOut(serializers.Serializer):
    confirmed = serializers.BooleanField(help_text="Signing in takes a one-time code.")
    enrolment_required = serializers.BooleanField(
        help_text="Whether the user must enrol a second factor before any other request."
    )
    recovery_codes_left = serializers.IntegerField()


class OwnPasswordIn(StrictSerializer):
    password = PasswordField(help_text="Current password of the signed-in user.")


class SecretOut(serializers.Serializer):
    secret = serializers.CharField(
        help_text="Secret in base32 for an authenticator without a camera; shown only once."
    )
    address = serializers.CharField(help_text="Secret as an otpauth address.")
    qr_svg = serializers.CharField(help_text="Secret as a QR code, an SVG document.")


class CodeIn(StrictSerializer):
    one_time_code = TextField(max_length=12)


class RecoveryCodesOut(serializers.Serializer):
    recovery_codes = serializers.ListField(
        child=serializers.CharField(),
        help_text="Recovery codes; each replaces a one-time code once. Sent only in this answer.",
    )


class SecondFactor(ThrottledView):
    """One-time codes by time (RFC 6238) beside the password."""

    of_oneself = True
    conflicts = True
    throttled_as = "sign-in"

    @documented(responses=SecondFactorOut, tags=["sign-in"])
    def get(self, request: Request) -> Response:
        """Whether one has it, and whether it is required."""
        user = _user(request)
        left = RecoveryCode.objects.filter(user=user, used_at__isnull=True).count()
        state = {
            "confirmed": second_factor_of(user) is not None,
            "enrolment_required": second_factor_enrolment_required(user),
            "recovery_codes_left": left,
        }
        return Response(SecondFactorOut(state).data)

    @documented(request=OwnPasswordIn, responses={201: SecretOut}, tags=["sign-in"])
    def post(self, request: Request) -> Response:
        """Begin: a secret for the authenticator, in force once it is confirmed with a code."""
        device = second_factor_begin(user=_proved(request))
        answer = {
            "secret": b32encode(device.bin_key).decode(),
            "address": device.config_url,
            "qr_svg": qr_svg(device.config_url),
        }
        return Response(SecretOut(answer).data, status=201, headers=_created_headers())

    @documented(request=OwnPasswordIn, responses={204: None}, tags=["sign-in"])
    def delete(self, request: Request) -> Response:
        """Take it away."""
        second_factor_remove(user=_proved(request))
        return Response(status=204)


class SecondFactorConfirmation(ThrottledView):
    """The first code, which shows that the authenticator has the secret."""

    of_oneself = True
    conflicts = True
    throttled_as = "sign-in"

    @documented(request=CodeIn, responses={201: RecoveryCodesOut}, tags=["sign-in"])
    def post(self, request: Request) -> Response:
        """Take the second factor into use; answers the recovery codes, to be kept apart."""
        requested = CodeIn(data=request.data)
        requested.is_valid(raise_exception=True)
        codes = second_factor_confirm(user=_user(request), **requested.validated_data)
        return Response(
            RecoveryCodesOut({"recovery_codes": codes}).data, status=201, headers=_created_headers()
        )


def _created_headers() -> dict[str, str]:
    return NO_STORE | {"Location": reverse("own-second-factor")}


def _user(request: Request) -> User:
    return cast(User, request.user)


def _proved(request: Request) -> User:
    requested: Any = OwnPasswordIn(data=request.data)
    requested.is_valid(raise_exception=True)
    return own_password_check(request, requested.validated_data["password"], "password")
