"""Signing in for a token, signing out, one's password, and who one is."""

from __future__ import annotations

from typing import Any

from django.contrib.auth import logout
from django.contrib.auth.signals import user_logged_in
from django.utils import timezone
from rest_framework import serializers
from rest_framework.exceptions import Throttled
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from surveys.api.throttles import ThrottledView
from surveys.api.views import documented
from surveys.core.errors import ServiceError
from surveys.core.request_limits import name_limit, wait_for
from surveys.inputs.fields import StrictSerializer, TextField
from surveys.models import ApiToken, Scope, User
from surveys.services.people.sign_in import SignInRejected, credentials_check, password_change, password_check
from surveys.services.people.tokens import SIGN_IN_LIFE, token_make, token_revoke


class PasswordField(TextField):
    """A password, taken as it is."""

    def __init__(self, **options: Any) -> None:
        super().__init__(max_length=200, trim_whitespace=False, style={"input_type": "password"}, **options)


class SignInIn(StrictSerializer):
    username = TextField(max_length=150)
    password = PasswordField()
    one_time_code = TextField(
        max_length=32,
        required=False,
        default="",
        allow_blank=True,
        help_text="Code of a second factor, or a recovery code.",
    )


class UserOut(serializers.ModelSerializer):
    class Meta:
        model = User
        fields = ["id", "username", "role", "client"]


class TokenOut(serializers.Serializer):
    token = serializers.CharField(
        help_text="Secret of the token, sent only in this answer. Send the secret as `Authorization: Token ...`."
    )
    expires_at = serializers.DateTimeField()
    user = UserOut()


class SignIn(ThrottledView):
    """Sign in with name and password for a token."""

    authentication_classes = ()
    permission_classes = (AllowAny,)
    throttled_as = "sign-in"

    @documented(request=SignInIn, responses=TokenOut, tags=["sign-in"], auth=[])
    def post(self, request: Request) -> Response:
        requested = SignInIn(data=request.data)
        requested.is_valid(raise_exception=True)
        if wait := wait_for([name_limit(requested.validated_data["username"])]):
            raise Throttled(wait)
        user = credentials_check(request._request, **requested.validated_data, now=timezone.now())
        # Resets the counts of failures; starts no session.
        user_logged_in.send(User, request=request._request, user=user)
        token, secret = token_make(user=user, name="sign-in", scope=Scope.WRITE, life=SIGN_IN_LIFE, by=user)
        answer = {"token": secret, "expires_at": token.expiry, "user": user}
        return Response(TokenOut(answer).data, headers={"Cache-Control": "no-store"})

    def get_authenticate_header(self, request: Request) -> str:
        return "Token"


class SignOut(APIView):
    """Make the token, or the session, of this request useless."""

    of_oneself = ends_itself = True

    @documented(request=None, responses={204: None}, tags=["sign-in"])
    def post(self, request: Request) -> Response:
        token: Any = request.auth
        if isinstance(token, ApiToken):
            token_revoke(token=token, now=timezone.now())
        else:
            logout(request._request)
        return Response(status=204)


class Me(APIView):
    """Who is signed in."""

    of_oneself = True

    @documented(responses=UserOut, tags=["sign-in"])
    def get(self, request: Request) -> Response:
        return Response(UserOut(request.user).data)


class PasswordIn(StrictSerializer):
    current_password = PasswordField()
    new_password = PasswordField(
        help_text="New password of at least 12 characters. Common passwords and passwords like the user name are rejected."
    )


class Password(ThrottledView):
    """One's own password."""

    of_oneself = True
    throttled_as = "sign-in"

    @documented(request=PasswordIn, responses={204: None}, tags=["sign-in"])
    def post(self, request: Request) -> Response:
        """Change it; every token and session ends, this one too."""
        requested = PasswordIn(data=request.data)
        requested.is_valid(raise_exception=True)
        user = own_password_check(request, requested.validated_data["current_password"], "current_password")
        password_change(user=user, new=requested.validated_data["new_password"], now=timezone.now())
        return Response(status=204)


def own_password_check(request: Request, password: str, field: str) -> User:
    """The user of the request, if the password is right: some actions require more than a token."""
    try:
        return password_check(request._request, username=request.user.get_username(), password=password)
    except SignInRejected:
        raise ServiceError("password-wrong", field=field) from None
