"""Errors of pipe, medium, transducers and readings as entered."""

from django.utils.translation import gettext_lazy as _

from surveys.core.messages.catalogue.findings_setup import CHECK_MATERIAL_AND_WEDGE, NO_REFRACTED_WAVE
from surveys.core.messages.texts import Entry, first_of, when

SIMILAR = when("suggestions", _("Similar names: {suggestions}."))
NAME_NOT_FOUND = _("Name not in the library")
PROPERTIES_MISSING = _("Properties of the medium missing")
TABLE_WRONG = _("Property table not valid")

ENTRIES = {
    "total-reflection": Entry(
        title=_("No beam through the {layer}"),
        detail=NO_REFRACTED_WAVE,
        remedy=CHECK_MATERIAL_AND_WEDGE,
    ),
    "not-enough-data/shear-sound-speed": Entry(
        title=_("Shear sound speed missing"),
        detail=_(
            "The beam needs a shear wave in the {layer}, but the shear sound speed of the {layer} is not known."
        ),
        remedy=_("Enter the shear sound speed, or use transducers with a smaller wedge angle."),
    ),
    "out-of-range/no-bore": Entry(
        title=_("No bore left"),
        detail=first_of(
            when(
                "lining",
                _(
                    "A wall of {wall:g} and a lining of {lining:g} leave no bore in an outer diameter of {outer_diameter:g}."
                ),
            ),
            _("A wall of {wall:g} leaves no bore in an outer diameter of {outer_diameter:g}."),
        ),
        remedy=_("Check the values and their units."),
    ),
    "not-enough-data/outermost-lining": Entry(
        title=_("Outermost lining missing"),
        detail=_("Further linings are entered without the outermost lining."),
        remedy=_("Enter the outermost lining first."),
    ),
    "not-enough-data/roughness": Entry(
        title=_("Roughness missing"),
        detail=_("The roughness of the {material} is not known."),
        remedy=_("Enter the roughness."),
    ),
    "not-enough-data/material": Entry(
        title=_("Material missing"),
        detail=_("The {quantity} has neither a library name nor a longitudinal sound speed."),
        remedy=_("Enter one of them."),
    ),
    "not-enough-data/medium-properties": Entry(
        title=PROPERTIES_MISSING,
        detail=_("A medium without a library name needs sound speed, density and dynamic viscosity."),
        remedy=_("Enter all three, or a library name with a temperature."),
    ),
    "not-enough-data/medium-temperature": Entry(
        title=_("Temperature missing"),
        detail=_("The properties of this medium depend on its temperature."),
        remedy=_("Enter the temperature of the medium."),
    ),
    "not-enough-data/composition": Entry(
        title=PROPERTIES_MISSING,
        detail=_("The {quantity} of {medium} is missing."),
        remedy=_("Enter the {quantity}."),
    ),
    "out-of-range/not-of-this-medium": Entry(
        title=_("Value does not apply to this medium"),
        detail=_("{medium:cap} has no {quantity}."),
        remedy=_("Leave the {quantity} empty."),
    ),
    "out-of-range/medium-range": Entry(
        title=_("Value outside the property data"),
        detail=first_of(
            when("value", _("{quantity:cap} {value:g} is outside the property data of {medium}.")),
            _("{quantity:cap} is outside the property data of {medium}."),
        ),
        remedy=_("Enter a value from {at_least:g} to {at_most:g}."),
    ),
    "not-enough-data/table-rows": Entry(
        title=TABLE_WRONG,
        detail=_("The table has fewer than two temperatures."),
        remedy=_("Enter the properties at two or more temperatures."),
    ),
    "not-enough-data/table-columns": Entry(
        title=TABLE_WRONG,
        detail=_("A row of the table is incomplete."),
        remedy=_("Enter temperature, sound speed, density and viscosity in each row."),
    ),
    "out-of-range/table-values": Entry(
        title=TABLE_WRONG,
        detail=_("A value in the table is not positive."),
        remedy=_("Enter values above 0."),
    ),
    "out-of-range/table-order": Entry(
        title=TABLE_WRONG,
        detail=_("The temperatures in the table are not in rising order."),
        remedy=_("Enter each temperature once, the lowest first."),
    ),
    "unknown-name/medium": Entry(
        title=NAME_NOT_FOUND,
        detail=(_("The library has no medium “{name}”."), SIMILAR),
        remedy=_("Enter another name, or sound speed, density and dynamic viscosity."),
    ),
    "unknown-name/material": Entry(
        title=NAME_NOT_FOUND,
        detail=(_("The library has no material “{name}”."), SIMILAR),
        remedy=_("Enter another name, or the sound speeds of the material."),
    ),
    "unknown-name/pipe-size": Entry(
        title=NAME_NOT_FOUND,
        detail=(_("No pipe table has the {quantity} “{name}”."), SIMILAR),
        remedy=_("Enter another name."),
    ),
    "not-enough-data/dimensions-temperature": Entry(
        title=_("Temperature correction not possible"),
        detail=_(
            "The correction needs the temperature of the medium and the thermal expansion of the pipe material."
        ),
        remedy=_("Enter both, or leave the temperature of the dimensions empty."),
    ),
    "not-enough-data/wedge-temperature": Entry(
        title=_("Reference temperature missing"),
        detail=_("The temperature coefficient of the wedge needs a reference temperature."),
        remedy=_("Enter the temperature at which the sound speed of the wedge was measured."),
    ),
    "out-of-range/wedge-sound-speed": Entry(
        title=_("Wedge sound speed out of range"),
        detail=_(
            "At {temperature:.0} the calculated sound speed of the wedge is {sound_speed:.0}; values above {above:.0} are plausible."
        ),
        remedy=_("Check the temperature coefficient of the wedge."),
    ),
    "not-enough-data/wall-readings": Entry(
        title=_("Too few readings"),
        detail=_("A wall measurement needs at least two readings around the pipe."),
        remedy=_("Enter more readings."),
    ),
    "not-enough-data/wall-sound-speed": Entry(
        title=_("Sound speed of the wall missing"),
        detail=_(
            "The readings cannot be corrected because the sound speed of the pipe material is not known."
        ),
        remedy=_("Enter the pipe material."),
    ),
    "not-enough-data/velocity-or-flow": Entry(
        title=_("Readings missing"),
        detail=_("The readings contain neither flow velocity nor volume flow."),
        remedy=_("Enter one of them."),
    ),
    "out-of-range/transit-time-short": Entry(
        title=_("Transit time too short"),
        detail=(
            first_of(
                when("value", _("A transit time of {value} is too short for this set-up.")),
                _("The transit time is not valid for this set-up."),
            ),
            when(
                "time_in_solids",
                "shortest_in_medium",
                _("Wall and wedges take {time_in_solids}, the medium at least {shortest_in_medium}."),
            ),
        ),
        remedy=_("Check the pipe, the number of traverses and the wedge delay."),
    ),
}
