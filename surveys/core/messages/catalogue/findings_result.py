"""Findings on a result: flow, sound speed, signal, calibration errors and uncertainty."""

from django.utils.translation import gettext_lazy as _

from surveys.core.messages.texts import Entry, choose, first_of, when

EXPECTED = first_of(
    when("medium", "temperature", _("Expected {expected:.1} for {medium} at {temperature}.")),
    when("medium", _("Expected {expected:.1} for {medium}.")),
    _("Expected {expected:.1} for the medium entered."),
)
LIMIT = _(
    "Limit: ±{limit:%.1}, the {coverage_probability:%.0} interval of the uncertainties of the entries, mainly of the {main_input}."
)
READS = choose(
    "measures",
    velocity=first_of(
        when("relative_error", _("{instrument:cap} reads {relative_error:abs%} {reads} at this velocity.")),
        _("{instrument:cap} reads {error:abs} {reads} at this velocity."),
    ),
    wall=_("{instrument:cap} reads {error:abs mm.2} {reads} at this wall thickness."),
    temperature=_("{instrument:cap} reads {error:abs} {reads} at this temperature."),
    zero=_("{instrument:cap} has a zero error of {error:+}."),
)

ENTRIES = {
    "reverse-flow": Entry(
        title=_("Reverse flow"),
        detail=_("The flow is opposite to the flow direction entered for the pipe."),
        remedy=_("If this is not possible, check whether the transducer cables are swapped."),
    ),
    "velocity-high": Entry(
        title=_("Velocity very high"),
        detail=_("The velocity of {velocity:abs} is above {at_most:g}, the limit of normal operation."),
        remedy=_("Check the outer diameter, the wall thickness and the units."),
    ),
    "velocity-impossible": Entry(
        title=_("Velocity not possible"),
        detail=_("The velocity of {velocity:abs} is above {at_most:g}. No liquid flows so fast in a pipe."),
        remedy=_("Check the units and the columns of the log, the outer diameter and the wall thickness."),
    ),
    "velocity-low": Entry(
        title=_("Velocity very low"),
        detail=(
            _("The velocity of {velocity:abs mm/s.0} is below {at_least:mm/s.0}."),
            _("The zero error of the meter may be as large as the flow."),
        ),
        remedy=_("Check the zero with the flow stopped, or use more traverses."),
    ),
    "flow-laminar": Entry(
        title=_("Laminar flow (Re = {reynolds:.0})"),
        detail=_(
            "The profile factor of 3/4 for laminar flow is used. It applies only after a long straight length."
        ),
    ),
    "flow-transitional": Entry(
        title=_("Transitional flow (Re = {reynolds:.0})"),
        detail=_(
            "Between laminar and turbulent flow the velocity profile is not predictable. The profile factors of the two differ by 20 %; "
            "the uncertainty includes both."
        ),
    ),
    "laminar-flow-developing": Entry(
        title=_("Laminar flow not fully developed"),
        detail=(
            _(
                "The upstream straight length of {length:m} is {diameters:.3g} D; the profile needs {needed_diameters:.3g} D."
            ),
            _("The meter reads up to {low:%.1} low."),
            _("The flow is corrected by {correction:+%.1}, half of the possible error."),
        ),
        remedy=_("Choose a location with a longer upstream straight length."),
    ),
    "corrected-for-bend": Entry(
        title=_("Flow corrected for the bend"),
        detail=(
            _("After one bend the meter reads up to {low:%.1} low at this straight length."),
            _("The flow is corrected by {correction:+%.1}, half of the possible error."),
        ),
        remedy=_("Choose a location with a longer upstream straight length."),
    ),
    "flow-within-uncertainty-of-zero": Entry(
        title=_("No flow detected"),
        detail=(
            _(
                "The velocity of {velocity:mm/s.1} is smaller than its expanded uncertainty of {uncertainty:mm/s.1}."
            ),
            _("The flow may be zero, and its direction is unknown."),
        ),
        remedy=_("Check the zero with the flow stopped, or use more traverses."),
    ),
    "sound-speed-inconsistent": Entry(
        title=_("Sound speed does not match"),
        detail=(
            _("Measured {measured:.1} (difference {difference:+%.1})."),
            EXPECTED,
            LIMIT,
            _("An entry is probably wrong, so the flow may be wrong too."),
        ),
        remedy=_("Check the possible causes, starting with the most likely."),
    ),
    "sound-speed-consistent": Entry(
        title=_("Sound speed matches"),
        detail=(
            _("Measured {measured:.1} (difference {difference:+%.1})."),
            EXPECTED,
            LIMIT,
            _("Pipe, fluid and mounting data are consistent."),
        ),
    ),
    "sound-speed-not-logged": Entry(
        title=_("Pipe and fluid data could not be checked"),
        detail=_("The log contains velocity or flow but no sound speed or transit times."),
        remedy=_("Log the sound speed or the transit times so that wrong entries can be detected."),
    ),
    "signal-weak": Entry(
        title=_("Signal weak"),
        detail=_("The median signal-to-noise ratio is {signal}; the meter needs at least {at_least}."),
        remedy=_("Clean the pipe, renew the couplant and check the transducer spacing."),
    ),
    "flow-switching": Entry(
        title=_("Flow switches on and off"),
        detail=(
            _(
                "The flow changes {switches} times between about {low} ({low_fraction:%.0} of the readings) and about {high}."
            ),
            _("The mean is the flow of neither level."),
        ),
        remedy=choose(
            "segments_marked",
            false=_("To measure one level, mark a segment with a steady flow."),
            true=_("Mark shorter segments with a steady flow."),
        ),
    ),
    "flow-unsteady": Entry(
        title=_("Flow not steady"),
        detail=first_of(
            when(
                "relative_change",
                _(
                    "The mean flow changes from {first_half} in the first half of the log to {second_half} in the second ({relative_change:+%.0})."
                ),
            ),
            _(
                "The mean flow changes from {first_half} in the first half of the log to {second_half} in the second."
            ),
        ),
        remedy=choose(
            "segments_marked",
            false=_(
                "If a steady flow is to be measured, mark the steady segment; only that segment is then used."
            ),
        ),
    ),
    "calibration-error-corrected": Entry(
        title=_("Calibration error corrected"),
        detail=(READS, _("The result is corrected for this error.")),
    ),
    "calibration-error-not-corrected": Entry(
        title=_("Calibration error not corrected"),
        detail=(
            READS,
            _("No correction policy applies, so the error is included in the uncertainty instead."),
            choose("significant", false=_("The error is not larger than the calibration uncertainty.")),
        ),
    ),
    "error-curve-not-usable": Entry(
        title=_("Calibration not used for correction"),
        detail=(_("The errors on the certificate of {instrument} are not used."), "{reason}"),
    ),
    "gum-framework-not-validated": Entry(
        title=_("GUM uncertainty framework not validated (JCGM 101, clause 8)"),
        detail=(
            _("Coverage interval by the GUM: {gum_low} to {gum_high}."),
            _("Coverage interval by Monte Carlo: {monte_carlo_low} to {monte_carlo_high}."),
        ),
        remedy=_("Report the Monte Carlo interval."),
    ),
    "drawn-log-normal": Entry(
        title=_("Large uncertainty of a positive quantity"),
        detail=_("These inputs cannot be negative and are drawn from a log-normal distribution: {inputs}."),
    ),
    "correlated-drawn-as-normal": Entry(
        title=_("Correlated inputs treated as normal"),
        detail=_(
            "These inputs are correlated and are drawn from a joint normal distribution, whatever their own distribution: {inputs}."
        ),
    ),
    "correlated-degrees-of-freedom": Entry(
        title=_("Degrees of freedom of correlated inputs differ"),
        detail=(
            _("The Welch-Satterthwaite formula does not cover these correlated inputs: {inputs}."),
            _("The smallest of their degrees of freedom is used, which gives a larger uncertainty."),
        ),
    ),
}
