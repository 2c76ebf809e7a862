"""Who is asking: a token in the Authorization header, or a session."""

from __future__ import annotations

from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension
from knox.auth import TokenAuthentication as KnoxTokenAuthentication
from rest_framework import authentication
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request


class TokenAuthentication(KnoxTokenAuthentication):
    """`Authorization: Token ...`, or the same after `Bearer`."""

    def authenticate(self, request: Request) -> Any:
        scheme, _, token = request.META.get("HTTP_AUTHORIZATION", "").partition(" ")
        if scheme.lower() not in {"token", "bearer"}:
            return None
        if not (token.isascii() and token.isprintable()):
            raise AuthenticationFailed("Invalid token.")
        return self.authenticate_credentials(token.strip().encode())


class SessionAuthentication(authentication.SessionAuthentication):
    """The session of the pages; answers 401, not 403, when nobody is signed in."""

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
