"""Findings on the pipe as entered."""

from django.utils.translation import gettext_lazy as _

from surveys.core.messages.texts import Entry, choose, first_of, when

MEASURE_CIRCUMFERENCE = _("Measure the circumference, divide by π and enter the actual outer diameter.")

ENTRIES = {
    "nominal-size-as-outer-diameter": Entry(
        title=_("Nominal size entered as outer diameter"),
        detail=_(
            "{nominal} is a nominal size. Pipes of this size have an outer diameter of {actual:or} ({sizes})."
        ),
        remedy=MEASURE_CIRCUMFERENCE,
    ),
    "nominal-size-or-outer-diameter": Entry(
        title=_("Outer diameter may be a nominal size"),
        detail=(
            _("{entered} is the outer diameter of {true_sizes:and}."),
            _("{nominal} is also a nominal size, with an outer diameter of {actual:or} ({sizes})."),
        ),
        remedy=MEASURE_CIRCUMFERENCE,
    ),
    "wall-very-thick": Entry(
        title=_("Wall thickness looks wrong"),
        detail=_(
            "{wall} is more than a quarter of the outer radius of a {outer_diameter} pipe and is not a standard wall."
        ),
        remedy=_("Check the value and its unit."),
    ),
    "outer-diameter-not-in-tables": Entry(
        title=_("Outer diameter not standard"),
        detail=(
            _("No standard pipe has an outer diameter of {outer_diameter}."),
            when("other_sizes", _("Pipes of another material have this diameter: {other_sizes}.")),
        ),
        remedy=(
            _("Measure the circumference if the diameter was not measured."),
            when("other_sizes", _("Check the material and the size.")),
        ),
    ),
    "wall-not-in-tables": Entry(
        title=_("Wall thickness not standard"),
        detail=_(
            "No standard pipe of {outer_diameter} has a wall of {wall}. Nearest standard wall: {nearest}."
        ),
        remedy=_("Measure the wall thickness if it was not measured."),
    ),
    "wall-not-measured": Entry(
        title=_("Wall thickness not measured"),
        detail=(
            _("{wall} is an assumed value."),
            choose(
                "units",
                metric=_("On a 200 mm pipe, an error of 1 mm in the wall changes the flow by about 2 %."),
                us=_("On an 8 in pipe, an error of 0.04 in in the wall changes the flow by about 2 %."),
            ),
        ),
        remedy=_("Measure the wall at eight positions around the pipe."),
    ),
    "wall-differs-from-measurement": Entry(
        title=_("Wall thickness differs from the measurement"),
        detail=_(
            "{wall} is entered; the measurement gave {measured}. The difference is larger than the mill tolerance of {tolerance:%}."
        ),
        remedy=_(
            "Correct the pipe data, or measure again with the gauge set to the sound speed of the pipe material."
        ),
    ),
    "roughness-assumed": Entry(
        title=_("Roughness assumed"),
        detail=(
            first_of(
                when("material", _("No roughness was entered; {roughness} is used, as for new {material}.")),
                _("No roughness was entered; {roughness} is used."),
            ),
            _(
                "Rust or scale makes the wall rougher: ten times the roughness lowers the profile factor, and the flow, by about 1 %."
            ),
        ),
        remedy=_("Enter the roughness if you know it."),
    ),
}
