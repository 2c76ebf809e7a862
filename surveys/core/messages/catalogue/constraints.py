"""Rejections by constraints of the database, named after the constraint.

Each is a conflict with a rule of the record or with another record.
"""

from django.utils.translation import gettext_lazy as _

from surveys.core.messages.texts import Entry

ENTRIES = {
    "conflict/site-name-once-for-a-client": Entry(
        title=_("Site name already exists"),
        detail=_("This client already has a site with this name."),
        remedy=_("Enter a different name."),
    ),
    "conflict/pipe-name-once-at-a-site": Entry(
        title=_("Pipe name already exists"),
        detail=_("This site already has a pipe with this name."),
        remedy=_("Enter a different name."),
    ),
    "conflict/measuring-point-name-once-on-a-pipe": Entry(
        title=_("Measuring point name already exists"),
        detail=_("This pipe already has a measuring point with this name."),
        remedy=_("Enter a different name."),
    ),
    "conflict/instrument-serial-once-in-a-kind": Entry(
        title=_("Serial number already exists"),
        detail=_("An instrument of this kind already has this serial number."),
        remedy=_("Check the serial number."),
    ),
    "conflict/calibration-certificate-once": Entry(
        title=_("Certificate already recorded"),
        detail=_("This certificate is already recorded for this instrument."),
        remedy=_("Check the certificate number."),
    ),
    "conflict/intermediate-check-second-meter-where-two": Entry(
        title=_("Second meter not consistent with check"),
        detail=_("Only a meter comparison has a second meter."),
        remedy=_("Select the second meter for a comparison, and none for other checks."),
    ),
    "conflict/intermediate-check-of-two-instruments": Entry(
        title=_("Same meter selected twice"),
        detail=_("A meter cannot be compared with itself."),
        remedy=_("Select a different second meter."),
    ),
    "conflict/instrument-type-name-once-in-a-kind": Entry(
        title=_("Type name already exists"),
        detail=_("This kind of instrument already has a type with this name."),
        remedy=_("Enter a different name."),
    ),
    "conflict/instrument-type-frequencies-in-order": Entry(
        title=_("Frequency range not valid"),
        detail=_("The maximum frequency is below the minimum frequency."),
        remedy=_("Enter a maximum of at least the minimum."),
    ),
    "conflict/instrument-type-velocities-in-order": Entry(
        title=_("Velocity range not valid"),
        detail=_("The maximum velocity is below the minimum velocity."),
        remedy=_("Enter a maximum of at least the minimum."),
    ),
    "conflict/instrument-type-temperatures-in-order": Entry(
        title=_("Temperature range not valid"),
        detail=_("The maximum temperature is below the minimum temperature."),
        remedy=_("Enter a maximum of at least the minimum."),
    ),
    "conflict/instrument-type-spacings-in-order": Entry(
        title=_("Spacing range not valid"),
        detail=_("The maximum spacing is below the minimum spacing."),
        remedy=_("Enter a maximum of at least the minimum."),
    ),
    "conflict/instrument-type-walls-in-order": Entry(
        title=_("Wall thickness range not valid"),
        detail=_("The maximum wall thickness is below the minimum wall thickness."),
        remedy=_("Enter a maximum of at least the minimum."),
    ),
    "conflict/report-one-current-for-a-survey": Entry(
        title=_("Report already issued"),
        detail=_("Another report of this survey was issued at the same time."),
        remedy=_("Open the latest report."),
    ),
    "conflict/calibration-due-after-its-date": Entry(
        title=_("Due date too early"),
        detail=_("The due date is not after the date of the calibration."),
        remedy=_("Enter a later due date."),
    ),
    "conflict/calibration-point-uncertainty-possible": Entry(
        title=_("Uncertainty not valid"),
        detail=_(
            "The expanded uncertainty must not be negative, and the coverage factor must be at least 1."
        ),
        remedy=_("Check the values on the certificate."),
    ),
    "conflict/acceptance-policy-about-instrument-or-type": Entry(
        title=_("Scope of policy not valid"),
        detail=_("A policy applies either to one instrument or to a kind of instrument."),
        remedy=_("Select an instrument, or a kind with or without a type."),
    ),
    "conflict/interval-policy-has-a-calendar": Entry(
        title=_("Interval required"),
        detail=_("The policy has no calibration interval."),
        remedy=_("Enter the interval in months or days."),
    ),
    "conflict/instrument-not-its-own-accessory": Entry(
        title=_("Accessory of itself"),
        detail=_("An instrument cannot be an accessory of itself."),
        remedy=_("Select a different instrument."),
    ),
    "conflict/document-once-at-an-instrument": Entry(
        title=_("Document already attached"),
        detail=_("This file is already attached to the instrument."),
        remedy=_("Select a different file."),
    ),
    "conflict/job-ends-after-it-starts": Entry(
        title=_("End before start"),
        detail=_("The end of the job is not after its start."),
        remedy=_("Enter a later end."),
    ),
    "conflict/job-window-ends-after-it-starts": Entry(
        title=_("Time window not valid"),
        detail=_("The end of the time window is not after its start."),
        remedy=_("Enter a later end."),
    ),
    "conflict/job-expected-hours-positive": Entry(
        title=_("Expected hours not valid"),
        detail=_("The expected hours must be positive."),
        remedy=_("Enter a value above 0."),
    ),
    "conflict/job-priority-1-to-5": Entry(
        title=_("Priority not valid"),
        detail=_("The priority is out of range."),
        remedy=_("Enter a priority from 1 (most urgent) to 5."),
    ),
    "conflict/site-coordinates-possible": Entry(
        title=_("Coordinates not valid"),
        detail=_("Coordinates need a latitude from −90 to 90 and a longitude from −180 to 180, in degrees."),
        remedy=_("Enter both coordinates, or none."),
    ),
    "conflict/qualification-expires-after-issue": Entry(
        title=_("Expiry date too early"),
        detail=_("The qualification expires before its date of issue."),
        remedy=_("Check both dates."),
    ),
    "conflict/absence-ends-after-it-starts": Entry(
        title=_("End before start"),
        detail=_("The end of the absence is not after its start."),
        remedy=_("Enter a later end."),
    ),
    "conflict/booking-ends-after-it-starts": Entry(
        title=_("End before start"),
        detail=_("The end of the booking is not after its start."),
        remedy=_("Enter a later end."),
    ),
    "conflict/booking-of-instrument-or-technician": Entry(
        title=_("Booking not valid"),
        detail=_("A booking is for one instrument or for one technician."),
        remedy=_("Select an instrument or a technician, not both."),
    ),
    "conflict/booking-instrument-never-twice": Entry(
        title=_("Instrument already booked"),
        detail=_("The instrument is already booked for this period."),
        remedy=_("Select a different instrument or a different period."),
    ),
    "conflict/booking-technician-never-twice": Entry(
        title=_("Technician already booked"),
        detail=_("The technician is already booked for this period."),
        remedy=_("Select a different technician or a different period."),
    ),
    "conflict/booking-handed-over-once": Entry(
        title=_("Already recorded"),
        detail=_("This check-out or check-in is already recorded."),
        remedy=_("Reload the booking."),
    ),
    "conflict/survey-ends-after-it-starts": Entry(
        title=_("End before start"),
        detail=_("The end of the survey is not after its start."),
        remedy=_("Enter a later end."),
    ),
    "conflict/survey-not-its-own-primary-survey": Entry(
        title=_("Path of itself"),
        detail=_("A survey cannot be a further path of itself."),
        remedy=_("Select a different survey."),
    ),
    "conflict/combination-part-once": Entry(
        title=_("Survey selected twice"),
        detail=_("A survey can be part of a combination only once."),
        remedy=_("Remove the repeated survey."),
    ),
    "conflict/survey-temperature-states-its-source": Entry(
        title=_("Source of temperature required"),
        detail=_("The medium temperature has no source."),
        remedy=_("Select whether the temperature was measured or estimated."),
    ),
    "conflict/pipe-data-bore-left": Entry(
        title=_("No bore left"),
        detail=_("The wall and the lining leave no open bore."),
        remedy=_("Check the outer diameter, the wall thickness and the lining thickness."),
    ),
    "conflict/measuring-point-straight-lengths-not-negative": Entry(
        title=_("Straight length negative"),
        detail=_("A straight length must not be negative."),
        remedy=_("Enter 0 or a positive length."),
    ),
    "conflict/transducer-data-temperatures-in-order": Entry(
        title=_("Temperature range not valid"),
        detail=_("The minimum temperature of the transducers is not below the maximum."),
        remedy=_("Enter a lower minimum or a higher maximum."),
    ),
    "conflict/log-format-name-once": Entry(
        title=_("Log format name already exists"),
        detail=_("A log format with this name already exists."),
        remedy=_("Enter a different name."),
    ),
    "conflict/user-client-only-for-client-viewers": Entry(
        title=_("Client not consistent with role"),
        detail=_("A client viewer belongs to a client; other roles do not."),
        remedy=_("Select a client for a client viewer, and none for other roles."),
    ),
    "conflict/user-service-account-without-admin": Entry(
        title=_("Service account not allowed here"),
        detail=_("A service account cannot use the administration pages."),
        remedy=_("Remove the administration rights."),
    ),
    "conflict/username-once": Entry(
        title=_("User name already exists"),
        detail=_("A user with this name already exists."),
        remedy=_("Enter a different user name."),
    ),
    "conflict/client-name-once": Entry(
        title=_("Client name already exists"),
        detail=_("A client with this name already exists."),
        remedy=_("Enter a different name."),
    ),
    "conflict": Entry(
        title=_("Conflict with existing records"),
        detail=_("The request conflicts with existing records."),
        remedy=_("Reload the record and try again."),
    ),
}
