"""Errors of signing in, of passwords and second factors, and of users and invitations."""

from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext_lazy

from surveys.core.messages.texts import Entry, first_of, when

ENTRIES = {
    "sign-in-failed": Entry(
        title=_("Sign-in failed"),
        detail=_("The user name or the password is wrong."),
        remedy=_("Check both and try again."),
    ),
    "sign-in-locked": Entry(
        title=_("Sign-in locked"),
        detail=_("Too many failed attempts."),
        remedy=ngettext_lazy("Try again in {count} minute.", "Try again in {count} minutes.", "count"),
    ),
    "one-time-code-needed": Entry(
        title=_("One-time code required"),
        detail=_("This user has a second factor."),
        remedy=_("Enter the one-time code of your authenticator app, or a recovery code."),
    ),
    "one-time-code-wrong": Entry(
        title=_("One-time code not valid"),
        detail=_("Wrong or expired code."),
        remedy=_("Enter the code your authenticator app shows now."),
    ),
    "second-factor-exists": Entry(
        title=_("Second factor already enrolled"),
        detail=_("This user already has a second factor."),
        remedy=_("Remove the second factor before you enrol a new one."),
    ),
    "second-factor-not-begun": Entry(
        title=_("Enrolment not started"),
        detail=_("There is no second factor to confirm."),
        remedy=_("Start the enrolment to get a new secret."),
    ),
    "password-weak": Entry(
        title=_("Password not accepted"),
        detail=_("The password is {rules:and}."),
        remedy=first_of(
            when("min_length", _("Enter at least {min_length} characters that are difficult to guess.")),
            _("Enter a password that is difficult to guess."),
        ),
    ),
    "service-account": Entry(
        title=_("Service account without password"),
        detail=_("A service account has no password."),
        remedy=_("Use a token for the service account."),
    ),
    "own-account": Entry(
        title=_("Own account"),
        detail=_("Administrators cannot change or deactivate their own account."),
        remedy=_("Ask another administrator."),
    ),
    "user-deactivated": Entry(
        title=_("User deactivated"),
        detail=_("This user was deactivated permanently."),
        remedy=_("Send a new invitation."),
    ),
    "client-missing": Entry(
        title=_("Client required"),
        detail=_("A client viewer must belong to a client."),
        remedy=_("Select the client."),
    ),
    "client-not-needed": Entry(
        title=_("Client not allowed"),
        detail=_("Only client viewers belong to a client."),
        remedy=_("Leave out the client, or select the role client viewer."),
    ),
    "role-not-yours": Entry(
        title=_("Role not allowed"),
        detail=_("Only an administrator can invite users with this role."),
        remedy=_("Select a different role, or ask an administrator."),
    ),
    "mail-failed": Entry(
        title=_("Invitation not sent"),
        detail=_("The mail server did not accept the invitation. No invitation was created."),
        remedy=_("Check the e-mail address and try again later."),
    ),
    "conflict/username-of-invitation": Entry(
        title=_("User name already exists"),
        detail=_("Another user has this user name since the invitation was sent."),
        remedy=_("Ask for a new invitation."),
    ),
}
