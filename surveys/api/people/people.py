"""Users as administrators manage them, and invitations."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.validators import UnicodeUsernameValidator
from django.urls import reverse
from django.utils import timezone
from rest_framework import serializers
from rest_framework.decorators import action
from rest_framework.request import Request
from rest_framework.response import Response

from surveys.api.filters import SetFilter, filters
from surveys.api.views import Records, documented
from surveys.inputs.fields import StrictSerializer, TextField, VisibleRecord
from surveys.models import Client, Invitation, Role, User
from surveys.models.role import ADMINISTRATORS, OFFICE
from surveys.services.people.people import (
    invitation_revoke,
    invitation_send,
    service_account_make,
    user_change,
    user_leave,
)
from surveys.services.people.sign_in import second_factor_remove


class ServiceAccountIn(StrictSerializer):
    username = TextField(max_length=150, validators=[UnicodeUsernameValidator()])
    role = serializers.ChoiceField(Role.choices)
    client = VisibleRecord(Client, required=False, allow_null=True, default=None)


class UserChangeIn(StrictSerializer):
    role = serializers.ChoiceField(Role.choices)
    client = VisibleRecord(Client, allow_null=True)
    is_active = serializers.BooleanField()


class PersonOut(serializers.ModelSerializer):
    # The name of a deactivated user cannot be used to sign in.
    username = serializers.CharField(read_only=True)
    name = serializers.CharField(source="get_full_name", read_only=True)

    class Meta:
        model = User
        fields = [
            "id",
            "username",
            "name",
            "email",
            "role",
            "client",
            "is_active",
            "is_service_account",
            "last_login",
        ]


class Users(Records):
    """Everybody who can sign in, people and programs: for administrators."""

    model = User
    serializer_class = PersonOut
    writers = ADMINISTRATORS
    checks_if_match = False
    filterset_fields = {
        "username": ["exact"],
        "role": ["exact"],
        "client": ["exact"],
        "is_active": ["exact"],
        "is_service_account": ["exact"],
    }
    ordering_fields = ("username", "last_login")

    def get_queryset(self) -> Any:
        if getattr(self, "swagger_fake_view", False) or self.user.role != Role.ADMINISTRATOR:
            return User.objects.none()
        return User.objects.order_by("username")

    @documented(request=ServiceAccountIn, responses={201: PersonOut})
    def create(self, request: Request) -> Response:
        """Make a service account: a user that has tokens and no password. People are invited (`invitations/`)."""
        return self.answer(service_account_make(**self.checked(ServiceAccountIn)), 201)

    @documented(request=UserChangeIn(partial=True), responses=PersonOut)
    def partial_update(self, request: Request, pk: Any = None) -> Response:
        """Change role, client, or whether a user is active; the tokens of one who is not any more end."""
        user = self.get_object()
        self._check_if_match(user)
        changes = self.checked(UserChangeIn, partial=True)
        return self.answer(user_change(user=user, changes=changes, by=self.user, now=timezone.now()))

    @documented(request=None, responses=PersonOut)
    @action(detail=True, methods=["post"])
    def offboarding(self, request: Request, pk: Any = None) -> Response:
        """Deactivate somebody who leaves, end their tokens and sessions, and blank their personal data; history stays."""
        return self.answer(user_leave(user=self.get_object(), by=self.user, now=timezone.now()))

    @documented(request=None, responses={204: None})
    @action(detail=True, methods=["delete"], url_path="second-factor")
    def second_factor(self, request: Request, pk: Any = None) -> Response:
        """Take away the second factor of somebody who lost it with its recovery codes."""
        second_factor_remove(user=self.get_object())
        return Response(status=204)


class InvitationIn(StrictSerializer):
    username = TextField(max_length=150, validators=[UnicodeUsernameValidator()])
    email = serializers.EmailField(max_length=254)
    role = serializers.ChoiceField(Role.choices)
    client = VisibleRecord(Client, required=False, allow_null=True, default=None)


class InvitationOut(serializers.ModelSerializer):
    invited_by = serializers.CharField(source="invited_by.username", read_only=True)

    class Meta:
        model = Invitation
        fields = [
            "id", "username", "email", "role", "client", "invited_by", "invited_at", "expires_at", "accepted_at",
            "accepted_by", "revoked_at",
        ]  # fmt: skip


class Invitations(Records):
    """Links sent by e-mail to people who shall become users."""

    model = Invitation
    serializer_class = InvitationOut
    writers = OFFICE
    related = ("invited_by",)
    filterset_class = filters(Invitation, "client", accepted=SetFilter("accepted_at"))
    ordering_fields = ("invited_at",)

    @documented(request=InvitationIn, responses={201: InvitationOut})
    def create(self, request: Request) -> Response:
        """Invite a person: the link goes to them by e-mail alone, serves once, and expires."""
        invitation = invitation_send(
            invitation=Invitation(**self.checked(InvitationIn)),
            link_of=lambda token: request.build_absolute_uri(reverse("invitation", args=[token])),
            by=self.user,
            now=timezone.now(),
        )
        return self.answer(invitation, 201)

    @documented(responses={204: None})
    def destroy(self, request: Request, pk: Any = None) -> Response:
        """Make the link useless."""
        invitation_revoke(invitation=self.get_object(), now=timezone.now())
        return Response(status=204)
