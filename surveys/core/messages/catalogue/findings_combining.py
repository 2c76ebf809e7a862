"""Findings and errors of combined results: parts, paths and common time."""

from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext_lazy

from surveys.core.messages.texts import Entry, choose, first_of, when

LONGER_STRAIGHT = _("Measure where the straight length is longer.")

ENTRIES = {
    "correlated-degrees-of-freedom/combined": Entry(
        title=_("Different degrees of freedom"),
        detail=ngettext_lazy(
            "The shared input {inputs:and} has different degrees of freedom in the parts; the smallest is used, which is conservative.",
            "The shared inputs {inputs:and} have different degrees of freedom in the parts; the smallest are used, which is conservative.",
            "count",
        ),
    ),
    "difference-not-significant": Entry(
        title=_("Difference not significant"),
        detail=_(
            "The difference of {difference:abs} is smaller than its expanded uncertainty of {expanded_uncertainty} ({coverage_probability:%.0})."
        ),
        remedy=_(
            "To compare the two flows, measure both with the same meter and transducers, so that common uncertainties cancel."
        ),
    ),
    "relative-uncertainty-meaningless": Entry(
        title=_("Relative uncertainty not meaningful"),
        detail=_(
            "The combined value of {value} is not larger than its standard uncertainty of {standard_uncertainty}."
        ),
        remedy=_("Use the absolute uncertainty."),
    ),
    "paths-agree": Entry(
        title=_("Paths agree"),
        detail=(
            _("The largest difference of {difference} is within its expanded uncertainty of {limit}."),
            _("The paths show no sign of swirl or an asymmetric profile."),
        ),
    ),
    "paths-disagree": Entry(
        title=_("Paths disagree"),
        detail=(
            first_of(
                when(
                    "ratio",
                    _(
                        "Paths {first} and {second} differ by {ratio:.1} times the expanded uncertainty of their difference."
                    ),
                ),
                _(
                    "Paths {first} and {second} differ by {difference}; no uncertainty of their own is entered."
                ),
            ),
            choose(
                "geometry",
                unknown=_("The flow profile may be asymmetric or the mounting wrong."),
                crossed_on_one_diameter=_(
                    "The flow probably swirls; the mean of these crossed paths is free of swirl to first order."
                ),
                one_diameter_odd_and_even=_("The flow probably swirls, or the mounting of a path is wrong."),
                one_diameter=_("Both paths see the same flow, so the mounting is probably wrong."),
                two_diameters_even=_("The flow profile is probably asymmetric, as after a bend."),
                otherwise=_("The flow probably swirls or has an asymmetric profile."),
            ),
            _("Half the range of the paths is added to the uncertainty."),
        ),
        remedy=choose(
            "geometry",
            unknown=_("Enter the path angles."),
            crossed_on_one_diameter="",
            one_diameter_odd_and_even=_("Check spacing, alignment, couplant and cables."),
            one_diameter=_("Check spacing, alignment, couplant and cables."),
            two_diameters_odd=_("Repeat with an even number of traverses, which cancels cross-flow."),
            otherwise=LONGER_STRAIGHT,
        ),
    ),
    "overlap-short": Entry(
        title=_("Short common time"),
        detail=_(
            "The logs overlap for {common}, {fraction:%.0} of the shortest log: {start:seconds} to {end:seconds}. The result is for this time only."
        ),
        remedy=_("Check the clocks of the loggers."),
    ),
    "clocks-differ": Entry(
        title=_("Clocks probably differ"),
        detail=(
            _("The clock of {ahead} seems to be {shift} ahead of the clock of {behind}."),
            _(
                "With this shift the correlation of the flows is {correlation:.2}; as logged {correlation_as_logged:.2}. The logs are not shifted."
            ),
        ),
        remedy=_("Compare the clocks."),
    ),
    "not-enough-data/parts": Entry(
        title=_("Too few parts"),
        detail=ngettext_lazy(
            "The result needs at least {needed} parts; {count} is given.",
            "The result needs at least {needed} parts; {count} are given.",
            "count",
        ),
        remedy=_("Select more surveys."),
    ),
    "not-enough-data/parts-of-difference": Entry(
        title=_("Wrong number of parts"),
        detail=ngettext_lazy(
            "A difference needs exactly two parts; {count} is given.",
            "A difference needs exactly two parts; {count} are given.",
            "count",
        ),
        remedy=_("Select two surveys."),
    ),
    "not-enough-data/paths": Entry(
        title=_("Too few paths"),
        detail=ngettext_lazy(
            "A mean of paths needs at least two paths; {count} is given.",
            "A mean of paths needs at least two paths; {count} are given.",
            "count",
        ),
        remedy=_("Record a further path."),
    ),
    "out-of-range/repeated-component": Entry(
        title=_("Component repeated"),
        detail=_("The component {component} is already an input of a part."),
        remedy=_("Give the common repeatability a name of its own."),
    ),
    "out-of-range/repeated-input": Entry(
        title=_("Input repeated"),
        detail=first_of(
            when("part", _("The part {part} has the same input of the same owner twice.")),
            _("Part {number} has the same input of the same owner twice."),
        ),
        remedy=_("Enter each input once."),
    ),
    "out-of-range/component": Entry(
        title=_("Contribution not finite"),
        detail=_("The contribution of {component} is not a finite number."),
        remedy=_("Recalculate the result of the survey."),
    ),
    "out-of-range/degrees-of-freedom": Entry(
        title=_("Degrees of freedom out of range"),
        detail=_("The degrees of freedom of {component} are {value}; they must be above 0."),
        remedy=_("Recalculate the result of the survey."),
    ),
    "out-of-range/part": Entry(
        title=_("Part not finite"),
        detail=_("The value or the coefficient of a part is not a finite number."),
        remedy=_("Recalculate the result of the survey."),
    ),
    "not-enough-data/owner": Entry(
        title=_("Owner of an input missing"),
        detail=_("The input {input} needs the {owner} of each result."),
        remedy=_("Name the {owner} of each result."),
    ),
    "number-invalid/log-lengths": Entry(
        title=_("Log incomplete"),
        detail=_("The log of {log} has {times} times but {values} values."),
        remedy=_("Import the log again."),
    ),
    "not-enough-data/log-empty": Entry(
        title=_("Log empty"),
        detail=_("The log of {log} has no readings."),
        remedy=_("Import the log again."),
    ),
    "number-invalid/log-value": Entry(
        title=_("Value not finite"),
        detail=_("A value in the log of {log} is not a finite number."),
        remedy=_("Import the log again."),
    ),
    "not-enough-data/no-common-time": Entry(
        title=_("No time in common"),
        detail=_(
            "The log of {late} starts at {starts:seconds}, after the log of {early} ends at {ends:seconds}."
        ),
        remedy=_("Combine logs of the same time, or check the clocks of the loggers."),
    ),
    "out-of-range/too-many-steps": Entry(
        title=_("Too many steps"),
        detail=_("The common time has {count} steps; at most {limit} are allowed."),
        remedy=_("Enter a longer step."),
    ),
    "not-enough-data/no-common-step": Entry(
        title=_("No common step"),
        detail=_("No step of the common time has a reading of every log."),
        remedy=_("Enter a longer step."),
    ),
    "out-of-range/coefficients": Entry(
        title=_("Wrong number of coefficients"),
        detail=_("There are {logs} logs but {coefficients} coefficients."),
        remedy=_("Enter one coefficient for each log."),
    ),
}
