"""Errors of the content of requests to the API: values that are missing, given twice, or not consistent."""

from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext_lazy

from surveys.core.messages.texts import Entry, first_of, when

ENTRIES = {
    # Missing values.
    "required/transducers": Entry(
        title=_("Transducer pair required"),
        detail=_("The request names neither a transducer pair nor an earlier set-up."),
        remedy=_("Select the transducer pair."),
    ),
    "required/temperature-source": Entry(
        title=_("Source of temperature required"),
        detail=_("A medium temperature and its source must be entered together."),
        remedy=_("Select whether the temperature was measured or estimated."),
    ),
    "required/reason": Entry(
        title=_("Reason required"),
        detail=_("The change has no reason."),
        remedy=_("Enter the reason for the change."),
    ),
    "required/log-format": Entry(
        title=_("Log format required"),
        detail=_("The form has no part 'format'."),
        remedy=_("Send the log format as JSON in the part 'format'."),
    ),
    "required/own-password": Entry(
        title=_("Password required"),
        detail=_("A token is not sufficient to create another token."),
        remedy=_("Send your password with the request."),
    ),
    "required/feed-label": Entry(
        title=_("Label required"),
        detail=_("The calendar feed has neither a label nor a subject."),
        remedy=_("Enter where the feed is used."),
    ),
    "required/error-and-rule": Entry(
        title=_("Acceptance limits incomplete"),
        detail=_("A maximum permissible error and its decision rule must be entered together."),
        remedy=_("Enter both, or none."),
    ),
    "required/period": Entry(
        title=_("Period incomplete"),
        detail=_("The period has only a start or only an end."),
        remedy=_("Enter both starts_from and starts_to."),
    ),
    "required/measured-sound-speed": Entry(
        title=_("Measured value required"),
        detail=_("The diagnosis requires the measured sound speed or the transit time."),
        remedy=_("Enter one of the two."),
    ),
    "required/out-of-round": Entry(
        title=_("Outer diameters incomplete"),
        detail=_("The maximum and the minimum outer diameter must be entered together."),
        remedy=_("Enter both, or none."),
    ),
    "required/both-times": Entry(
        title=_("Readings incomplete"),
        detail=_("The transit time and the time difference must be entered together."),
        remedy=_("Enter both."),
    ),
    "required/programmed": Entry(
        title=_("Programmed data required"),
        detail=_("Logged velocity or flow depends on the pipe and the medium programmed in the meter."),
        remedy=_("Enter the programmed pipe and medium."),
    ),
    # Values that exclude one another.
    "both-stated/measured-sound-speed": Entry(
        title=_("Two measured values"),
        detail=_("The request has both a measured sound speed and a transit time."),
        remedy=_("Enter only one of the two."),
    ),
    "both-stated/medium": Entry(
        title=_("Medium entered twice"),
        detail=_("The request has both a library name and property values of the medium."),
        remedy=_("Enter the library name or the property values, not both."),
    ),
    "both-stated/readings": Entry(
        title=_("Readings of two kinds"),
        detail=_("The request has both times and velocity or flow."),
        remedy=_("Enter the times, or the velocity or flow."),
    ),
    "stated-twice/uncertainty": Entry(
        title=_("Uncertainty entered twice"),
        detail=_("The uncertainty is entered both as a flow and as a fraction of the flow."),
        remedy=_("Enter only one of the two."),
    ),
    "one-of/instrument-or-kind": Entry(
        title=_("Scope of policy not valid"),
        detail=_("A policy applies either to one instrument or to a kind of instrument."),
        remedy=_("Select an instrument, or a kind with or without a type."),
    ),
    "one-of/type-without-kind": Entry(
        title=_("Scope of policy not valid"),
        detail=_("A type cannot be combined with a single instrument."),
        remedy=_("Select the kind of the type, or leave out the type."),
    ),
    "one-of/jobs-or-period": Entry(
        title=_("Jobs or period required"),
        detail=_("A plan requires either a list of jobs or a period."),
        remedy=_("Enter jobs, or starts_from and starts_to."),
    ),
    "instrument-or-technician": Entry(
        title=_("Booking not valid"),
        detail=_("A booking is for one instrument or for one technician."),
        remedy=_("Select an instrument or a technician, not both."),
    ),
    "not-taken": Entry(
        title=_("Value not used"),
        detail=_("This kind of check does not use the value '{quantity}'."),
        remedy=_("Leave out the value."),
    ),
    # Values of the wrong form.
    "invalid/not-an-object": Entry(
        title=_("Object expected"),
        detail=_("An entry of the batch is not a JSON object."),
        remedy=_("Send each survey as an object."),
    ),
    "invalid/true-or-false": Entry(
        title=_("Value not valid"),
        detail=_("{quantity:cap} is neither true nor false."),
        remedy=_("Enter true or false."),
    ),
    "invalid/correlations": Entry(
        title=_("Correlations not valid"),
        detail=_("The correlations are not a list of at most {most} entries."),
        remedy=_("Enter a list of [path, path, r]."),
    ),
    "invalid/correlation": Entry(
        title=_("Correlation not valid"),
        detail=_("A correlation consists of two paths of inputs and the coefficient r."),
        remedy=_("Enter [path, path, r]."),
    ),
    "invalid/relative-temperature": Entry(
        title=_("Relative uncertainty of a temperature"),
        detail=_("A relative uncertainty has no meaning for a temperature."),
        remedy=_("Enter the uncertainty in °C or K."),
    ),
    "points-invalid": Entry(
        title=_("Number of points not valid"),
        detail=_("The number of points is not a whole number in the allowed range."),
        remedy=_("Enter a whole number from {at_least} to {at_most}."),
    ),
    "year-invalid": Entry(
        title=_("Year not valid"),
        detail=_("The text is not a year from {first:d} to {last:d}."),
        remedy=_("Enter a year such as 2026."),
    ),
    "date-invalid": Entry(
        title=_("Date not valid"),
        detail=_("The text is not a date."),
        remedy=_("Enter a date such as 2026-10-06."),
    ),
    "group-unknown": Entry(
        title=_("Grouping not available"),
        detail=_("The list cannot be grouped by '{given}'."),
        remedy=_("Use group=status, or leave out the parameter."),
    ),
    "weekday-unknown": Entry(
        title=_("Weekday not valid"),
        detail=_("'{given}' is not a weekday."),
        remedy=_("Enter 0 (Monday) to 6 (Sunday)."),
    ),
    "point-invalid": Entry(
        title=_("Calibration point not readable"),
        detail=_("Point {number} cannot be read: '{given}'."),
        remedy=_("Enter reference | indicated | expanded uncertainty | coverage factor."),
    ),
    "out-of-range/ratio": Entry(
        title=_("Ratio out of range"),
        detail=_("A relative permissible error is a ratio below 1."),
        remedy=_("Enter 0.01 for 1 %."),
    ),
    "out-of-range/uncertainty": Entry(
        title=_("Uncertainty out of range"),
        detail=_("The uncertainty is negative or far too large."),
        remedy=_("Enter 0 or a positive value."),
    ),
    "uncertainty-invalid/of-no-flow": Entry(
        title=_("Uncertainty not valid"),
        detail=_("A relative uncertainty has no meaning for a flow of 0."),
        remedy=_("Enter the uncertainty as a flow."),
    ),
    # Names.
    "unknown-name/material-name": Entry(
        title=_("Material name not valid"),
        detail=_("The text is not a name of the material library."),
        remedy=_("Enter a library name such as carbon-steel."),
    ),
    "unknown-name/input": Entry(
        title=_("Input unknown"),
        detail=_("'{name}' is not an input of the calculation."),
        remedy=_("Available inputs: {known}."),
    ),
    "unknown-name/distribution": Entry(
        title=_("Distribution unknown"),
        detail=_("The distribution is not one of those available."),
        remedy=_("Available distributions: {known}."),
    ),
    "unknown-name/half-width-distribution": Entry(
        title=_("Distribution not possible"),
        detail=_("A half-width requires a distribution with limits."),
        remedy=_("Available distributions: {known}."),
    ),
    # Data.
    "not-enough-data/uncertainties": Entry(
        title=_("Uncertainty required"),
        detail=_("The request has no uncertainty of an input."),
        remedy=_("Enter the uncertainty of at least one input by its path."),
    ),
    "not-enough-data/uncertainty-size": Entry(
        title=_("Size of uncertainty required"),
        detail=_("The size of an uncertainty must be entered exactly once."),
        remedy=_("Enter one of: {known}."),
    ),
    "not-enough-data/kinds-of-readings": Entry(
        title=_("Readings required"),
        detail=_("The readings are neither times nor one of velocity and flow."),
        remedy=_("Enter transit_time and time_difference, or flow_velocity, or volume_flow."),
    ),
    "not-enough-data/readings": Entry(
        title=_("Readings required"),
        detail=_("The request has no readings."),
        remedy=_("Enter at least one reading."),
    ),
    "too-many-readings": Entry(
        title=_("Too many readings"),
        detail=_("The request has more than {most} readings."),
        remedy=_("Upload the readings as a log."),
    ),
    "too-many-readings/means-only": Entry(
        title=_("Mean values expected"),
        detail=_("The uncertainty is calculated for the means of the readings."),
        remedy=_("Enter the means, and their repeatability as the input 'repeatability'."),
    ),
    "lengths-differ": Entry(
        title=_("Lengths of readings differ"),
        detail=_("The lists of readings have different lengths."),
        remedy=_("Enter the same number of readings for each quantity."),
    ),
    # Times.
    "due-too-early": Entry(
        title=_("Due date too early"),
        detail=_("The due date is not after the date of the calibration."),
        remedy=_("Enter a later due date."),
    ),
    "expires-too-early": Entry(
        title=_("Expiry date too early"),
        detail=_("The qualification expires before its date of issue."),
        remedy=_("Check both dates."),
    ),
    "outside-window/start": Entry(
        title=_("Start outside the time window"),
        detail=_("The time window of the job starts at {earliest}."),
        remedy=_("Enter a later start, or change the time window."),
    ),
    "outside-window/end": Entry(
        title=_("End outside the time window"),
        detail=_("The time window of the job ends at {latest}."),
        remedy=_("Enter an earlier end, or change the time window."),
    ),
    # Records.
    "id-taken/other-survey": Entry(
        title=_("Id already used"),
        detail=_("This id was sent before with a different survey."),
        remedy=_("Use a new id for each survey."),
    ),
    "other-site/measuring-point": Entry(
        title=_("Measuring point of another site"),
        detail=_("A measuring point belongs to a different site than the job."),
        remedy=_("Select measuring points of the site."),
    ),
    "other-instrument/transducer-data": Entry(
        title=_("Data of another instrument"),
        detail=_("The version to correct belongs to a different transducer pair."),
        remedy=_("Select a version of this transducer pair."),
    ),
    "other-serial": Entry(
        title=_("Serial numbers differ"),
        detail=_("The certificate is for serial number {certificate}; this instrument has {instrument}."),
        remedy=_("Select the instrument of the certificate."),
    ),
    "serial-ambiguous": Entry(
        title=_("Serial number not unique"),
        detail=ngettext_lazy(
            "{count} instrument has the serial number {serial}.",
            "{count} instruments have the serial number {serial}.",
            "count",
        ),
        remedy=_("Enter the kind of the instrument."),
    ),
    "serial-unknown": Entry(
        title=_("Serial number unknown"),
        detail=first_of(
            when("kind", _("No instrument of kind '{kind}' has the serial number '{serial}'.")),
            _("No instrument has the serial number '{serial}'."),
        ),
        remedy=_("Check the serial number."),
    ),
    "wrong-instrument/transducer-data": Entry(
        title=_("Transducer data not consistent with kind"),
        detail=_("A transducer pair requires transducer data; other instruments have none."),
        remedy=_("Enter the data for a transducer pair only."),
    ),
    "wrong-instrument/no-transducer-data": Entry(
        title=_("Transducer pair required"),
        detail=_("The selected instrument is not a transducer pair, or its data are not recorded."),
        remedy=_("Select a transducer pair with data."),
    ),
    "use-status-changes": Entry(
        title=_("Status change required"),
        detail=_("Status, location and holder change only with a reason."),
        remedy=_("Use POST status-changes/ of the instrument."),
    ),
    "jobs-number": Entry(
        title=_("Number of jobs not valid"),
        detail=_("The plan has {jobs} jobs; allowed are 1 to {most}."),
        remedy=_("Select other jobs or a different period."),
    ),
    "password-wrong": Entry(
        title=_("Password wrong"),
        detail=_("The password is wrong."),
        remedy=_("Enter your current password."),
    ),
}
