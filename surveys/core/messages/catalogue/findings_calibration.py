"""Findings and statements on calibrations, intermediate checks and calibration intervals."""

from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext_lazy

from surveys.core.messages.texts import Entry, choose, first_of, when

QUARANTINE = _("Take the instrument out of service until the cause is known.")
REPEAT = _("Repeat the check. If the result is the same, have the instrument calibrated earlier.")

ENTRIES = {
    # Error curves and conformity.
    "outside-calibrated-range": Entry(
        title=_("Outside the calibrated range"),
        detail=(
            ngettext_lazy(
                "{count} reading at {farthest}; calibrated {low:g} to {high:g}.",
                "{count} readings up to {farthest}; calibrated {low:g} to {high:g}.",
                "count",
            ),
            choose(
                "relative",
                true=_("The error at the end of the range ({error:+%.2}) is used with a larger uncertainty."),
                false=_("The error at the end of the range ({error:+}) is used with a larger uncertainty."),
            ),
        ),
        remedy=_("Have the instrument calibrated over its range of use."),
    ),
    "coverage-factor-low": Entry(
        title=_("Coverage factor below {limit}"),
        detail=ngettext_lazy(
            "{count} point has an expanded uncertainty with a coverage factor of {coverage_factor}. The "
            "uncertainty is converted to k = 2 for the decision.",
            "{count} points have an expanded uncertainty with a coverage factor as low as {coverage_factor}. The "
            "uncertainty is converted to k = 2 for the decision.",
            "count",
        ),
        remedy=_("Check the coverage factor on the certificate."),
    ),
    "guard-band-wider-than-limit": Entry(
        title=ngettext_lazy(
            "Guard band wider than the permissible error at {count} point",
            "Guard band wider than the permissible error at {count} points",
            "count",
        ),
        detail=_(
            "The guard band is {guard_band}, the permissible error {maximum_permissible_error}: no reading can pass."
        ),
        remedy=_("Obtain a calibration with a smaller uncertainty or review the limit."),
    ),
    "calibration-uncertainty-large": Entry(
        title=_("Calibration uncertainty is large"),
        detail=ngettext_lazy(
            "At {count} point the expanded uncertainty of {expanded_uncertainty} is more than a third of the "
            "permissible error of {maximum_permissible_error}.",
            "At {count} points the expanded uncertainty, such as {expanded_uncertainty}, is more than a third of "
            "the permissible error of {maximum_permissible_error}.",
            "count",
        ),
        remedy=_("Consider the conformance probability before you use the statement of conformity."),
    ),
    "due-on-from-policy": Entry(
        title=_("Due date from the interval policy"),
        detail=_("No due date was entered; the due date is {due_on}, from the interval policy."),
    ),
    "limits-from-policy": Entry(
        title=_("Limits from the acceptance policy"),
        detail=_(
            "The certificate gives no limits; the acceptance policy of the instrument or its type is used."
        ),
    ),
    "limits-not-stated": Entry(
        title=_("No limits, so no statement of conformity"),
        detail=_("Neither the certificate nor a policy gives a permissible error."),
        remedy=_("Enter the permissible error with the certificate, or record an acceptance policy."),
    ),
    "points-not-stated": Entry(
        title=_("No points, so no statement of conformity"),
        detail=_("The certificate is recorded without calibration points."),
        remedy=_("Enter the points of the certificate."),
    ),
    # Intermediate checks.
    "zero-flow-readings": Entry(
        title=_("Zero flow check"),
        detail=(
            ngettext_lazy(
                "{count} reading at zero flow: mean {mean}, standard deviation {standard_deviation}, drift over the log {drift}.",
                "{count} readings at zero flow: mean {mean}, standard deviation {standard_deviation}, drift over the log {drift}.",
                "count",
            ),
            when("velocity", _("On this set-up the zero corresponds to {velocity}.")),
        ),
    ),
    "zero-drifting": Entry(
        title=_("Zero drifting"),
        detail=_("The zero changed by {drift} during the check."),
        remedy=_("Make sure that the flow is shut off and the meter has warmed up, then repeat the check."),
    ),
    "step-block-readings": Entry(
        title=_("Step block check"),
        detail=ngettext_lazy(
            "{count} step checked. The deviation at {at} is {deviation:+mm.3}.",
            "{count} steps checked. The largest deviation, at {at}, is {deviation:+mm.3}.",
            "count",
        ),
    ),
    "step-block-line": Entry(
        title=_("Offset and slope of the deviations"),
        detail=(
            _(
                "The deviations have an offset of {offset:+mm.3} and a slope of {slope:+%.2} of the thickness."
            ),
            _("A slope shows a wrong gauge velocity setting, an offset a wrong probe zero."),
        ),
    ),
    "reference-readings": Entry(
        title=_("Comparison with a reference"),
        detail=ngettext_lazy(
            "{count} reading against a reference of {reference}: deviation {deviation:+}.",
            "{count} readings against a reference of {reference}: mean deviation {deviation:+}.",
            "count",
        ),
    ),
    "meters-compared": Entry(
        title=_("Comparison of two meters"),
        detail=(
            _("The readings differ by {difference:abs}."),
            _(
                "Without the shared uncertainty, En = {en_number:.2} (agreement up to 1) and zeta = {zeta_score:.2}."
            ),
        ),
    ),
    "check-outcome": Entry(
        title=_("Outcome of the check"),
        detail=(
            _("Deviation {deviation:+}, expanded uncertainty {expanded_uncertainty}."),
            _("Warning limit {warning_limit:g}, action limit {action_limit:g}: {outcome}."),
        ),
    ),
    "check-out-of-limits": Entry(
        title=_("Check out of limits"),
        detail=_(
            "The deviation is {deviation:+} with an expanded uncertainty of {expanded_uncertainty}; the action limit is {action_limit:g}."
        ),
        remedy=QUARANTINE,
    ),
    "check-out-of-limits/two-meters": Entry(
        title=_("The two meters disagree"),
        detail=_(
            "The readings differ by {difference:abs}; zeta is {zeta_score:.2}, the limit is 3. One of the meters is wrong."
        ),
        remedy=_("Take both meters out of service until a reference shows which meter is wrong."),
    ),
    "check-warning": Entry(
        title=_("Check close to the limit"),
        detail=_(
            "The deviation is {deviation:+} with an expanded uncertainty of {expanded_uncertainty}; the warning "
            "limit is {warning_limit:g}, the action limit {action_limit:g}."
        ),
        remedy=REPEAT,
    ),
    "check-warning/two-meters": Entry(
        title=_("The two meters agree poorly"),
        detail=_(
            "The readings differ by {difference:abs}; zeta is {zeta_score:.2}. Values above 2 are a warning, values from 3 are out of limits."
        ),
        remedy=REPEAT,
    ),
    "check-drift": Entry(
        title=_("Yearly drift of the checks"),
        detail=(
            _("The check drifts by {drift:+} a year, expanded uncertainty {expanded_uncertainty}."),
            choose(
                "significant",
                true=_("The drift is significant."),
                false=_("The drift is not significant."),
            ),
        ),
    ),
    "check-reaches-limit": Entry(
        title=_("Action limit ahead"),
        detail=ngettext_lazy(
            "At this rate the check reaches the action limit in {count} day.",
            "At this rate the check reaches the action limit in {count} days.",
            "count",
        ),
    ),
    "check-drifting": Entry(
        title=_("Significant drift of the checks"),
        detail=_("The check drifts by {drift:+} a year, expanded uncertainty {expanded_uncertainty}."),
        remedy=_("Bring the calibration forward if the drift leads out of the limits."),
    ),
    "check-non-random": Entry(
        title=_("Non-random pattern"),
        detail=choose(
            "pattern",
            beyond_action=_("Result {first} is beyond the action limit."),
            two_of_three_beyond_warning=_(
                "Two of three successive results, {first} and {last}, are beyond the warning limit on the same side."
            ),
            one_side=_("Results {first} to {last} all lie on the same side of zero."),
            rising=_("Results {first} to {last} rise steadily."),
            falling=_("Results {first} to {last} fall steadily."),
        ),
        remedy=_("Find out what changed before result {first}."),
    ),
    # Calibration intervals.
    "interval-at-bound": Entry(
        title=_("Interval limited by the policy"),
        detail=(
            first_of(
                when("found", _("The method gives {found} {found_unit}.")),
                _("The method gives no upper limit."),
            ),
            choose(
                "bound",
                longest=_("The longest interval of the policy is {allowed} {allowed_unit}."),
                shortest=_("The shortest interval of the policy is {allowed} {allowed_unit}."),
            ),
        ),
    ),
    "as-found-fraction": Entry(
        title=_("As-found error"),
        detail=_("As found, the largest error was {fraction:%.0} of the permissible error."),
    ),
    "staircase-step": Entry(
        title=_("Staircase step"),
        detail=(
            choose(
                "step",
                shortened=_("The instrument was out of tolerance, so the interval is shortened."),
                unchanged=_(
                    "The error was in tolerance but above {comfortable:%.0} of the limit, so the interval is unchanged."
                ),
                lengthened=_(
                    "The error was within {comfortable:%.0} of the limit, so the interval is lengthened."
                ),
            ),
            _("{current} {current_unit} × {factor} = {result} {result_unit}."),
        ),
    ),
    "hours-a-day": Entry(
        title=_("Hours of use and calendar backstop"),
        detail=first_of(
            when(
                "days",
                _(
                    "At {hours:.2g} hours a day the hours are reached after about {days} days, before the calendar backstop of {backstop} days."
                ),
            ),
            _("At {hours:.2g} hours a day the calendar backstop of {backstop} days comes first."),
        ),
    ),
    "interval-hours-soon": Entry(
        title=_("Hours of use reached early"),
        detail=ngettext_lazy(
            "At the present use the hours are reached after {count} day; the shortest interval of the policy is {shortest} days.",
            "At the present use the hours are reached after {count} days; the shortest interval of the policy is {shortest} days.",
            "count",
        ),
        remedy=_("Review the hours of use allowed, or use more than one instrument."),
    ),
    "calibration-drift": Entry(
        title=_("Drift between calibrations"),
        detail=(
            choose(
                "relative",
                true=choose(
                    "per",
                    year=_(
                        "The error drifts by {drift:+%.2} a year, expanded uncertainty {expanded_uncertainty:%.2}."
                    ),
                    otherwise=_(
                        "The error drifts by {drift:+%.2} in 1000 hours, expanded uncertainty {expanded_uncertainty:%.2}."
                    ),
                ),
                false=choose(
                    "per",
                    year=_(
                        "The error drifts by {drift:+} a year, expanded uncertainty {expanded_uncertainty}."
                    ),
                    otherwise=_(
                        "The error drifts by {drift:+} in 1000 hours, expanded uncertainty {expanded_uncertainty}."
                    ),
                ),
            ),
            choose(
                "significant",
                true=_("The drift is significant."),
                false=_("The drift is not significant."),
            ),
        ),
    ),
    "error-after-calibration": Entry(
        title=_("Error after the last calibration"),
        detail=choose(
            "relative",
            true=_(
                "After the last calibration the predicted error is {error:+%.2}, expanded uncertainty of the next "
                "result {expanded_uncertainty:%.2}."
            ),
            false=_(
                "After the last calibration the predicted error is {error:+}, expanded uncertainty of the next result {expanded_uncertainty}."
            ),
        ),
    ),
    "error-at-longest-interval": Entry(
        title=_("Error at the longest interval"),
        detail=choose(
            "relative",
            true=_(
                "After {time} {time_unit} the predicted error is {error:+%.2}, expanded uncertainty "
                "{expanded_uncertainty:%.2}: still within the permissible {maximum_permissible_error:%.2}."
            ),
            false=_(
                "After {time} {time_unit} the predicted error is {error:+}, expanded uncertainty "
                "{expanded_uncertainty}: still within the permissible {maximum_permissible_error:g}."
            ),
        ),
    ),
    "error-reaches-limit": Entry(
        title=_("Permissible error reached"),
        detail=choose(
            "relative",
            true=_(
                "The predicted error with its expanded uncertainty reaches the permissible "
                "{maximum_permissible_error:%.2} after {time} {time_unit}."
            ),
            false=_(
                "The predicted error with its expanded uncertainty reaches the permissible {maximum_permissible_error:g} after {time} {time_unit}."
            ),
        ),
    ),
    "interval-few-calibrations": Entry(
        title=ngettext_lazy("Only {count} calibration", "Only {count} calibrations", "count"),
        detail=_(
            "With fewer than {needed} calibrations the drift is uncertain, so the proposed interval is short."
        ),
        remedy=_("Use the staircase until {needed} calibrations are recorded."),
    ),
    "interval-error-at-limit": Entry(
        title=_("Error at the limit after calibration"),
        detail=(
            choose(
                "relative",
                true=_(
                    "Directly after the last calibration the error with its expanded uncertainty is {reach:%.2}; the "
                    "permissible error is {maximum_permissible_error:%.2}."
                ),
                false=_(
                    "Directly after the last calibration the error with its expanded uncertainty is {reach}; the "
                    "permissible error is {maximum_permissible_error:g}."
                ),
            ),
            _("A shorter interval does not help."),
        ),
        remedy=_("Have the instrument adjusted or repaired, or review the limit."),
    ),
    "in-tolerance-rate": Entry(
        title=_("In-tolerance rate"),
        detail=(
            ngettext_lazy(
                "After {time} {time_unit}, {in_tolerance} of {count} result was in tolerance ({rate:%}).",
                "After {time} {time_unit}, {in_tolerance} of {count} results were in tolerance ({rate:%}).",
                "count",
            ),
            _("The true rate is between {lower:%} and {upper:%} (95 % confidence)."),
        ),
    ),
    "all-in-tolerance": Entry(
        title=_("All results in tolerance"),
        detail=_(
            "All {count} were in tolerance. The in-tolerance rate is taken as {rate:%} (median estimate for "
            "{count} of {count}); the interval is not shortened."
        ),
    ),
    "none-in-tolerance": Entry(
        title=_("No result in tolerance"),
        detail=_("No result was in tolerance, so no interval reaches the target."),
    ),
    "settled-in-tolerance-rate": Entry(
        title=_("In-tolerance rate of the method"),
        detail=_(
            "Repeated reviews by this method settle at about {rate:%.0} of instruments in tolerance (simulation of a random-walk drift)."
        ),
    ),
    "reliability-target": Entry(
        title=_("Reliability target"),
        detail=_("The target is {target:%}."),
    ),
    "reliability-interval": Entry(
        title=_("Interval for the target"),
        detail=_("{current} {current_unit} × ln({target:.3g}) / ln({rate:.3g}) = {result} {result_unit}."),
    ),
    "reliability-none-in-tolerance": Entry(
        title=_("No instrument in tolerance"),
        detail=ngettext_lazy(
            "The only as-found result of this type is out of tolerance; the target is {target:%}. A shorter interval does not help.",
            "All {count} as-found results of this type are out of tolerance; the target is {target:%}. A shorter interval does not help.",
            "count",
        ),
        remedy=_("Check the permissible error, the handling and the type of instrument."),
    ),
    "reliability-near-target": Entry(
        title=_("Difference from the target not significant"),
        detail=_(
            "With {count} results the true in-tolerance rate is between {lower:%} and {upper:%}, which includes the target of {target:%}."
        ),
        remedy=_("Wait for more results before you change the interval."),
    ),
    # Instruments found out of tolerance.
    "found-out-of-tolerance": Entry(
        title=_("Found out of tolerance"),
        detail=choose(
            "conformity",
            conditional_fail=_("On {on} the instrument was found with a conditional fail."),
            otherwise=_("On {on} the instrument was found out of tolerance."),
        ),
    ),
    "last-in-tolerance": Entry(
        title=_("Last in tolerance"),
        detail=_("The instrument was last in tolerance on {on}. Results since then may be affected."),
    ),
    "not-left-in-tolerance": Entry(
        title=_("Not left in tolerance"),
        detail=_("The calibration of {on} did not leave the instrument in tolerance."),
    ),
    "no-statement-of-conformity": Entry(
        title=_("No statement of conformity"),
        detail=_("The calibration of {on} has no statement of conformity."),
    ),
    "never-in-tolerance": Entry(
        title=_("No calibration in tolerance"),
        detail=_(
            "No earlier calibration shows the instrument within tolerance, so all earlier results may be affected."
        ),
    ),
}
