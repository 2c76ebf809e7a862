"""Errors of single values, whatever the field."""

from django.utils.translation import gettext_lazy as _

from surveys.core.messages.texts import Entry, first_of, when

# Limits as a request may give them: above, below, at_least, at_most, alone or in pairs.
WITHIN = first_of(
    when("above", "below", _("Enter a value above {above:g} and below {below:g}.")),
    when("above", "at_most", _("Enter a value above {above:g}, at most {at_most:g}.")),
    when("at_least", "below", _("Enter a value of at least {at_least:g} and below {below:g}.")),
    when("at_least", "at_most", _("Enter a value from {at_least:g} to {at_most:g}.")),
    when("above", _("Enter a value above {above:g}.")),
    when("below", _("Enter a value below {below:g}.")),
    when("at_least", _("Enter a value of at least {at_least:g}.")),
    when("at_most", _("Enter a value of at most {at_most:g}.")),
)

ENTRIES = {
    "out-of-range": Entry(
        title=_("Value out of range"),
        detail=first_of(
            when("quantity", "value", _("{quantity:cap} {value:g} is out of range.")),
            when("value", _("{value:g} is out of range.")),
            when("quantity", _("{quantity:cap} is out of range.")),
            _("The value is out of range."),
        ),
        remedy=WITHIN,
    ),
    "number-invalid/not-finite": Entry(
        title=_("Number not finite"),
        detail=_("{quantity:cap} is not a finite number."),
        remedy=_("Enter a number."),
    ),
}
