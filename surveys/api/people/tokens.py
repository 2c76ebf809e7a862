"""Tokens for programs: one's own, and for administrators everybody's."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.utils import timezone
from rest_framework import serializers
from rest_framework.exceptions import PermissionDenied
from rest_framework.request import Request
from rest_framework.response import Response

from compute.base.messages import message
from surveys.api.filters import SetFilter, filters
from surveys.api.people.sign_in import PasswordField, own_password_check
from surveys.api.views import Records, documented
from surveys.inputs.fields import IntegerField, StrictSerializer, TextField
from surveys.inputs.rejections import error_detail, rejection
from surveys.models import ApiToken, Role, Scope, User
from surveys.services.people.tokens import MAX_LIFETIME, token_make, token_revoke


class ApiTokenIn(StrictSerializer):
    name = TextField(max_length=100, help_text="Name of the token, such as the place of its use.")
    scope = serializers.ChoiceField(Scope.choices)
    days = IntegerField(
        min_value=1,
        max_value=MAX_LIFETIME.days,
        required=False,
        default=90,
        help_text="Days until the token expires.",
    )
    password = PasswordField(
        required=False,
        help_text="Current password of the signed-in user; required unless the request comes from a browser session.",
    )
    user = serializers.PrimaryKeyRelatedField(
        queryset=User.objects.filter(is_service_account=True, is_active=True),
        required=False,
        help_text="Service account of the token, for an administrator. Default: the signed-in user.",
    )


class ApiTokenOut(serializers.ModelSerializer):
    created_at = serializers.DateTimeField(source="created", read_only=True)
    expires_at = serializers.DateTimeField(source="expiry", read_only=True, allow_null=True)

    class Meta:
        model = ApiToken
        fields = ["id", "user", "name", "scope", "created_at", "expires_at", "last_used_at", "revoked_at"]


class ApiTokenCreatedOut(ApiTokenOut):
    token = serializers.CharField(
        help_text="Secret of the token, sent only in this answer. Send the secret as `Authorization: Token ...`."
    )

    class Meta(ApiTokenOut.Meta):
        fields = [*ApiTokenOut.Meta.fields, "token"]


class Tokens(Records):
    """Tokens, without the tokens themselves: of these only a digest is kept."""

    model = ApiToken
    serializer_class = ApiTokenOut
    writers = None
    # An answer kept for a repeated request would keep the token.
    repeatable = frozenset({"create"})
    filterset_class = filters(ApiToken, "user", "scope", revoked=SetFilter("revoked_at"))
    ordering_fields = ("created", "last_used_at")

    def get_queryset(self) -> Any:
        rows = super().get_queryset()
        everybody = "user" in self.request.query_params or self.action != "list"
        return rows if getattr(self, "swagger_fake_view", False) or everybody else rows.filter(user=self.user)

    @documented(request=ApiTokenIn, responses={201: ApiTokenCreatedOut})
    def create(self, request: Request) -> Response:
        """Make a token; it is shown now and never again. Takes one's password, or a session of the pages."""
        requested = self.checked(ApiTokenIn)
        self._check_it_is_them(request, requested.get("password"))
        owner = requested.get("user", self.user)
        if owner != self.user and self.user.role != Role.ADMINISTRATOR:
            raise PermissionDenied(error_detail(message("permission-denied/service-account-token")))
        token, secret = token_make(
            user=owner,
            name=requested["name"],
            scope=requested["scope"],
            life=timedelta(days=requested["days"]),
        )
        shown = ApiTokenOut(token).data | {"token": secret}
        return Response(shown, status=201, headers={"Cache-Control": "no-store"})

    @documented(responses={204: None})
    def destroy(self, request: Request, pk: Any = None) -> Response:
        """Revoke a token: from now on it answers 401. It stays in the list, as revoked."""
        token_revoke(token=self.get_object(), now=timezone.now())
        return Response(status=204)

    def _check_it_is_them(self, request: Request, password: str | None) -> None:
        if password is not None:
            own_password_check(request, password, "password")
        elif isinstance(request.auth, ApiToken):
            raise rejection("required/own-password", field="password")
