"""Reasons: unsuitable instruments and technicians, conflicts of bookings, unscheduled jobs, explanations of plans, review notices."""

from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext_lazy

from surveys.core.messages.texts import Entry, choose, first_of, when

OUT_OF_TOLERANCE = _("The {instrument} used for this survey was found out of tolerance on {found_on}.")
OUT_OF_TOLERANCE_PARTS = _(
    "The {instrument} used for {surveys:and} was found out of tolerance on {found_on}."
)
WE_WILL_INFORM = _("We will inform you of the outcome.")

ENTRIES = {
    # Instruments and technicians for a span.
    "already-booked": Entry(
        title=_("Already booked"),
        detail=first_of(
            when("job", "start", "end", _("Already booked for “{job}” from {start} to {end}.")),
            _("Already booked for this time."),
        ),
        remedy=_("Select another time, or another instrument or technician."),
    ),
    "quarantined": Entry(
        title=_("Quarantined"),
        detail=_("The {instrument} is quarantined."),
        remedy=_("Select another instrument."),
    ),
    "at-laboratory": Entry(
        title=_("At the laboratory"),
        detail=_("The {instrument} is at the laboratory."),
        remedy=_("Select another instrument."),
    ),
    "retired": Entry(
        title=_("Retired"),
        detail=_("The {instrument} is retired."),
        remedy=_("Select another instrument."),
    ),
    "never-calibrated": Entry(
        title=_("Never calibrated"),
        detail=_("The {instrument} has no calibration."),
        remedy=_("Select another instrument, or record its certificate."),
    ),
    "overdue": Entry(
        title=_("Calibration due before the end"),
        detail=_("The calibration of the {instrument} is due on {due_on}; the booking ends on {ends_on}."),
        remedy=_("Select another instrument, or have this one calibrated first."),
    ),
    "job-outside": Entry(
        title=_("Booking outside the job"),
        detail=_("The booking neither covers the job, planned from {start} to {end}, nor lies within it."),
        remedy=_("Move the booking to the time of the job."),
    ),
    "absent": Entry(
        title=_("Technician absent"),
        detail=_("The technician is absent from {start} to {end}."),
        remedy=_("Select another technician or another time."),
    ),
    "not-qualified": Entry(
        title=_("Qualification missing"),
        detail=_(
            "The technician has no qualification “{qualification}” that is valid from {first} to {last}."
        ),
        remedy=_("Select another technician, or record the qualification."),
    ),
    "late-return": Entry(
        title=_("Instrument returns late"),
        detail=first_of(
            when("job", _("The instrument is still checked out for “{job}” until {back} at the earliest.")),
            _("The instrument is still checked out until {back} at the earliest."),
        ),
        remedy=_("Select another instrument or another time."),
    ),
    "outside-working-hours": Entry(
        title=_("Outside working hours"),
        detail=_(
            "The job from {start} to {end} is outside the working hours of the technician (time zone {time_zone})."
        ),
        remedy=_("Select another technician or another time."),
    ),
    # Transducers and gauges on the pipes of a job.
    "spacing-outside-rail": Entry(
        title=_("Spacing outside the rail"),
        detail=(
            _("At {point} the spacing is {value}."),
            first_of(
                when("low", "high", _("The rail allows {low} to {high}.")),
                when("low", _("The rail allows at least {low}.")),
                when("high", _("The rail allows up to {high}.")),
            ),
        ),
        remedy=_("Select another rail or another transducer pair."),
    ),
    "frequency-not-supported": Entry(
        title=_("Frequency not supported"),
        detail=_("No available meter supports {value:g}."),
        remedy=_("Select another transducer pair."),
    ),
    "wall-outside-range": Entry(
        title=_("Wall outside the range"),
        detail=(
            _("At {point} the wall is {value}."),
            first_of(
                when("low", "high", _("The {instrument} measures {low} to {high}.")),
                when("low", _("The {instrument} measures walls from {low}.")),
                when("high", _("The {instrument} measures walls up to {high}.")),
            ),
        ),
        remedy=_("Select another thickness gauge."),
    ),
    "pair-without-data": Entry(
        title=_("No transducer data"),
        detail=_("No wedge data are entered for the {instrument}."),
        remedy=_("Enter the transducer data."),
    ),
    "pipe-without-data": Entry(
        title=_("No pipe data"),
        detail=_("No pipe data are entered for the measuring point {point}."),
        remedy=_("Enter the pipe data."),
    ),
    "not-computable": Entry(
        title=_("Calculation not possible"),
        detail=(
            _("The set-up at {point} cannot be calculated."),
            when("error", _("The calculation reports: “{error}”.")),
        ),
        remedy=_("Correct the pipe data or the transducer data."),
    ),
    "no-refracted-wave/at-point": Entry(
        title=_("No refracted wave"),
        detail=_(
            "At {point} no wave passes the {layer}: its sound speed of {value} is not below the axial speed of the beam of {limit}."
        ),
        remedy=_("Select a transducer pair with another wedge."),
    ),
    "time-difference-too-small": Entry(
        title=_("Time difference too small"),
        detail=_(
            "At {point} the expected time difference of {value} is below the resolution of the meter of {limit}."
        ),
        remedy=_("Select a meter with a finer resolution, or more traverses."),
    ),
    "spacing-too-long/at-point": Entry(
        title=_("Spacing too long"),
        detail=_("At {point} the spacing of {value} is longer than the straight length of {limit}."),
        remedy=_("Select another transducer pair or another measuring point."),
    ),
    "beam-too-long": Entry(
        title=_("Beam too long"),
        detail=_("At {point} the beam in the medium is {value:m.2} long; this frequency allows {limit:m.2}."),
        remedy=_("Select a transducer pair with a lower frequency."),
    ),
    # Unscheduled jobs of a plan.
    "window-too-short": Entry(
        title=_("Time window too short"),
        detail=_("The job takes {duration}; its window is {window}."),
        remedy=_("Enter a longer window."),
    ),
    "no-qualified-technician": Entry(
        title=_("No qualified technician"),
        detail=first_of(
            when(
                "qualifications",
                _("No technician is qualified for {qualifications:and} within the window of the job."),
            ),
            _("No technician is available within the window of the job."),
        ),
        remedy=_("Record the qualifications, or change the window."),
    ),
    "no-shift-long-enough": Entry(
        title=_("No shift long enough"),
        detail=ngettext_lazy(
            "The {count} qualified technician has no shift in the window that is long enough for the job and the travel.",
            "None of the {count} qualified technicians has a shift in the window that is long enough for the job and the travel.",
            "count",
        ),
        remedy=_("Change the window or the working hours."),
    ),
    "no-kit-fits": Entry(
        title=_("No suitable equipment"),
        detail=_("No meter with transducers fits the measuring points of the job."),
        remedy=_("Check the suitable kits of the job."),
    ),
    "no-kit-in-calibration": Entry(
        title=_("Calibration due before the job"),
        detail=ngettext_lazy(
            "The calibration of the only suitable kit is due before the job can be done.",
            "The calibrations of all {count} suitable kits are due before the job can be done.",
            "count",
        ),
        remedy=_("Have a kit calibrated, or change the window."),
    ),
    "no-kit-free": Entry(
        title=_("No equipment available"),
        detail=ngettext_lazy(
            "The only suitable kit is not available and in calibration for long enough within the window.",
            "None of the {count} suitable kits is available and in calibration for long enough within the window.",
            "count",
        ),
        remedy=_("Change the window or the other bookings."),
    ),
    "no-common-time": Entry(
        title=_("No common time"),
        detail=_("No qualified technician and suitable kit are available at the same time."),
        remedy=_("Change the window."),
    ),
    "all-busy": Entry(
        title=_("Other jobs scheduled first"),
        detail=_(
            "Technicians who could do the job: {technicians}; suitable kits: {kits}. Within the window this plan uses them for other jobs."
        ),
        remedy=_("Raise the priority of the job, or change the window."),
    ),
    # Explanation and findings of a plan.
    "plan-jobs": Entry(
        title=_("Scheduled jobs"),
        detail=ngettext_lazy(
            "{scheduled} of {count} job is scheduled, with {points} of {all_points} points by priority.",
            "{scheduled} of {count} jobs are scheduled, with {points} of {all_points} points by priority.",
            "count",
        ),
    ),
    "plan-jobs-moved": Entry(
        title=_("Changes to the earlier plan"),
        detail=ngettext_lazy(
            "{moved} of {count} job of the earlier plan is changed; each change costs {points_each} points.",
            "{moved} of {count} jobs of the earlier plan are changed; each change costs {points_each} points.",
            "count",
        ),
    ),
    "plan-optimal": Entry(
        title=_("Best possible plan"),
        detail=_("This plan scores {points} points, which is proven to be the best possible score."),
    ),
    "plan-gap": Entry(
        title=_("Optimality gap"),
        detail=_(
            "This plan scores {points} points. The best possible plan scores at most {bound} points (gap {optimality_gap:%})."
        ),
    ),
    "plan-travel": Entry(
        title=_("Travel"),
        detail=_("Total travel is {travel}. Among plans with the same score, less travel is preferred."),
    ),
    "plan-heuristic-only": Entry(
        title=_("Plan made by the heuristic only"),
        detail=_(
            "No optimisation solver is installed, so the plan was made with the built-in heuristic only and may not be the best."
        ),
        remedy=_("Ask the administrator to install the extra “planner”."),
    ),
    "working-hours-assumed": Entry(
        title=_("Working hours assumed"),
        detail=first_of(
            when("more", _("No working hours are entered for {names} and {more} more technicians.")),
            _("No working hours are entered for {names:and}."),
        ),
        remedy=_("Enter working hours; Monday to Friday from 08:00 to 16:00 is used."),
    ),
    "way-assumed": Entry(
        title=_("Travel time assumed"),
        detail=first_of(
            when("more", _("No coordinates are entered for {places} and {more} more.")),
            _("No coordinates are entered for {places:and}."),
        ),
        remedy=_("Enter the coordinates; {minutes} minutes are used for each trip."),
    ),
    # Reviews of instruments found out of tolerance.
    "review-notice/survey": Entry(
        title=_("Instrument found out of tolerance"),
        detail=(
            OUT_OF_TOLERANCE,
            choose(
                "state",
                under_review=_("The result is under review. Do not use the result."),
                confirmed=_("The result was reviewed and confirmed (reason: “{reason}”)."),
                corrected=_("The result is corrected for the measurement error found (reason: “{reason}”)."),
                withdrawn=_("The result is withdrawn (reason: “{reason}”). Do not use the result."),
            ),
            choose("state", under_review=WE_WILL_INFORM),
        ),
    ),
    "review-notice/paths": Entry(
        title=_("Instrument found out of tolerance"),
        detail=(
            OUT_OF_TOLERANCE_PARTS,
            choose(
                "state",
                under_review=_(
                    "The mean of the paths uses the affected results and is under review. Do not use the mean."
                ),
                confirmed=_("The affected results were reviewed and confirmed (reason: “{reason}”)."),
                corrected=_(
                    "The affected results and the mean of the paths are corrected for the measurement error found (reason: “{reason}”)."
                ),
                withdrawn=_(
                    "The affected results are withdrawn (reason: “{reason}”). Do not use the mean of the paths."
                ),
            ),
            choose("state", under_review=WE_WILL_INFORM),
        ),
    ),
    "review-notice/combination": Entry(
        title=_("Instrument found out of tolerance"),
        detail=(
            OUT_OF_TOLERANCE_PARTS,
            choose(
                "state",
                under_review=_(
                    "The combined result uses the affected results and is under review. Do not use the combined result."
                ),
                confirmed=_("The affected results were reviewed and confirmed (reason: “{reason}”)."),
                corrected=_(
                    "The affected results and the combined result are corrected for the measurement error found (reason: “{reason}”)."
                ),
                withdrawn=_(
                    "The affected results are withdrawn (reason: “{reason}”). Do not use the combined result."
                ),
            ),
            choose("state", under_review=WE_WILL_INFORM),
        ),
    ),
}
