"""Invitation, change and deactivation of users; the history keeps their actions."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import pytest
from django.core import mail
from django.core.mail.backends.locmem import EmailBackend
from django.test import Client as Browser
from django.utils import timezone
from rest_framework.test import APIClient

from surveys.models import ApiToken, AuditEntry, Invitation, Scope, Survey, User
from surveys.services.people.tokens import token_make
from tests.surveys.scene import make_scene

pytestmark = pytest.mark.django_db

PASSWORD = "quite another passphrase"
INVITATIONS = "/api/v1/invitations/"
USERS = "/api/v1/users/"


def invite(api: Any, cast: Any, **changes: Any) -> Any:
    body = {
        "username": "newcomer",
        "email": "newcomer@example.org",
        "role": "client",
        "client": str(cast.client.pk),
    }
    return api.post(INVITATIONS, body | changes, format="json")


def link() -> str:
    """The address in the last e-mail, without the host."""
    found = re.search(r"http://testserver(/invitations/\S+/)", str(mail.outbox[-1].body))
    assert found
    return found[1]


@pytest.fixture
def invited(as_user: Any, cast: Any) -> str:
    """Where the link of an invitation leads."""
    answer = invite(as_user("office"), cast)
    assert answer.status_code == 201, answer.content
    return link()


def test_an_invitation_goes_out_by_e_mail_alone(invited: str, as_user: Any) -> None:
    [message] = mail.outbox
    assert message.to == ["newcomer@example.org"]
    token = invited.split("/")[2]
    [shown] = as_user("office").get(INVITATIONS).json()["results"]
    assert token not in str(shown)
    assert token not in str(list(Invitation.objects.values()))
    assert not User.objects.filter(username="newcomer").exists()


def test_its_page_takes_a_password_once_and_makes_the_user(invited: str, cast: Any) -> None:
    browser = Browser(enforce_csrf_checks=True)
    page = browser.get(invited).content.decode()
    assert "newcomer" in page
    assert "<script" not in page
    assert "style=" not in page
    token = page.partition('name="csrfmiddlewaretoken" value="')[2].partition('"')[0]
    form = {"new_password": PASSWORD, "again": PASSWORD, "csrfmiddlewaretoken": token}
    weak = browser.post(invited, form | {"new_password": "newcomer", "again": "newcomer"})
    assert (weak.status_code, "too short" in weak.content.decode()) == (400, True)
    assert browser.post(invited, {"new_password": PASSWORD, "again": PASSWORD}).status_code == 403
    assert browser.post(invited, form).status_code == 302
    assert browser.post(invited, form).status_code == 404
    assert browser.get(invited).status_code == 404
    user = User.objects.get(username="newcomer")
    assert (user.role, user.client, user.is_staff) == ("client", cast.client, False)
    signed_in = APIClient().post(
        "/api/v1/sign-in/", {"username": "newcomer", "password": PASSWORD}, format="json"
    )
    assert signed_in.status_code == 200


def test_a_link_ends_with_its_days_or_when_it_is_revoked(invited: str, client: Any, as_user: Any) -> None:
    row = Invitation.objects.get()
    Invitation.objects.update(expires_at=timezone.now() - timedelta(seconds=1))
    assert client.get(invited).status_code == 404
    Invitation.objects.update(expires_at=timezone.now() + timedelta(days=1))
    assert client.get(invited).status_code == 200
    assert as_user("office").delete(f"{INVITATIONS}{row.pk}/").status_code == 204
    assert client.get(invited).status_code == 404
    assert client.get("/invitations/guessed/").status_code == 404


@pytest.mark.parametrize(
    ("changes", "status", "field"),
    [
        ({"client": None}, 400, "client"),
        ({"role": "technician"}, 400, "client"),
        ({"role": "administrator", "client": None}, 403, "role"),
        ({"username": "office"}, 409, "username"),
        ({"username": "two words"}, 400, "username"),
        ({"email": "no address"}, 400, "email"),
    ],
)
def test_an_invalid_invitation_is_rejected_with_its_field(
    as_user: Any, cast: Any, changes: Any, status: int, field: str
) -> None:
    answer = invite(as_user("office"), cast, **changes)
    assert (answer.status_code, answer.json()["errors"][0]["field"]) == (status, field)
    assert mail.outbox == []


def test_a_mail_server_that_rejects_leaves_no_invitation(
    as_user: Any, cast: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    def reject(self: Any, messages: Any) -> int:
        raise ConnectionRefusedError

    monkeypatch.setattr(EmailBackend, "send_messages", reject)
    answer = invite(as_user("office"), cast)
    assert (answer.status_code, answer.json()["code"]) == (502, "mail-failed")
    assert not Invitation.objects.exists()


@pytest.mark.parametrize("who", ["owner", "technician", "calibration_admin"])
def test_invitations_and_users_are_not_there_for_others(
    invited: str, as_user: Any, cast: Any, who: str
) -> None:
    api, row = as_user(who), Invitation.objects.get()
    assert api.get(f"{INVITATIONS}{row.pk}/").status_code == 404
    assert api.get(f"{USERS}{cast.office.pk}/").status_code == 404
    assert api.get(USERS).json()["results"] == []
    assert api.post(f"{USERS}{cast.office.pk}/offboarding/").status_code == 403
    assert api.delete(f"{INVITATIONS}{row.pk}/").status_code == 403


def test_an_administrator_changes_the_role_of_a_user_with_a_log_entry(as_user: Any, cast: Any) -> None:
    administrator, path = as_user("administrator"), f"{USERS}{cast.owner.pk}/"
    changed = administrator.patch(path, {"role": "technician"}, format="json")
    assert (changed.status_code, changed.json()["client"]) == (200, None)
    entry = AuditEntry.objects.get(record=cast.owner.pk)
    assert (entry.before["role"], entry.after["role"]) == ("client", "technician")
    assert (entry.before["client"], entry.after["client"]) == (str(cast.client.pk), None)
    assert entry.actor == cast.administrator.pk
    lacking = administrator.patch(path, {"role": "client"}, format="json")
    assert (lacking.status_code, lacking.json()["errors"][0]["field"]) == (400, "client")
    own = administrator.patch(f"{USERS}{cast.administrator.pk}/", {"is_active": False}, format="json")
    assert (own.status_code, own.json()["code"]) == (409, "own-account")
    staff = administrator.patch(path, {"is_staff": True}, format="json")
    assert (staff.status_code, staff.json()["code"]) == (400, "unknown-field")


def test_the_administrators_pages_go_with_the_role(as_user: Any, cast: Any) -> None:
    User.objects.filter(pk=cast.office.pk).update(role="administrator", is_staff=True, is_superuser=True)
    as_user("administrator").patch(f"{USERS}{cast.office.pk}/", {"role": "office"}, format="json")
    office = User.objects.get(pk=cast.office.pk)
    assert (office.role, office.is_staff, office.is_superuser) == ("office", False, False)
    assert AuditEntry.objects.get(record=office.pk).before["is_superuser"] is True


def test_a_user_deactivated_has_no_tokens_even_when_active_again(as_user: Any, cast: Any) -> None:
    _, secret = token_make(user=cast.office, name="x", scope=Scope.WRITE, life=timedelta(days=1))
    api = APIClient()
    api.credentials(HTTP_AUTHORIZATION=f"Token {secret}")
    for active in (False, True):
        as_user("administrator").patch(f"{USERS}{cast.office.pk}/", {"is_active": active}, format="json")
        assert api.get("/api/v1/me/").status_code == 401


def test_a_deactivated_user_is_blanked_and_their_actions_are_kept(
    as_user: Any, cast: Any, site: Any, kit: Any
) -> None:
    survey = make_scene(site, cast, kit).survey()
    User.objects.filter(pk=cast.technician.pk).update(first_name="Una", email="una@example.org")
    as_user("technician").patch(
        f"/api/v1/measuring-points/{survey.measuring_point_id}/",
        {"description": "by the door"},
        format="json",
    )
    browser = Browser()
    browser.force_login(cast.technician)
    _, secret = token_make(user=cast.technician, name="x", scope=Scope.WRITE, life=timedelta(days=1))
    path = f"{USERS}{cast.technician.pk}/offboarding/"
    answer = as_user("administrator").post(path)
    assert answer.status_code == 200, answer.content
    gone = answer.json()
    assert re.fullmatch(r"former user \d+", gone["username"])
    assert (gone["name"], gone["email"], gone["is_active"]) == ("", "", False)
    assert as_user("office").get(f"/api/v1/surveys/{survey.pk}/").json()["technician"] == gone["username"]
    assert Survey.objects.get(pk=survey.pk).technician_id == cast.technician.pk
    assert browser.get("/api/v1/me/").status_code == 401
    assert APIClient().get("/api/v1/me/", HTTP_AUTHORIZATION=f"Token {secret}").status_code == 401
    assert not ApiToken.objects.filter(user=cast.technician, revoked_at__isnull=True).exists()
    assert not AuditEntry.objects.filter(actor_name="technician").exists()
    again = as_user("administrator").post(path)
    assert (again.status_code, again.json()["username"]) == (200, gone["username"])
    revived = as_user("administrator").patch(
        f"{USERS}{cast.technician.pk}/", {"is_active": True}, format="json"
    )
    assert (revived.status_code, revived.json()["code"]) == (409, "user-deactivated")


def test_two_leavers_have_two_names_and_their_invitations_name_them_no_more(
    invited: str, client: Any, as_user: Any, cast: Any
) -> None:
    client.post(invited, {"new_password": PASSWORD, "again": PASSWORD})
    newcomer, administrator = User.objects.get(username="newcomer"), as_user("administrator")
    names = {
        administrator.post(f"{USERS}{user.pk}/offboarding/").json()["username"]
        for user in (newcomer, cast.colleague)
    }
    assert len(names) == 2
    row = Invitation.objects.get()
    assert row.email == ""
    assert row.username in names
    assert "newcomer" not in str(list(AuditEntry.objects.values()))


def test_somebody_who_administers_does_not_leave_by_their_own_hand(as_user: Any, cast: Any) -> None:
    answer = as_user("administrator").post(f"{USERS}{cast.administrator.pk}/offboarding/")
    assert (answer.status_code, answer.json()["code"]) == (409, "own-account")
