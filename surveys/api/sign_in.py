"""Signing in for a token, signing out, and who one is."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.contrib.auth import authenticate, logout
from django.utils import timezone
from knox.models import AuthToken
from rest_framework import serializers
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from surveys.api.fields import StrictSerializer, TextField
from surveys.api.views import documented
from surveys.models import User

TOKEN_LIFE = timedelta(days=30)


class SignInIn(StrictSerializer):
    username = TextField(max_length=150)
    password = TextField(max_length=200, trim_whitespace=False, style={"input_type": "password"})


class UserOut(serializers.ModelSerializer):
    class Meta:
        model = User
        fields = ["id", "username", "role", "client"]


class TokenOut(serializers.Serializer):
    token = serializers.CharField(help_text="Shown this once. Send it as `Authorization: Token ...`.")
    expires_at = serializers.DateTimeField()
    user = UserOut()


class SignIn(APIView):
    """Sign in with name and password for a token."""

    authentication_classes = ()
    permission_classes = (AllowAny,)

    @documented(request=SignInIn, responses=TokenOut, tags=["sign-in"], auth=[])
    def post(self, request: Request) -> Response:
        asked = SignInIn(data=request.data)
        asked.is_valid(raise_exception=True)
        user = authenticate(request._request, **asked.validated_data)
        if user is None:
            raise AuthenticationFailed("User name or password is wrong.", code="sign-in-failed")
        _, token = AuthToken.objects.create(user, expiry=TOKEN_LIFE)
        answer = {"token": token, "expires_at": timezone.now() + TOKEN_LIFE, "user": user}
        return Response(TokenOut(answer).data)

    def get_authenticate_header(self, request: Request) -> str:
        return "Token"


class SignOut(APIView):
    """Make the token, or the session, of this request useless."""

    @documented(request=None, responses={204: None}, tags=["sign-in"])
    def post(self, request: Request) -> Response:
        token: Any = request.auth
        if isinstance(token, AuthToken):
            token.delete()
        else:
            logout(request._request)
        return Response(status=204)


class Me(APIView):
    """Who is signed in."""

    @documented(responses=UserOut, tags=["sign-in"])
    def get(self, request: Request) -> Response:
        return Response(UserOut(request.user).data)
