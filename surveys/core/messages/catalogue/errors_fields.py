"""Errors of fields: the codes of the frameworks' fields, and of our own."""

from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext_lazy

from surveys.core.messages.texts import Entry, first_of, when

ENTRIES = {
    "required": Entry(
        title=_("Value required"),
        detail=first_of(when("quantity", _("{quantity:cap} is required.")), _("A value is required.")),
        remedy=_("Enter a value."),
    ),
    "null": Entry(
        title=_("Value required"),
        detail=first_of(
            when("quantity", _("{quantity:cap} must not be null.")), _("The value must not be null.")
        ),
        remedy=_("Enter a value, or leave out the field if it is optional."),
    ),
    "blank": Entry(
        title=_("Text required"),
        detail=first_of(
            when("quantity", _("{quantity:cap} must not be empty.")), _("The text must not be empty.")
        ),
        remedy=_("Enter a text."),
    ),
    "empty": Entry(
        title=_("List or file empty"),
        detail=first_of(
            when("quantity", _("{quantity:cap} must not be empty.")), _("The value must not be empty.")
        ),
        remedy=_("Send at least one entry."),
    ),
    "invalid": Entry(
        title=_("Value not valid"),
        detail=_("The value is not valid for this field."),
        remedy=_("Enter a value of the type and format that the API description gives."),
    ),
    "invalid-choice": Entry(
        title=_("Choice not available"),
        detail=first_of(
            when("given", _("'{given}' is not one of the available choices.")),
            _("The value is not one of the available choices."),
        ),
        remedy=_("Enter one of the choices that the API description lists."),
    ),
    "does-not-exist": Entry(
        title=_("Record not found"),
        detail=first_of(
            when("given", _("No record with the id '{given}' exists, or you do not have access.")),
            _("The record does not exist, or you do not have access."),
        ),
        remedy=_("Enter the id of an existing record."),
    ),
    "incorrect-type": Entry(
        title=_("Type not valid"),
        detail=_("The value has the wrong type."),
        remedy=_("Enter a value of the type that the API description gives."),
    ),
    "not-a-list": Entry(
        title=_("List expected"), detail=_("The value is not a list."), remedy=_("Send a JSON array.")
    ),
    "not-a-dict": Entry(
        title=_("Object expected"), detail=_("The value is not an object."), remedy=_("Send a JSON object.")
    ),
    "max-length": Entry(
        title=_("Value too long"),
        detail=first_of(when("quantity", _("{quantity:cap} is too long.")), _("The value is too long.")),
        remedy=first_of(
            when(
                "count",
                ngettext_lazy(
                    "Enter at most {count} character or entry.",
                    "Enter at most {count} characters or entries.",
                    "count",
                ),
            ),
            _("Enter a shorter value."),
        ),
    ),
    "min-length": Entry(
        title=_("Value too short"),
        detail=first_of(when("quantity", _("{quantity:cap} is too short.")), _("The value is too short.")),
        remedy=first_of(
            when(
                "count",
                ngettext_lazy(
                    "Enter at least {count} character or entry.",
                    "Enter at least {count} characters or entries.",
                    "count",
                ),
            ),
            _("Enter a longer value."),
        ),
    ),
    "max-string-length": Entry(
        title=_("Number too long"),
        detail=_("The number has too many digits."),
        remedy=_("Enter the number with fewer digits."),
    ),
    "max-value": Entry(
        title=_("Value too large"),
        detail=first_of(when("quantity", _("{quantity:cap} is too large.")), _("The value is too large.")),
        remedy=first_of(when("limit", _("Enter a value of at most {limit:g}.")), _("Enter a smaller value.")),
    ),
    "min-value": Entry(
        title=_("Value too small"),
        detail=first_of(when("quantity", _("{quantity:cap} is too small.")), _("The value is too small.")),
        remedy=first_of(when("limit", _("Enter a value of at least {limit:g}.")), _("Enter a larger value.")),
    ),
    "null-characters-not-allowed": Entry(
        title=_("Character not allowed"),
        detail=_("The text contains a NUL character."),
        remedy=_("Remove the character."),
    ),
    "surrogate-characters-not-allowed": Entry(
        title=_("Character not allowed"),
        detail=_("The text contains half of a surrogate pair."),
        remedy=_("Send complete characters."),
    ),
    "unique": Entry(
        title=_("Already exists"),
        detail=first_of(
            when("quantity", _("Another record already has this {quantity}.")),
            _("Another record already has this value."),
        ),
        remedy=_("Enter a different value."),
    ),
    "number-invalid/json": Entry(
        title=_("Number expected"),
        detail=_("The value is not a JSON number."),
        remedy=_("Enter a number without quotes."),
    ),
    "number-invalid/json-integer": Entry(
        title=_("Whole number expected"),
        detail=_("The value is not a whole JSON number."),
        remedy=_("Enter a whole number without quotes."),
    ),
    "number-invalid/json-not-finite": Entry(
        title=_("Number not finite"),
        detail=_("The number is not finite."),
        remedy=_("Enter a finite number."),
    ),
    "text-invalid/not-text": Entry(
        title=_("Text expected"), detail=_("The value is not a text."), remedy=_("Enter a text in quotes.")
    ),
    "text-invalid/control-character": Entry(
        title=_("Character not allowed"),
        detail=_("The text contains the invisible control character {character}."),
        remedy=_("Remove the character."),
    ),
    "required/file": Entry(
        title=_("File required"),
        detail=_("The request contains no file."),
        remedy=_("Send the file as the request body, or as the part 'file' of a form."),
    ),
    "out-of-range/calendar": Entry(
        title=_("Time out of range"),
        detail=_("The time is outside the calendar."),
        remedy=_("Enter a time such as 2026-10-06T09:30:00Z."),
    ),
}
