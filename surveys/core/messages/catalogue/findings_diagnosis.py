"""Possible causes of a sound speed that does not match."""

from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext_lazy

from surveys.core.messages.texts import Entry, choose, first_of, when

# The effect of correcting the entry.
EFFECT = choose(
    "flow_change",
    higher=_("Corrected, the flow is {effect_on_flow:abs%.1} higher."),
    lower=_("Corrected, the flow is {effect_on_flow:abs%.1} lower."),
    unchanged=_("Corrected, the flow changes by less than 0.05 %."),
)
NEAREST_WALL = first_of(
    when("nearest", "schedule", _("Nearest standard: {nearest} ({size} {schedule}, {standard}).")),
    when("nearest", _("Nearest standard: {nearest} ({size}, {standard}).")),
)
MEASURE_CIRCUMFERENCE = _("Measure the circumference, divide by π and enter the actual outer diameter.")
MEASURE_WALL = _("Measure the wall thickness.")
CHECK_LINING = _("Check the drawings or ask the site.")

ENTRIES = {
    "suspect-entry/nominal-diameter": Entry(
        title=_("Possible cause (likelihood {probability:%.0}): outer diameter"),
        detail=(
            _(
                "{entered:g} may be the nominal size. Pipes of {size} have an outer diameter of {implied} ({standard})."
            ),
            EFFECT,
        ),
        remedy=MEASURE_CIRCUMFERENCE,
    ),
    "suspect-entry/other-size": Entry(
        title=_("Possible cause (likelihood {probability:%.0}): outer diameter"),
        detail=(
            _(
                "An outer diameter of {implied} ({size}, {standard}) instead of the {entered} entered would explain the measured sound speed."
            ),
            EFFECT,
        ),
        remedy=_("Measure the circumference."),
    ),
    "suspect-entry/outer-diameter": Entry(
        title=_("Possible cause (likelihood {probability:%.0}): outer diameter"),
        detail=(
            _("{implied} instead of the {entered} entered would explain the measured sound speed."),
            when("nearest", _("Nearest standard size: {nearest} ({size}, {standard}).")),
            choose("nearest_is_entered", true=_("No standard size is closer than the one entered.")),
            EFFECT,
        ),
        remedy=_("Measure the circumference."),
    ),
    "suspect-entry/inches-as-millimetres": Entry(
        title=_("Possible cause (likelihood {probability:%.0}): unit of length"),
        detail=(
            _(
                "The {quantity} may have been read in inches and entered in millimetres: {implied} instead of {entered}."
            ),
            EFFECT,
        ),
        remedy=_("Check the unit."),
    ),
    "suspect-entry/millimetres-as-inches": Entry(
        title=_("Possible cause (likelihood {probability:%.0}): unit of length"),
        detail=(
            _(
                "The {quantity} may have been read in millimetres and entered in inches: {implied} instead of {entered}."
            ),
            EFFECT,
        ),
        remedy=_("Check the unit."),
    ),
    "suspect-entry/other-schedule": Entry(
        title=_("Possible cause (likelihood {probability:%.0}): wall thickness"),
        detail=(
            first_of(
                when(
                    "schedule",
                    _(
                        "A wall of {implied} ({size} {schedule}, {standard}; entered: {entered}) would explain the measured sound speed."
                    ),
                ),
                _(
                    "A wall of {implied} ({size}, {standard}; entered: {entered}) would explain the measured sound speed."
                ),
            ),
            EFFECT,
        ),
        remedy=MEASURE_WALL,
    ),
    "suspect-entry/wall-thicker": Entry(
        title=_("Possible cause (likelihood {probability:%.0}): wall thickness"),
        detail=(
            _("The wall may be {implied} (entered: {entered}) or have internal scale."),
            NEAREST_WALL,
            EFFECT,
        ),
        remedy=MEASURE_WALL,
    ),
    "suspect-entry/wall-thinner": Entry(
        title=_("Possible cause (likelihood {probability:%.0}): wall thickness"),
        detail=(
            _("The wall may be {implied} (entered: {entered}), for example after corrosion."),
            NEAREST_WALL,
            EFFECT,
        ),
        remedy=MEASURE_WALL,
    ),
    "suspect-entry/lining-absent": Entry(
        title=_("Possible cause (likelihood {probability:%.0}): lining"),
        detail=(
            first_of(
                when("lining", _("The pipe may have no lining; {entered} of {lining} is entered.")),
                _("The pipe may have no lining; a lining of {entered} is entered."),
            ),
            EFFECT,
        ),
        remedy=CHECK_LINING,
    ),
    "suspect-entry/lining-not-entered": Entry(
        title=_("Possible cause (likelihood {probability:%.0}): lining"),
        detail=(
            _("The pipe may have a lining that is not entered: {implied} of {lining}."),
            EFFECT,
        ),
        remedy=CHECK_LINING,
    ),
    "suspect-entry/lining-thickness": Entry(
        title=_("Possible cause (likelihood {probability:%.0}): lining thickness"),
        detail=(
            _(
                "A lining of {implied} instead of the {entered} entered would explain the measured sound speed."
            ),
            EFFECT,
        ),
        remedy=CHECK_LINING,
    ),
    "suspect-entry/material": Entry(
        title=_("Possible cause (likelihood {probability:%.0}): pipe material"),
        detail=(
            first_of(
                when("entered_material", _("The pipe may be {material} instead of {entered_material}.")),
                _("The pipe may be {material}."),
            ),
            EFFECT,
        ),
        remedy=_("Check the material of the pipe."),
    ),
    "suspect-entry/wave-mode": Entry(
        title=_("Possible cause (likelihood {probability:%.0}): wave mode"),
        detail=(
            _(
                "The signal may have travelled through the pipe wall as a {wave_mode} wave instead of the {entered_wave_mode} wave assumed."
            ),
            EFFECT,
        ),
        remedy=_("Check the wedge angle and the mounting."),
    ),
    "suspect-entry/medium": Entry(
        title=_("Possible cause (likelihood {probability:%.0}): medium"),
        detail=(
            first_of(
                when("salinity", _("The medium may be {medium} with a salinity of {salinity:.3g}.")),
                when(
                    "mass_fraction",
                    _("The medium may be {medium} with a mass fraction of {mass_fraction:%.0}."),
                ),
                when(
                    "api_gravity",
                    _("The medium may be {medium} with an API gravity of {api_gravity:.1}."),
                ),
                _("The medium may be {medium}."),
            ),
            when("entered_medium", _("The medium entered is {entered_medium}.")),
            EFFECT,
        ),
        remedy=_("Ask the site for the medium, or take a sample."),
    ),
    "suspect-entry/composition": Entry(
        title=_("Possible cause (likelihood {probability:%.0}): composition of the medium"),
        detail=(
            _(
                "{quantity:cap} {implied:.3g} instead of the {entered:.3g} entered would explain the measured sound speed."
            ),
            EFFECT,
        ),
        remedy=_("Take a sample of the medium."),
    ),
    "suspect-entry/temperature": Entry(
        title=_("Possible cause (likelihood {probability:%.0}): temperature of the medium"),
        detail=(
            _(
                "A temperature of {implied} instead of the {entered} entered would explain the measured sound speed."
            ),
            EFFECT,
        ),
        remedy=_("Measure the temperature of the medium."),
    ),
    "suspect-entry/medium-sound-speed": Entry(
        title=_("Possible cause (likelihood {probability:%.0}): sound speed of the medium"),
        detail=(
            _(
                "A sound speed of {implied} instead of the {entered} entered would explain the measured sound speed."
            ),
            EFFECT,
        ),
        remedy=_("Check the source of the sound speed entered."),
    ),
    "suspect-entry/traverses": Entry(
        title=_("Possible cause (likelihood {probability:%.0}): number of traverses"),
        detail=(
            ngettext_lazy(
                "The signal may have made {count} traverse instead of the {entered_traverses} entered.",
                "The signal may have made {count} traverses instead of the {entered_traverses} entered.",
                "count",
            ),
            EFFECT,
        ),
        remedy=_("Check the spacing and on which sides the transducers are mounted."),
    ),
    "suspect-entry/wedge-delay": Entry(
        title=_("Possible cause (likelihood {probability:%.0}): wedge delay"),
        detail=(
            _(
                "A wedge delay of {implied} instead of the {entered} entered would explain the measured sound speed."
            ),
            EFFECT,
        ),
        remedy=_("Check which transducers are mounted."),
    ),
    "suspect-entry/spacing": Entry(
        title=_("Possible cause (likelihood {probability:%.0}): transducer spacing"),
        detail=(
            choose(
                "spacing_entered",
                true=_(
                    "A mounted spacing of {implied} instead of the {entered} entered would explain the measured sound speed."
                ),
                false=_(
                    "A mounted spacing of {implied} instead of the {entered} required would explain the measured sound speed."
                ),
            ),
            EFFECT,
        ),
        remedy=_("Read the rail scale again."),
    ),
    "suspect-entry/wedge-angle": Entry(
        title=_("Possible cause (likelihood {probability:%.0}): wedge angle"),
        detail=(
            _(
                "A wedge angle of {implied:.1} instead of the {entered:.1} entered would explain the measured sound speed."
            ),
            EFFECT,
        ),
        remedy=_("Check the angle on the wedge or in its data sheet."),
    ),
    "suspect-entry/wedge-sound-speed": Entry(
        title=_("Possible cause (likelihood {probability:%.0}): sound speed of the wedge"),
        detail=(
            _(
                "A sound speed of the wedge of {implied:.0} instead of the {entered:.0} entered would explain the measured sound speed."
            ),
            EFFECT,
        ),
        remedy=_("Check the data sheet of the transducers."),
    ),
    "suspect-entry/transducers": Entry(
        title=_("Possible cause (likelihood {probability:%.0}): transducer pair"),
        detail=(
            _(
                "Another transducer pair may be mounted: one with an axial wave speed of {implied:.0} instead of {entered:.0}."
            ),
            EFFECT,
        ),
        remedy=_("Compare the serial number on the transducers with the record."),
    ),
    "suspect-entry/several": Entry(
        title=_("Possible cause (likelihood {probability:%.0}): more than one entry"),
        detail=_("More than one entry may be wrong. One sound speed does not show which entries."),
        remedy=_("Check every entry that can be measured before you change an entry."),
    ),
}
