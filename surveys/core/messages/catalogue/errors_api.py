"""Errors of requests to the API: their form, their headers, who may send them and how often."""

from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext_lazy

from surveys.core.messages.texts import Entry, first_of, when

ENTRIES = {
    # Whatever the address.
    "not-found": Entry(
        title=_("Not found"),
        detail=_("The address is wrong, or you do not have access."),
        remedy=_("Check the address, or ask an administrator for access."),
    ),
    "bad-request": Entry(
        title=_("Request not readable"),
        detail=_("The request cannot be read."),
        remedy=_("Check the request and send it again."),
    ),
    "server-error": Entry(
        title=_("Server error"),
        detail=_("An unexpected error occurred. Nothing was changed."),
        remedy=_("Try again. If the error remains, contact the administrator and quote the request id."),
    ),
    "service-unavailable": Entry(
        title=_("Service temporarily unavailable"),
        detail=_("The database does not respond."),
        remedy=_("Try again in a moment. Send a write again with the same Idempotency-Key."),
    ),
    "csrf-failed": Entry(
        title=_("Form expired"),
        detail=_("The CSRF token of the form is missing or expired."),
        remedy=_("Reload the page and send the form again."),
    ),
    "method-not-allowed": Entry(
        title=_("Method not allowed"),
        detail=first_of(
            when("given", _("The method {given} is not allowed at this address.")),
            _("This method is not allowed at this address."),
        ),
        remedy=_("Use one of the methods in the Allow header."),
    ),
    "not-acceptable": Entry(
        title=_("Format not available"),
        detail=_("None of the formats in the Accept header is available at this address."),
        remedy=_("Request one of the formats in the API description."),
    ),
    # Who may send it, and how often.
    "not-authenticated": Entry(
        title=_("Not signed in"),
        detail=_("This address requires a signed-in user."),
        remedy=_("Sign in, or send a token in the Authorization header."),
    ),
    "authentication-failed": Entry(
        title=_("Token not valid"),
        detail=_("The token in the Authorization header is not valid or has expired."),
        remedy=_("Sign in again to get a new token."),
    ),
    "permission-denied": Entry(
        title=_("Permission denied"),
        detail=_("You do not have permission for this request."),
        remedy=_("Ask an administrator for access."),
    ),
    "permission-denied/role": Entry(
        title=_("Permission denied"),
        detail=_("You do not have permission. Required role: {roles:or}."),
        remedy=_("Ask an administrator for access."),
    ),
    "permission-denied/csrf": Entry(
        title=_("CSRF token rejected"),
        detail=_("The CSRF token of the session is missing or expired."),
        remedy=_("Send the current token in the X-CSRFToken header."),
    ),
    "permission-denied/service-account-token": Entry(
        title=_("Permission denied"),
        detail=_("Only an administrator can create tokens for a service account."),
        remedy=_("Ask an administrator for the token."),
    ),
    "not-allowed": Entry(
        title=_("Permission denied"),
        detail=_("You do not have permission for this request."),
        remedy=_("Ask an administrator for access."),
    ),
    "scope-too-narrow": Entry(
        title=_("Token scope insufficient"),
        detail=_("The scope of this token does not include this request."),
        remedy=_("Use a token with a wider scope."),
    ),
    "second-factor-needed": Entry(
        title=_("Second factor required"),
        detail=_("Your role requires a second factor."),
        remedy=_("Enrol a second factor at second-factor/."),
    ),
    "throttled": Entry(
        title=_("Too many requests"),
        detail=_("You sent too many requests in a short time."),
        remedy=first_of(
            when(
                "count",
                ngettext_lazy("Try again in {count} second.", "Try again in {count} seconds.", "count"),
            ),
            _("Try again later."),
        ),
    ),
    # The body and the headers.
    "body-too-large": Entry(
        title=_("Request too large"),
        detail=first_of(
            when("most_mb", _("The request body is larger than {most_mb} MB.")),
            _("The request body is too large."),
        ),
        remedy=_("Send less data in one request."),
    ),
    "body-cut-off": Entry(
        title=_("Request incomplete"),
        detail=_("The request body ended after {received} of {expected} bytes. Nothing was stored."),
        remedy=_("Send the request again."),
    ),
    "parse-error": Entry(
        title=_("Request not readable"),
        detail=_("The request body is not what its Content-Type says."),
        remedy=_("Check the body and the Content-Type header."),
    ),
    "unsupported-media-type": Entry(
        title=_("Media type not supported"),
        detail=first_of(
            when("given", _("The media type {given} is not supported at this address.")),
            _("The media type is not supported at this address."),
        ),
        remedy=_("Use a Content-Type that the API description lists for this address."),
    ),
    "not-utf-8": Entry(
        title=_("Encoding not supported"),
        detail=_("The request body is not UTF-8."),
        remedy=_("Send the JSON document in UTF-8."),
    ),
    "json-too-deep": Entry(
        title=_("JSON nested too deeply"),
        detail=first_of(
            when("most", _("The JSON document has more than {most} levels.")),
            _("The JSON document has too many levels."),
        ),
        remedy=_("Send a document with fewer levels."),
    ),
    "json-invalid": Entry(
        title=_("JSON not valid"),
        detail=first_of(
            when("line", _("The JSON document is not valid at line {line:d}, column {column:d}.")),
            _("The JSON document is not valid."),
        ),
        remedy=_("Correct the document."),
    ),
    "json-invalid/not-a-number": Entry(
        title=_("JSON not valid"),
        detail=_("{name} is not a JSON number."),
        remedy=_("Send a finite number, or null."),
    ),
    "json-invalid/duplicate-key": Entry(
        title=_("JSON not valid"),
        detail=_("An object contains the same key more than once."),
        remedy=_("Send each key once."),
    ),
    "json-invalid/number-too-long": Entry(
        title=_("JSON not valid"),
        detail=_("A number has more than {most} digits."),
        remedy=_("Send the number with fewer digits."),
    ),
    "json-invalid/surrogate": Entry(
        title=_("JSON not valid"),
        detail=_("A text contains half of a surrogate pair."),
        remedy=_("Send complete characters."),
    ),
    "json-invalid/part": Entry(
        title=_("JSON not valid"),
        detail=_("The part “{part}” of the form is not a JSON document."),
        remedy=_("Correct the document."),
    ),
    "unknown-field": Entry(
        title=_("Unknown field"),
        detail=_("Unknown field '{name}'."),
        remedy=first_of(
            when("nearest", _("Did you mean '{nearest}'?")),
            when("known", _("Available fields: {known}.")),
        ),
    ),
    "units-unknown": Entry(
        title=_("Unit system unknown"),
        detail=_("'{given}' is not a unit system."),
        remedy=_("Use units=metric or units=us."),
    ),
    "key-invalid": Entry(
        title=_("Idempotency key not valid"),
        detail=_("The Idempotency-Key is too long or contains characters that are not printable."),
        remedy=_("Send at most {most} printable characters."),
    ),
    "still-running": Entry(
        title=_("First request still running"),
        detail=_("The first request with this Idempotency-Key is still being processed."),
        remedy=_("Send the request again in a moment."),
    ),
    "idempotency-key-reused": Entry(
        title=_("Idempotency key already used"),
        detail=_("This Idempotency-Key was sent before with a different request."),
        remedy=_("Use a new key for each new request."),
    ),
    "edited-meanwhile": Entry(
        title=_("Record changed since you read it"),
        detail=_("Another user has changed this record since you read it."),
        remedy=_("Read the record again and repeat your change."),
    ),
    "if-match-needed": Entry(
        title=_("If-Match header required"),
        detail=_("A change without the If-Match header could overwrite the change of another user."),
        remedy=_("Read the record and send its ETag in the If-Match header."),
    ),
    # Lists.
    "unknown-filter": Entry(
        title=_("Unknown filter"),
        detail=_("Unknown filter '{name}'."),
        remedy=_("Available filters: {known}."),
    ),
    "ordering-unknown": Entry(
        title=_("Sort field not available"),
        detail=_("This list cannot be sorted by '{name}'."),
        remedy=first_of(
            when("known", _("Available sort fields: {known}.")), _("Leave out the parameter ordering.")
        ),
    ),
    "cursor-unknown": Entry(
        title=_("Cursor not valid"),
        detail=_("The cursor does not belong to this list or to this order."),
        remedy=_("Use the address in next or previous of a page of this list."),
    ),
    # Records.
    "in-use": Entry(
        title=_("Record in use"),
        detail=_("This record is in use and cannot be deleted."),
        remedy=_("Archive the record instead."),
    ),
}
