"""Errors of uncertainties, correlations, statistics and calibration errors in a result."""

from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext_lazy

from surveys.core.messages.texts import Entry

ENTRIES = {
    "several-instruments-of-a-kind": Entry(
        title=_("Several instruments of one kind"),
        detail=_("Which of them measured is not recorded."),
        remedy=_("Enter only the instrument that was used."),
    ),
    "not-enough-data/no-zero-point": Entry(
        title=_("No point at zero"),
        detail=_("No point of the certificate is at a time difference of 0."),
        remedy=_("Enter the zero of the pair from the certificate."),
    ),
    "out-of-range/not-finite": Entry(
        title=_("Value not finite"),
        detail=_("The value of the {quantity} is not finite."),
        remedy=_("Check the entries that it is calculated from."),
    ),
    "out-of-range/correlation-repeated": Entry(
        title=_("Correlation not possible"),
        detail=_(
            "The correlation of {input} with {other_input} is entered twice, or both inputs are the same."
        ),
        remedy=_("Enter each pair of different inputs once."),
    ),
    "out-of-range/correlations-inconsistent": Entry(
        title=_("Correlations inconsistent"),
        detail=_("The correlations contradict one another: their matrix is not positive semidefinite."),
        remedy=_("Check the correlation coefficients."),
    ),
    "not-enough-data/correlated-input": Entry(
        title=_("Uncertainty missing"),
        detail=_("A correlation names an input without an uncertainty: {input}."),
        remedy=_("Enter the uncertainty of this input, or remove the correlation."),
    ),
    "out-of-range/no-sensitivity": Entry(
        title=_("Sensitivity not defined"),
        detail=_("The flow is not finite near the values entered, so sensitivities cannot be calculated."),
        remedy=_("Check the entries."),
    ),
    "out-of-range/input-repeated": Entry(
        title=_("Input repeated"),
        detail=_("An input is named twice."),
        remedy=_("Enter each input once; a shared input is one input."),
    ),
    "out-of-range/uncertainty-too-large": Entry(
        title=_("Uncertainty too large"),
        detail=_("The flow is not finite at some of the Monte Carlo trials."),
        remedy=_("Reduce the largest uncertainties."),
    ),
    "out-of-range/relative-to-zero": Entry(
        title=_("Relative uncertainty not possible"),
        detail=_("The {input} is 0, so it has no relative uncertainty."),
        remedy=_("Enter the uncertainty as a value with its unit."),
    ),
    "not-enough-data/no-inputs": Entry(
        title=_("Uncertainty missing"),
        detail=_("No uncertainty is entered."),
        remedy=_("Enter the uncertainty of at least one input."),
    ),
    "unknown-name/calculation-input": Entry(
        title=_("Input unknown"),
        detail=_("{name} is not an input of this calculation."),
        remedy=_("Select one of: {known}."),
    ),
    "out-of-range/line-coordinates": Entry(
        title=_("Coordinates incomplete"),
        detail=_("A line needs as many x as y coordinates; {x} and {y} are given."),
    ),
    "number-invalid/line-point-not-finite": Entry(
        title=_("Point not finite"),
        detail=_("A point of the line is not finite."),
    ),
    "not-enough-data/line-points": Entry(
        title=_("Too few points"),
        detail=_(
            "A line with its standard deviation needs at least {at_least} points; {points} are recorded."
        ),
    ),
    "out-of-range/line-slope": Entry(
        title=_("Slope not defined"),
        detail=_("All points have the same x coordinate, so the line has no slope."),
    ),
    "not-enough-data/segments-short": Entry(
        title=_("Segments too short"),
        detail=_(
            "At least one segment of the log needs {at_least} consecutive readings, so that the repeatability can be estimated."
        ),
        remedy=_("Mark a longer segment."),
    ),
    "not-enough-data/readings-few": Entry(
        title=_("Too few readings"),
        detail=ngettext_lazy(
            "There is {count} reading; the repeatability needs at least {at_least} consecutive readings.",
            "There are {count} readings; the repeatability needs at least {at_least} consecutive readings.",
            "count",
        ),
    ),
    "number-invalid/reading-not-finite": Entry(
        title=_("Reading not finite"),
        detail=_("A reading is not a finite number."),
        remedy=_("Remove failed readings first."),
    ),
}
