"""Errors of calibrations, intermediate checks and interval reviews."""

from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext_lazy

from surveys.core.messages.texts import Entry

USE_STAIRCASE = _("Use the staircase until then.")

ENTRIES = {
    "number-invalid/calibration-point": Entry(
        title=_("Calibration point invalid"),
        detail=_("A value of a calibration point is not a finite number."),
        remedy=_("Enter a number for every value of the point."),
    ),
    "out-of-range/relative-error-at-zero": Entry(
        title=_("No relative error at zero"),
        detail=_("A relative error cannot be calculated at a reference value of 0."),
        remedy=_("Remove the point at 0, or use absolute errors."),
    ),
    "out-of-range/both-flow-directions": Entry(
        title=_("Both flow directions in one curve"),
        detail=_("The calibration points are of both flow directions."),
        remedy=_("Enter the points of each direction separately."),
    ),
    "not-enough-data/error-curve": Entry(
        title=_("Too few reference values"),
        detail=ngettext_lazy(
            "An error curve needs points at two reference values; the calibration has {count}.",
            "An error curve needs points at two reference values; the calibration has {count}.",
            "count",
        ),
        remedy=_("Enter the other points of the certificate."),
    ),
    "out-of-range/error-curve-not-rising": Entry(
        title=_("Indicated values do not rise"),
        detail=_(
            "The indicated value does not rise with the reference value, so readings cannot be corrected."
        ),
        remedy=_("Check whether reference and indicated values were exchanged."),
    ),
    "not-enough-data/interval-without-calendar": Entry(
        title=_("Interval without months or days"),
        detail=_("An interval in hours of use alone never ends for an instrument that is not used."),
        remedy=_("Enter months or days as well."),
    ),
    "out-of-range/interval-too-long": Entry(
        title=_("Interval too long"),
        detail=_("The interval is longer than {max_years} years."),
        remedy=_("Check the value and its unit."),
    ),
    "out-of-range/months-past-calendar": Entry(
        title=_("Date past the calendar"),
        detail=ngettext_lazy(
            "{count} month after {start} is past the last date of the calendar.",
            "{count} months after {start} is past the last date of the calendar.",
            "count",
        ),
        remedy=_("Enter fewer months."),
    ),
    "out-of-range/days-past-calendar": Entry(
        title=_("Date past the calendar"),
        detail=ngettext_lazy(
            "{count} day after {start} is past the last date of the calendar.",
            "{count} days after {start} is past the last date of the calendar.",
            "count",
        ),
        remedy=_("Enter fewer days."),
    ),
    "not-enough-data/maximum-permissible-error": Entry(
        title=_("No permissible error"),
        detail=_("The maximum permissible error is missing."),
        remedy=_("Enter an absolute or a relative error."),
    ),
    "not-enough-data/combine-by": Entry(
        title=_("Combination of two limits missing"),
        detail=_("An absolute and a relative permissible error are entered, but not how they are combined."),
        remedy=_("Select the sum or the maximum."),
    ),
    "out-of-range/decision-rule": Entry(
        title=_("Unknown decision rule"),
        detail=_("“{rule}” is not a decision rule."),
        remedy=_("Select simple acceptance, guarded acceptance or non-binary."),
    ),
    "not-enough-data/calibration-points": Entry(
        title=_("No calibration points"),
        detail=_("A statement of conformity needs at least one calibration point."),
        remedy=_("Enter the points of the certificate."),
    ),
    "out-of-range/conformance-limits": Entry(
        title=_("Limits in the wrong order"),
        detail=_("The standard uncertainty is negative, or the lower limit is above the upper limit."),
        remedy=_("Check the limits and the uncertainty."),
    ),
    "out-of-range/permissible-error-zero": Entry(
        title=_("Permissible error is zero"),
        detail=_("At a reference value of 0 a relative permissible error is 0, so no reading can pass."),
        remedy=_("Enter an absolute permissible error as well."),
    ),
    "not-enough-data/check-trend": Entry(
        title=_("Too few checks for a trend"),
        detail=ngettext_lazy(
            "A trend needs {needed} checks; {count} is recorded.",
            "A trend needs {needed} checks; {count} are recorded.",
            "count",
        ),
        remedy=_("Record more checks."),
    ),
    "out-of-range/check-limits": Entry(
        title=_("Limits of the check out of range"),
        detail=_("Both limits must be above 0, and the warning limit must not exceed the action limit."),
        remedy=_("Correct the limits."),
    ),
    "not-enough-data/check-steps": Entry(
        title=_("No steps"),
        detail=_("A step block check needs at least one step."),
        remedy=_("Enter the steps and their readings."),
    ),
    "out-of-range/check-step": Entry(
        title=_("Step out of range"),
        detail=_(
            "The thickness of a step must be above 0 and its standard uncertainty must not be negative."
        ),
        remedy=_("Correct the step."),
    ),
    "not-enough-data/check-readings": Entry(
        title=_("No readings"),
        detail=_("A check needs at least one reading."),
        remedy=_("Enter the readings."),
    ),
    "out-of-range/shared-uncertainty": Entry(
        title=_("Shared uncertainty too large"),
        detail=_("The shared uncertainty is negative or larger than the uncertainty of one of the readings."),
        remedy=_("Enter a shared uncertainty from 0 up to the smaller uncertainty."),
    ),
    "out-of-range/no-own-uncertainty": Entry(
        title=_("No uncertainty of the meters alone"),
        detail=_("Without the shared uncertainty the two readings have no uncertainty."),
        remedy=_("Enter the standard uncertainty of each reading."),
    ),
    "out-of-range/interval-bounds": Entry(
        title=_("Bounds of the interval out of range"),
        detail=_("Both bounds must be above 0, and the shortest interval must not exceed the longest."),
        remedy=_("Correct the bounds: {shortest} to {longest} were entered."),
    ),
    "out-of-range/staircase-steps": Entry(
        title=_("Steps of the staircase out of range"),
        detail=_(
            "The comfortable fraction and the shortening factor must be from 0 to 1, the lengthening factor at least 1."
        ),
        remedy=_("Correct the steps."),
    ),
    "number-invalid/interval": Entry(
        title=_("No interval calculated"),
        detail=_("The review does not give a number."),
        remedy=_("Check the calibration history."),
    ),
    "not-enough-data/as-found-result": Entry(
        title=_("No as-found result"),
        detail=_("The method needs an as-found result, but none is recorded."),
        remedy=_("Record a certificate with as-found points and limits."),
    ),
    "not-enough-data/as-found-results": Entry(
        title=_("Too few as-found results"),
        detail=ngettext_lazy(
            "The method needs {needed} as-found results of the type; {count} is recorded.",
            "The method needs {needed} as-found results of the type; {count} are recorded.",
            "count",
        ),
        remedy=USE_STAIRCASE,
    ),
    "not-enough-data/control-chart": Entry(
        title=_("Too few calibrations"),
        detail=ngettext_lazy(
            "A control chart needs {needed} calibrations of the same point; {count} is recorded.",
            "A control chart needs {needed} calibrations of the same point; {count} are recorded.",
            "count",
        ),
        remedy=USE_STAIRCASE,
    ),
    "out-of-range/in-use-units": Entry(
        title=_("Units of the interval wrong"),
        detail=_("The method needs an interval in hours and a calendar backstop in days."),
        remedy=_("Enter the interval in hours and the backstop in days."),
    ),
    "out-of-range/history-order": Entry(
        title=_("History out of order"),
        detail=_("The results are not in order of time, or two results have the same time."),
        remedy=_("Check the dates of the results."),
    ),
    "out-of-range/observed-interval": Entry(
        title=_("Interval or rate out of range"),
        detail=_("The interval must be above 0 and the in-tolerance rate from 0 to 1."),
        remedy=_("Check the calibration history of the type."),
    ),
    "not-enough-data/no-calibration": Entry(
        title=_("No calibration"),
        detail=_("No calibration of the instrument is recorded."),
        remedy=_("Record a certificate."),
    ),
    "out-of-range/two-calibrations-on-one-day": Entry(
        title=_("Two calibrations on one day"),
        detail=_("Two calibrations have the same date, so their order is not known."),
        remedy=_("Correct the date of one of them."),
    ),
    "not-enough-data/hours-of-use": Entry(
        title=_("No hours of use"),
        detail=_("No hours of use are recorded before an as-found result."),
        remedy=_("Use another method until surveys with this instrument are recorded."),
    ),
    "not-enough-data/not-used": Entry(
        title=_("Instrument not used"),
        detail=_("The instrument was not used between its last two calibrations."),
        remedy=_("Use another method."),
    ),
    # Certificates, checks and reviews of the fleet.
    "wrong-instrument/check": Entry(
        title=_("Wrong kind of instrument"),
        detail=_("This kind of check is for a {kinds:or}, not for {instrument}."),
        remedy=_("Select another kind of check or another instrument."),
    ),
    "wrong-instrument/transducer-pair": Entry(
        title=_("Not a transducer pair"),
        detail=_("The instrument is not a transducer pair."),
        remedy=_("Select a transducer pair."),
    ),
    "date-in-future/time": Entry(
        title=_("Time in the future"),
        detail=_("The time of the check is in the future."),
        remedy=_("Enter the time of the check."),
    ),
    "date-in-future/calibration": Entry(
        title=_("Date in the future"),
        detail=_("The calibration date {on} is in the future."),
        remedy=_("Enter the date of the calibration."),
    ),
    "other-instrument/check": Entry(
        title=_("Check of another instrument"),
        detail=_("The check to correct is of another instrument or of another kind."),
        remedy=_("Select a check of this instrument."),
    ),
    "other-instrument/certificate": Entry(
        title=_("Certificate of another instrument"),
        detail=_("The certificate to correct is of another instrument."),
        remedy=_("Select a certificate of this instrument."),
    ),
    "already-corrected/check": Entry(
        title=_("Check already corrected"),
        detail=_("This check has already been corrected."),
        remedy=_("Reload the instrument and correct the latest version."),
    ),
    "already-corrected/certificate": Entry(
        title=_("Certificate already corrected"),
        detail=_("This certificate has already been corrected."),
        remedy=_("Reload the instrument and correct the latest version."),
    ),
    "already-corrected/transducer-data": Entry(
        title=_("Transducer data already corrected"),
        detail=_("This version of the transducer data has already been corrected."),
        remedy=_("Reload the transducer pair and correct the latest version."),
    ),
    "required/check": Entry(
        title=_("Value required"),
        detail=_("This kind of check needs a value for {quantity}."),
        remedy=_("Enter the value."),
    ),
    "due-missing": Entry(
        title=_("Due date missing"),
        detail=_("No interval policy applies to this instrument or its type."),
        remedy=_("Enter the due date."),
    ),
    "already-decided/interval-review": Entry(
        title=_("Review already decided"),
        detail=_("This interval review is already decided: {decision}."),
        remedy=_("Calculate a new review to change the interval."),
    ),
    "already-decided/survey": Entry(
        title=_("Survey already decided"),
        detail=_("The survey {survey} is already decided: {state}."),
        remedy=_("Reload the review."),
    ),
    "duplicate-decision": Entry(
        title=_("Survey decided twice"),
        detail=_("The request has two decisions on the same survey."),
        remedy=_("Enter one decision for each survey."),
    ),
    "not-calculated/as-found": Entry(
        title=_("Corrected flow not calculated yet"),
        detail=_("The flow corrected for the as-found error of the survey {survey} is not calculated yet."),
        remedy=_("Wait until the recalculation is finished, then check the flow before you decide."),
    ),
    "no-curve": Entry(
        title=_("No error curve"),
        detail=_("The as-found points give no error curve, so the survey {survey} cannot be corrected."),
        remedy=_("Confirm or withdraw the result."),
    ),
    "state-unchanged": Entry(
        title=_("Nothing changed"),
        detail=_("State, location and holder are the same as recorded."),
        remedy=_("Change at least one of them."),
    ),
    # Uploaded files.
    "not-a-pdf": Entry(
        title=_("Not a PDF"),
        detail=_("The file does not begin as a PDF does."),
        remedy=_("Select a PDF file."),
    ),
    "file-too-large/pdf": Entry(
        title=_("File too large"),
        detail=_("The file is larger than {limit_mb} MB."),
        remedy=_("Select a smaller file."),
    ),
    "file-empty": Entry(
        title=_("File empty"),
        detail=_("The file is empty."),
        remedy=_("Select another file."),
    ),
    "pdf-cut-off": Entry(
        title=_("PDF incomplete"),
        detail=_("The end of the PDF is missing."),
        remedy=_("Upload the file again."),
    ),
    "certificate-exists/calibration": Entry(
        title=_("Certificate file already attached"),
        detail=_("This calibration already has a different certificate file."),
        remedy=_("Correct the calibration to attach another file."),
    ),
    "certificate-exists/qualification": Entry(
        title=_("Certificate file already attached"),
        detail=_("This qualification already has a different certificate file."),
        remedy=_("Record the qualification again to attach another file."),
    ),
    "within-invalid": Entry(
        title=_("Period invalid"),
        detail=_("“{text}” is not a period of days, weeks or months of at most ten years."),
        remedy=_("Enter a period such as 60d, 8w or 3m."),
    ),
}
