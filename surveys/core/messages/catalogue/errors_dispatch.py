"""Errors of jobs, bookings, plans, combinations, recalculations and reports."""

from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext_lazy

from surveys.core.messages.texts import Entry, first_of, when

ENTRIES = {
    "job-closed/booking": Entry(
        title=_("Job closed"),
        detail=_("The job is {state}, so bookings are not accepted."),
        remedy=_("Change the status of the job first."),
    ),
    "job-closed/plan": Entry(
        title=_("Job closed"),
        detail=_("The job “{job}” is {state} and cannot be planned."),
        remedy=_("Remove the job from the request."),
    ),
    "checked-out/cancel": Entry(
        title=_("Instrument checked out"),
        detail=_("The instrument is already checked out, so the booking cannot be cancelled."),
        remedy=_("Check the instrument in."),
    ),
    "checked-out/again": Entry(
        title=_("Already checked out"),
        detail=_("This check-out is already recorded."),
        remedy=_("Reload the booking."),
    ),
    "not-checked-out": Entry(
        title=_("Not checked out"),
        detail=_("The instrument is not checked out."),
        remedy=_("Check the instrument out first."),
    ),
    "back-too-early": Entry(
        title=_("Check-in before check-out"),
        detail=_("The instrument was checked out at {checked_out_at}, after the time of the check-in."),
        remedy=_("Enter a later time."),
    ),
    "not-an-instrument": Entry(
        title=_("Not an instrument"),
        detail=_("A booking of a technician cannot be checked out or in."),
        remedy=_("Select a booking of an instrument."),
    ),
    "cancelled/booking": Entry(
        title=_("Booking cancelled"),
        detail=_("The booking is cancelled."),
        remedy=_("Create a new booking."),
    ),
    "cancelled/absence": Entry(
        title=_("Absence already cancelled"),
        detail=_("The absence is already cancelled."),
        remedy=_("Reload the list."),
    ),
    "withdrawn/qualification": Entry(
        title=_("Qualification already withdrawn"),
        detail=_("The qualification is already withdrawn."),
        remedy=_("Reload the list."),
    ),
    "move-not-allowed": Entry(
        title=_("Status change not allowed"),
        detail=_("A job that is {state} can only become {allowed:or}."),
        remedy=_("Select one of these states."),
    ),
    "no-points": Entry(
        title=_("No measuring points"),
        detail=first_of(
            when("job", _("The job “{job}” has no measuring points.")), _("The job has no measuring points.")
        ),
        remedy=_("Select measuring points before you plan the job."),
    ),
    "no-points/suitability": Entry(
        title=_("No measuring points"),
        detail=_("The job has no measuring points, so suitable kits cannot be found."),
        remedy=_("Select the measuring points of the job."),
    ),
    "not-finished/plan": Entry(
        title=_("Plan not finished"),
        detail=_("The plan is {state}, so it cannot be accepted."),
        remedy=_("Wait until the plan is finished."),
    ),
    "not-in-plan": Entry(
        title=_("Job not in the plan"),
        detail=_("The plan has no assignment of the job {job}."),
        remedy=_("Select jobs with an assignment."),
    ),
    "already-accepted": Entry(
        title=_("Assignment already accepted"),
        detail=_("The assignment of the job “{job}” is already accepted."),
        remedy=_("Reload the plan."),
    ),
    "parts-number/difference": Entry(
        title=_("Wrong number of parts"),
        detail=ngettext_lazy(
            "A difference needs exactly two parts; {count} is selected.",
            "A difference needs exactly two parts; {count} are selected.",
            "count",
        ),
        remedy=_("Select two surveys."),
    ),
    "parts-number/too-few": Entry(
        title=_("Too few parts"),
        detail=ngettext_lazy(
            "A sum or a mean needs at least two parts; {count} is selected.",
            "A sum or a mean needs at least two parts; {count} are selected.",
            "count",
        ),
        remedy=_("Select more surveys."),
    ),
    "parts-number/too-many": Entry(
        title=_("Too many parts"),
        detail=_("A combination has at most {limit} parts."),
        remedy=_("Select fewer surveys."),
    ),
    "other-site/part": Entry(
        title=_("Survey of another site"),
        detail=_("The survey is of another site."),
        remedy=_("Select surveys of one site."),
    ),
    "duplicate-part": Entry(
        title=_("Survey selected twice"),
        detail=_("The same survey is selected twice."),
        remedy=_("Select each survey once."),
    ),
    "paths-of-one-flow": Entry(
        title=_("Paths of one flow"),
        detail=_("Two of the surveys are paths of one flow. Their mean is calculated automatically."),
        remedy=_("Select only one of these surveys."),
    ),
    "not-the-client": Entry(
        title=_("Not a user of the client"),
        detail=_("Only users of the client can acknowledge a notice."),
        remedy=_("Ask the client to acknowledge the notice."),
    ),
    "nothing-failed": Entry(
        title=_("Nothing to retry"),
        detail=_("No survey of this recalculation has failed."),
        remedy=_("Reload the recalculation."),
    ),
    "nothing-changed/report": Entry(
        title=_("Nothing changed"),
        detail=_("Nothing has changed since the report {report} was issued."),
        remedy=_("Use the issued report."),
    ),
    "no-result/report": Entry(
        title=_("No result"),
        detail=_("The survey has no result."),
        remedy=_("Import the log first."),
    ),
}
