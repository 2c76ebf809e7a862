"""Who is asking: a token in the Authorization header, or a session."""

from __future__ import annotations

from typing import Any, cast

from django.utils import timezone
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework import authentication
from rest_framework.exceptions import AuthenticationFailed, PermissionDenied
from rest_framework.request import Request

from compute.base.messages import message
from surveys.inputs.rejections import error_detail
from surveys.models import ApiToken, User
from surveys.services.people.tokens import token_found


class TokenAuthentication(authentication.BaseAuthentication):
    """`Authorization: Token ...`, or the same after `Bearer`. What the token may do is for the permissions to say."""

    def authenticate(self, request: Request) -> tuple[User, ApiToken] | None:
        scheme, _, token = request.META.get("HTTP_AUTHORIZATION", "").partition(" ")
        if scheme.lower() not in {"token", "bearer"}:
            return None
        if not (token.isascii() and token.isprintable()):
            raise AuthenticationFailed(error_detail(message("authentication-failed")))
        found = token_found(token.strip(), timezone.now())
        if found is None:
            raise AuthenticationFailed(error_detail(message("authentication-failed")))
        return found.user, found

    def authenticate_header(self, request: Request) -> str:
        return "Token"


class SessionAuthentication(authentication.SessionAuthentication):
    """The session of the pages; answers 401, not 403, when nobody is signed in."""

    def enforce_csrf(self, request: Request) -> None:
        """On the plain request: the framework's own would look for the token in the body and use that up, of which
        `Idempotency-Key` still needs the bytes."""
        try:
            super().enforce_csrf(cast(Request, request._request))
        except PermissionDenied:
            raise PermissionDenied(error_detail(message("permission-denied/csrf"))) from None

    def authenticate_header(self, request: Request) -> str:
        return "Session"


class TokenScheme(OpenApiAuthenticationExtension):
    target_class = "surveys.api.authentication.TokenAuthentication"
    name = "token"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        return {
            "type": "apiKey",
            "in": "header",
            "name": "Authorization",
            "description": "`Token ` and the token that signing in gave.",
        }


class SessionScheme(OpenApiAuthenticationExtension):
    target_class = "surveys.api.authentication.SessionAuthentication"
    name = "session"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        return {"type": "apiKey", "in": "cookie", "name": "sessionid"}
