"""Errors of quantities as entered: number and unit."""

from django.utils.translation import gettext_lazy as _

from surveys.core.messages.texts import Entry, choose, first_of, when

ENTER_WITH_UNIT = _("Enter a number with one of these units: {accepted}.")
NUMBER_NOT_VALID = _("Number not valid")

ENTRIES = {
    "unit-missing": Entry(
        title=_("Unit missing"),
        detail=first_of(when("entered", _("“{entered}” has no unit.")), _("The unit is missing.")),
        remedy=ENTER_WITH_UNIT,
    ),
    "unit-unknown": Entry(
        title=_("Unit not valid"),
        detail=first_of(
            when("other_kind", _("“{entered}” is a unit of {other_kind}.")),
            _("“{entered}” is not a known unit."),
        ),
        remedy=ENTER_WITH_UNIT,
    ),
    "unit-unknown/gauge-pressure": Entry(
        title=_("Gauge pressure entered"),
        detail=_("“{entered}” is a unit of gauge pressure."),
        remedy=_("Enter the absolute pressure in {accepted:or}."),
    ),
    "unit-unknown/not-text": Entry(
        title=_("Unit not valid"),
        detail=_("The unit is not text."),
        remedy=ENTER_WITH_UNIT,
    ),
    "number-invalid/not-a-quantity": Entry(
        title=NUMBER_NOT_VALID,
        detail=_("The value is neither text nor an object with a value and a unit."),
        remedy=ENTER_WITH_UNIT,
    ),
    "number-invalid/object-keys": Entry(
        title=NUMBER_NOT_VALID,
        detail=_("The object has missing or unknown keys."),
        remedy=_("Send the keys {keys:and} and no others."),
    ),
    "number-invalid/values-not-a-list": Entry(
        title=NUMBER_NOT_VALID,
        detail=_("The values are not a list of numbers."),
        remedy=_("Send a list of numbers."),
    ),
    "number-invalid/value-at-position": Entry(
        title=NUMBER_NOT_VALID,
        detail=_("The value at position {position} is not a finite number."),
        remedy=_("Send finite numbers only. The first position is 0."),
    ),
    "number-invalid/value-too-large": Entry(
        title=NUMBER_NOT_VALID,
        detail=_("A value is too large."),
        remedy=_("Check the values and their unit."),
    ),
    "number-invalid/text-too-long": Entry(
        title=NUMBER_NOT_VALID,
        detail=_("The text is longer than {limit} characters."),
        remedy=ENTER_WITH_UNIT,
    ),
    "number-invalid/no-number": Entry(
        title=NUMBER_NOT_VALID,
        detail=_("“{entered}” does not begin with a number."),
        remedy=ENTER_WITH_UNIT,
    ),
    "number-invalid/not-a-number": Entry(
        title=NUMBER_NOT_VALID,
        detail=_("The value is neither a number nor a fraction."),
        remedy=_("Enter a number, or a fraction such as 8 5/8."),
    ),
    "number-invalid/ambiguous": Entry(
        title=_("Number ambiguous"),
        detail=_("“{entered}” can be read in two ways."),
        remedy=choose(
            "reason",
            decimal_comma=_("Enter a decimal point, as in 1.5, and no thousands separator."),
            inch_mark=_("Enter the unit of inches as “in”."),
            foot_mark=_("Enter the unit of feet as “ft”."),
            otherwise=_("Enter one number, as in 8.625, or a fraction, as in 8 5/8."),
        ),
    ),
    "number-invalid/fraction": Entry(
        title=NUMBER_NOT_VALID,
        detail=_("“{entered}” is not a proper fraction."),
        remedy=_("Enter a fraction below 1 with a denominator of at most {max_denominator}."),
    ),
    "number-invalid/too-large": Entry(
        title=NUMBER_NOT_VALID,
        detail=_("“{entered}” is too large or not a finite number."),
        remedy=_("Check the number and its unit."),
    ),
    "not-enough-data/values-empty": Entry(
        title=_("Values missing"),
        detail=_("The list of values is empty."),
        remedy=_("Send at least one number."),
    ),
}
