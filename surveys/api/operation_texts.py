"""Summary and description of each operation of the OpenAPI document, by operation id, and the tags."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple


class OperationText(NamedTuple):
    """What one operation does: a verb phrase, and sentences that can be read alone."""

    summary: str
    description: str


TAGS: Mapping[str, str] = {
    "sign-in": "Sign-in and sign-out, the user's own password and second factor.",
    "users": "People and service accounts that can sign in.",
    "invitations": "Invitations by e-mail to new users.",
    "tokens": "API tokens of people and service accounts.",
    "audit": "Record of who changed what and when.",
    "clients": "Organisations that commission flow surveys.",
    "sites": "Sites of the clients.",
    "pipes": "Pipes, the versions of their data and wall thickness measurements.",
    "measuring-points": "Measuring points on pipes, and their set-ups.",
    "custom-materials": "Pipe and lining materials added by the office.",
    "custom-media": "Media added by the office.",
    "instruments": "Meters, transducer pairs, thickness gauges and thermometers of the fleet.",
    "instrument-types": "Capabilities of instrument types.",
    "calibrations": "Calibration certificates of the instruments.",
    "acceptance-policies": "Maximum permissible errors and decision rules for statements of conformity.",
    "error-correction-policies": "Decisions whether results are corrected by the errors of calibrations.",
    "interval-policies": "Calibration intervals of instruments.",
    "interval-reviews": "Proposed calibration intervals.",
    "out-of-tolerance-reviews": "Reviews of results after an instrument was found out of tolerance.",
    "calendar-feeds": "Calendar addresses of due dates and jobs.",
    "technicians": "Technicians, their qualifications and absences.",
    "jobs": "Visits to sites for surveys.",
    "bookings": "Bookings of instruments and technicians for jobs.",
    "dispatch": "Plans that assign jobs to technicians and kits.",
    "log-formats": "Formats of data logger files.",
    "surveys": "Surveys, their logs, readings and reports.",
    "results": "Results of surveys.",
    "combinations": "Combined results of several surveys.",
    "recomputations": "Background recalculations of results.",
    "notices": "Notices to clients about changed results.",
    "reports": "Issued reports.",
    "compute": "Calculations without records, and the libraries they use.",
}
"""Tag to description, in the order of the document."""


def _records(
    prefix: str, singular: str, plural: str, about: str, *, article: str = "a"
) -> dict[str, OperationText]:
    """The texts of listing and reading one kind of record."""
    return {
        f"{prefix}_list": OperationText(
            f"List {plural}",
            f"Lists the {plural} that the user may see, page by page. {about}",
        ),
        f"{prefix}_retrieve": OperationText(
            f"Read {article} {singular}",
            f"Returns one {singular} by its id. {about}",
        ),
    }


def _text(summary: str, description: str) -> OperationText:
    return OperationText(summary, description)


OPERATION_TEXTS: Mapping[str, OperationText] = {
    # Sign-in
    "sign_in_create": _text(
        "Sign in",
        "Checks the user name and password, and the one-time code where the user has a second factor. "
        "Returns a token for the `Authorization` header.",
    ),
    "sign_out_create": _text("Sign out", "Revokes the token of the request, or ends its session."),
    "me_retrieve": _text("Read the signed-in user", "Returns the user that the request is signed in as."),
    "password_create": _text(
        "Change the own password",
        "Replaces the password of the signed-in user. All tokens and sessions of the user end, also the one of this request.",
    ),
    "second_factor_retrieve": _text(
        "Read the state of the own second factor",
        "Returns whether the signed-in user has a confirmed second factor and whether one is required.",
    ),
    "second_factor_create": _text(
        "Enrol a second factor",
        "Creates the secret for an authenticator. The second factor is in force after it is confirmed with a one-time code.",
    ),
    "second_factor_destroy": _text(
        "Remove the own second factor",
        "Removes the second factor of the signed-in user. The request needs the password.",
    ),
    "second_factor_confirmations_create": _text(
        "Confirm the second factor",
        "Puts the enrolled second factor into force with its first one-time code. Returns the recovery codes once.",
    ),
    # Users
    **_records("users", "user", "users", "Only administrators see users."),
    "users_create": _text(
        "Create a service account",
        "Creates a user account for a program. A service account has tokens and no password. Invite people instead.",
    ),
    "users_partial_update": _text(
        "Change a user",
        "Changes the role, the client or the active state of a user. The tokens of a deactivated user end.",
    ),
    "users_offboarding_create": _text(
        "Deactivate a user",
        "Deactivates a user who leaves, ends the tokens and sessions, and deletes the personal data of the account.",
    ),
    "users_second_factor_destroy": _text(
        "Remove the second factor of a user",
        "Removes the second factor of a user who lost both the authenticator and the recovery codes.",
    ),
    **_records(
        "invitations", "invitation", "invitations", "An invitation is a link sent by e-mail.", article="an"
    ),
    "invitations_create": _text(
        "Invite a person",
        "Creates an inactive user and sends the link for the first sign-in by e-mail. The link can be used once and expires.",
    ),
    "invitations_destroy": _text("Revoke an invitation", "Revokes an invitation. The link no longer works."),
    **_records(
        "tokens", "token", "tokens", "The secret of a token is not returned: only its digest is stored."
    ),
    "tokens_create": _text(
        "Create a token",
        "Creates an API token. The secret is returned once. The request needs the password of the user, or a session of the pages.",
    ),
    "tokens_destroy": _text(
        "Revoke a token",
        "Revokes a token. Requests with the token are answered with 401. The token stays in the list.",
    ),
    **_records(
        "audit",
        "audit entry",
        "audit entries",
        "An audit entry names the user, the time and the change.",
        article="an",
    ),
    # Places
    **_records("clients", "client", "clients", "A client is an organisation that commissions surveys."),
    "clients_create": _text("Create a client", "Creates a client organisation."),
    "clients_partial_update": _text(
        "Change a client", "Changes the fields in the request. Other fields of the client keep their values."
    ),
    **_records("sites", "site", "sites", "A site belongs to one client."),
    "sites_create": _text("Create a site", "Creates a site of a client."),
    "sites_partial_update": _text(
        "Change a site", "Changes the fields in the request. Other fields of the site keep their values."
    ),
    "sites_summary_pdf_retrieve": _text(
        "Download the yearly summary of a site",
        "Returns a PDF with the results, changes, findings and instruments of one year for the client. "
        "The file is identical until a record changes.",
    ),
    # Pipes
    **_records(
        "pipes", "pipe", "pipes", "A pipe has versions of its data; the answer has the current version."
    ),
    "pipes_create": _text("Create a pipe", "Creates a pipe with the first version of its data."),
    "pipes_partial_update": _text(
        "Change a pipe",
        "Changes the name, the description or the retirement of a pipe. Pipe data is changed by a correction or a modification.",
    ),
    "pipes_data_retrieve": _text(
        "Read pipe data at a date", "Returns the pipe data valid at a date, as it was known at a time."
    ),
    "pipes_versions_list": _text(
        "List the versions of pipe data",
        "Lists all versions of the data of a pipe, the latest recorded version first.",
    ),
    "pipes_corrections_create": _text(
        "Correct pipe data",
        "Records new pipe data in place of wrong data. The results of the surveys that used the wrong data are recalculated in the background.",
    ),
    "pipes_modifications_create": _text(
        "Record a modification of a pipe",
        "Records new pipe data from the date on which the pipe was modified. Results of earlier surveys do not change.",
    ),
    "pipes_wall_measurements_list": _text(
        "List wall thickness measurements",
        "Lists the wall thickness measurements of a pipe, the latest first.",
    ),
    "pipes_wall_measurements_create": _text(
        "Record a wall thickness measurement",
        "Records readings of a thickness gauge around the pipe. Returns the mean, the range and the standard uncertainty.",
    ),
    # Measuring points
    **_records(
        "measuring_points",
        "measuring point",
        "measuring points",
        "A measuring point is a place on a pipe for transducers.",
    ),
    "measuring_points_create": _text("Create a measuring point", "Creates a measuring point on a pipe."),
    "measuring_points_partial_update": _text(
        "Change a measuring point",
        "Changes the fields in the request. Other fields of the measuring point keep their values.",
    ),
    "measuring_points_setups_list": _text(
        "List the set-ups of a measuring point", "Lists the set-ups of a measuring point, the latest first."
    ),
    "measuring_points_setups_create": _text(
        "Calculate a set-up",
        "Calculates the mounting of a transducer pair from the current pipe data, and stores the set-up.",
    ),
    "measuring_points_setups_retrieve": _text(
        "Read a set-up", "Returns one stored set-up of a measuring point."
    ),
    "measuring_points_setups_last_retrieve": _text(
        "Read the latest set-up",
        "Returns the latest set-up of a measuring point. A new set-up can be based on it.",
    ),
    "measuring_points_setups_sheet_pdf_retrieve": _text(
        "Download the set-up sheet",
        "Returns the sheet for the technician as PDF: spacing, drawing, expected readings, safety notes and checklist.",
    ),
    # Custom library records
    **_records(
        "custom_materials",
        "custom material",
        "custom materials",
        "Requests name custom materials like those of the library.",
    ),
    "custom_materials_create": _text(
        "Create a custom material",
        "Adds a material with its sound speeds and sources to the library of the office.",
    ),
    "custom_materials_revisions_create": _text(
        "Revise a custom material",
        "Records corrected properties of a custom material. The results of the surveys that used the previous properties are recalculated.",
    ),
    **_records(
        "custom_media",
        "custom medium",
        "custom media",
        "Requests name custom media like those of the library.",
    ),
    "custom_media_create": _text(
        "Create a custom medium", "Adds a medium with a table of its properties to the library of the office."
    ),
    "custom_media_revisions_create": _text(
        "Revise a custom medium",
        "Records a corrected table of a custom medium. The results of the surveys that used the previous table are recalculated.",
    ),
    # Fleet
    **_records(
        "instruments",
        "instrument",
        "instruments",
        "The answer has the state, the holder and the latest calibration.",
        article="an",
    ),
    "instruments_create": _text(
        "Create an instrument", "Adds a meter, transducer pair, thickness gauge or thermometer to the fleet."
    ),
    "instruments_partial_update": _text(
        "Change an instrument",
        "Changes the fields in the request. The state, holder and location are changed by a status change.",
    ),
    "instruments_affected_results_list": _text(
        "List results that used an instrument",
        "Lists the current results of surveys made with the instrument, or based on wall thickness measurements made with it.",
    ),
    "instruments_documents_list": _text(
        "List the documents of an instrument", "Lists the PDF documents of an instrument, the latest first."
    ),
    "instruments_documents_create": _text(
        "Upload a document of an instrument",
        "Stores a PDF, sent as the body or as the part `file` of a form. The same file sent again is answered with 200 and changes nothing.",
    ),
    "instruments_documents_retrieve": _text(
        "Download a document of an instrument", "Returns the PDF as it was received, as an attachment."
    ),
    "instruments_intermediate_checks_list": _text(
        "List intermediate checks",
        "Lists the intermediate checks of an instrument between calibrations, with the trend.",
    ),
    "instruments_intermediate_checks_create": _text(
        "Record an intermediate check",
        "Records an intermediate check and compares it with the warning and action limits. An instrument beyond the action limit is quarantined.",
    ),
    "instruments_label_pdf_retrieve": _text(
        "Download the label of an instrument",
        "Returns a label as PDF with the calibration date, the due date and a QR code.",
    ),
    "instruments_status_changes_list": _text(
        "List the status changes of an instrument", "Lists all states of an instrument, the latest first."
    ),
    "instruments_status_changes_create": _text(
        "Change the state of an instrument",
        "Records a new state, holder or location with the reason. Returns the bookings that conflict with the new state.",
    ),
    "instruments_transducer_data_list": _text(
        "List the versions of transducer data",
        "Lists all versions of the data of a transducer pair, the latest first.",
    ),
    "instruments_transducer_data_create": _text(
        "Record transducer data",
        "Records a new version of the data of a transducer pair. "
        "A correction of an earlier version starts the recalculation of the surveys that used that version (202).",
    ),
    "instruments_calibration_due_retrieve": _text(
        "List due calibrations",
        "Lists the instruments in use with their due dates, overdue instruments first, as JSON, CSV or iCalendar.",
    ),
    **_records(
        "instrument_types",
        "instrument type",
        "instrument types",
        "The data of an instrument itself takes precedence.",
        article="an",
    ),
    "instrument_types_create": _text(
        "Create an instrument type", "Records the capabilities of the instruments of one kind and type name."
    ),
    "instrument_types_partial_update": _text(
        "Change an instrument type",
        "Changes the fields in the request. Other fields of the instrument type keep their values.",
    ),
    **_records(
        "calibrations",
        "calibration",
        "calibrations",
        "A calibration is a certificate with its points and statement of conformity.",
    ),
    "calibrations_create": _text(
        "Record a calibration",
        "Records a calibration certificate. A correction replaces an earlier record, and the affected surveys are recalculated.",
    ),
    "calibrations_certificate_retrieve": _text(
        "Download a calibration certificate",
        "Returns the PDF of the certificate as it was received, as an attachment.",
    ),
    "calibrations_certificate_create": _text(
        "Upload a calibration certificate",
        "Stores the PDF of the certificate, sent as the body or as the part `file` of a form. "
        "The same file sent again is answered with 200 and changes nothing.",
    ),
    "calibrations_bulk_create": _text(
        "Import calibrations",
        "Records all certificates of a CSV or XLSX table, or none. Columns: `serial`, `kind`, `certificate`, `laboratory`, `accreditation`, "
        "`calibrated_on`, `due_on`, `conditions`, `conditions_temperature`, `note`, `as_found` and `as_left`. "
        "The point columns hold points such as `20 mm | 20.04 mm | 0.02 mm | 2`, separated by semicolons.",
    ),
    **_records(
        "acceptance_policies",
        "acceptance policy",
        "acceptance policies",
        "The latest recorded policy applies to certificates without a permissible error or decision rule.",
        article="an",
    ),
    "acceptance_policies_create": _text(
        "Record an acceptance policy",
        "Records a policy for later certificates. The conformity of earlier certificates does not change.",
    ),
    **_records(
        "error_correction_policies",
        "error correction policy",
        "error correction policies",
        "Without a policy, results are not corrected by calibration errors.",
        article="an",
    ),
    "error_correction_policies_create": _text(
        "Record an error correction policy",
        "Records a policy and recalculates the results that were calculated by another decision. The earlier results stay available.",
    ),
    **_records(
        "interval_policies",
        "interval policy",
        "interval policies",
        "The latest recorded policy applies. It sets the interval in months, days or hours of use.",
        article="an",
    ),
    "interval_policies_create": _text(
        "Record an interval policy",
        "Records a policy for later certificates. Due dates that are already set do not change.",
    ),
    **_records(
        "interval_reviews",
        "interval review",
        "interval reviews",
        "A review proposes an interval, which a person accepts or rejects.",
        article="an",
    ),
    "interval_reviews_create": _text(
        "Propose a calibration interval",
        "Calculates the next interval of an instrument from the results of its calibrations.",
    ),
    "interval_reviews_decision_create": _text(
        "Decide on a proposed interval",
        "Accepts the interval for certificates recorded from now on, or rejects it. Existing due dates do not change.",
    ),
    "interval_reviews_chart_svg_retrieve": _text(
        "Download the chart of an interval review",
        "Returns an SVG chart of the calibration results over time, with the limits and the proposed date.",
    ),
    **_records(
        "out_of_tolerance_reviews",
        "out-of-tolerance review",
        "out-of-tolerance reviews",
        "A review lists the surveys made with an instrument since its last calibration in tolerance.",
        article="an",
    ),
    "out_of_tolerance_reviews_decisions_create": _text(
        "Decide on affected surveys",
        "Records the decisions on some surveys of a review, all or none. Returns 202 when a decision starts a recalculation.",
    ),
    "out_of_tolerance_reviews_surveys_list": _text(
        "List the affected surveys",
        "Lists the affected surveys of a review with their corrected flow, page by page.",
    ),
    **_records("calendar_feeds", "calendar feed", "calendar feeds", "Users see their own calendar feeds."),
    "calendar_feeds_create": _text(
        "Create a calendar feed",
        "Creates a calendar address for due dates or the user's own jobs. The token is returned once.",
    ),
    "calendar_feeds_destroy": _text(
        "Revoke a calendar feed", "Revokes a calendar address. Requests to the address are answered with 404."
    ),
    "calendar_feeds_ics_retrieve": _text(
        "Download a calendar",
        "Returns the calendar of the feed's owner in iCalendar format. The token in the address replaces signing in.",
    ),
    # Dispatch
    **_records(
        "technicians",
        "technician",
        "technicians",
        "A technician has a home base, working hours and qualifications.",
    ),
    "technicians_partial_update": _text(
        "Change a technician",
        "Changes the home base, the coordinates, the time zone or the working hours of a technician.",
    ),
    "technicians_absences_list": _text(
        "List absences", "Lists the absences of a technician. Only the office sees the reasons."
    ),
    "technicians_absences_create": _text(
        "Record an absence",
        "Records an absence of a technician. Returns the bookings that conflict with the absence.",
    ),
    "technicians_absences_cancel_create": _text(
        "Cancel an absence", "Cancels an absence. The technician is available again."
    ),
    "technicians_day_sheet_pdf_retrieve": _text(
        "Download a day sheet",
        "Returns the jobs, addresses, contacts, hazards, kit and set-ups of one day as PDF. Technicians get their own sheet, the office gets all.",
    ),
    "technicians_qualifications_list": _text(
        "List qualifications", "Lists the current, expired and withdrawn qualifications of a technician."
    ),
    "technicians_qualifications_create": _text(
        "Record a qualification", "Records a qualification of a technician."
    ),
    "technicians_qualifications_withdraw_create": _text(
        "Withdraw a qualification",
        "Withdraws a qualification. Returns the bookings that conflict with the withdrawal.",
    ),
    "technicians_qualifications_certificate_retrieve": _text(
        "Download a qualification certificate",
        "Returns the PDF as it was received, as an attachment. Technicians get their own certificates, the office all certificates.",
    ),
    "technicians_qualifications_certificate_create": _text(
        "Upload a qualification certificate",
        "Stores the PDF of the qualification, sent as the body or as the part `file` of a form. "
        "The same file sent again is answered with 200 and changes nothing.",
    ),
    **_records("jobs", "job", "jobs", "A job is a visit to a site for surveys at measuring points."),
    "jobs_create": _text("Create a job", "Creates a job as a draft or as a planned job."),
    "jobs_partial_update": _text(
        "Change a job",
        "Changes the fields in the request, and the state where another `state` is requested; both or neither.",
    ),
    "jobs_status_changes_list": _text(
        "List the status changes of a job", "Lists the status changes of a job, the latest first."
    ),
    "jobs_status_changes_create": _text(
        "Change the state of a job", "Changes the state of a job and records the reason."
    ),
    "jobs_suitable_kits_list": _text(
        "List suitable kits",
        "Lists the instruments for the job with the reasons against unsuitable ones. Each transducer pair is checked on each pipe. Staff only.",
    ),
    "jobs_suitable_technicians_list": _text(
        "List suitable technicians",
        "Lists the technicians for the job, suitable and nearest first, with the reasons against unsuitable ones.",
    ),
    **_records(
        "bookings", "booking", "bookings", "A booking reserves an instrument or a technician for a job."
    ),
    "bookings_create": _text(
        "Create a booking", "Reserves one instrument or one technician for a job and a period."
    ),
    "bookings_partial_update": _text(
        "Change the period of a booking", "Reserves the same instrument or technician for another period."
    ),
    "bookings_alternatives_list": _text(
        "List alternatives to a booking",
        "Lists other instruments of the same kind, or other technicians, that can be booked instead.",
    ),
    "bookings_cancel_create": _text(
        "Cancel a booking", "Cancels a booking and releases the instrument or technician."
    ),
    "bookings_check_in_create": _text(
        "Check an instrument in", "Records the return of the booked instrument and its condition."
    ),
    "bookings_check_out_create": _text(
        "Check an instrument out",
        "Records the handover of the booked instrument. The holder and the location of the instrument change.",
    ),
    "bookings_expected_back_create": _text(
        "Record a late return",
        "Records when an instrument is expected back. Returns the bookings that conflict with the late return.",
    ),
    **_records(
        "dispatch_plans",
        "dispatch plan",
        "dispatch plans",
        "A plan proposes technicians, kits and times for jobs.",
    ),
    "dispatch_plans_create": _text(
        "Request a dispatch plan",
        "Starts the calculation of a plan in the background. Follow the plan at the address in `Location`.",
    ),
    "dispatch_plans_acceptance_create": _text(
        "Accept a dispatch plan",
        "Books the proposed assignments of all jobs, or of the jobs in the request; all of them or none.",
    ),
    # Surveys
    **_records(
        "log_formats", "log format", "log formats", "A log format describes how a data logger's file is read."
    ),
    "log_formats_create": _text(
        "Create a log format", "Stores a log format for the files of one type of data logger."
    ),
    "log_formats_partial_update": _text(
        "Change a log format",
        "Changes the fields in the request. Logs that are already imported keep the format by which they were read.",
    ),
    "log_formats_previews_create": _text(
        "Preview a file with a log format",
        "Reads the first rows of a file by a stored log format. Nothing is stored.",
    ),
    "log_formats_detections_create": _text(
        "Detect the format of a file",
        "Proposes a log format for a file, with the reasons and the points to check. Nothing is stored.",
    ),
    "log_formats_unsaved_previews_create": _text(
        "Preview a file with an unsaved log format",
        "Reads the first rows of a file by the log format in the request. Nothing is stored.",
    ),
    **_records(
        "surveys",
        "survey",
        "surveys",
        "A survey is a measurement at one measuring point. The answer has the current result in short.",
    ),
    "surveys_create": _text(
        "Create a survey", "Creates a survey at a measuring point with a set-up and instruments."
    ),
    "surveys_batch_create": _text(
        "Create surveys recorded offline",
        "Stores each survey of the request separately. A survey that was sent before gets the first answer again.",
    ),
    "surveys_corrections_create": _text(
        "Correct survey data",
        "Records corrected survey data. The result is recalculated, and the earlier data stays available.",
    ),
    "surveys_data_list": _text(
        "List the versions of survey data", "Lists all versions of the data of a survey, the latest first."
    ),
    "surveys_log_retrieve": _text(
        "Read the import of a log",
        "Returns the accepted and rejected rows, the columns and the SHA-256 of the log of a survey.",
    ),
    "surveys_log_create": _text(
        "Import a log",
        "Imports the data logger's file, sent as the body or as the part `file` of a form. "
        "The same file sent again is answered with 200 and changes nothing.",
    ),
    "surveys_log_file_retrieve": _text(
        "Download the log file",
        "Returns the data logger's file as it was received. The `ETag` is the SHA-256 of the file.",
    ),
    "surveys_readings_retrieve": _text(
        "Read the readings of a survey",
        "Returns readings downsampled for a plot as JSON, or all readings as CSV or Parquet. Choose with `format` or `Accept`.",
    ),
    "surveys_report_pdf_retrieve": _text(
        "Download the current report",
        "Returns the issued report of a survey as PDF, with a notice while an instrument is under review. Staff also get drafts.",
    ),
    "surveys_reports_list": _text(
        "List the reports of a survey", "Lists all issues of the report of a survey, the latest first."
    ),
    "surveys_reports_create": _text(
        "Issue a report",
        "Issues the report of a survey, or reissues it with the reason. A reissue names the report that it replaces.",
    ),
    "surveys_results_list": _text(
        "List the results of a survey",
        "Lists all results of a survey, the latest first, with the cause of each.",
    ),
    "surveys_segments_create": _text(
        "Select segments of a log",
        "Selects the segments of the log to use, each with a reason. The result is recalculated.",
    ),
    "surveys_outliers_create": _text(
        "Include or exclude outliers",
        "Includes the outliers of the log in the result, or excludes them again, with the reason. The result is recalculated.",
    ),
    "surveys_steady_segments_list": _text(
        "Propose steady segments",
        "Lists segments of the log with steady flow, the longest first. A person selects the segments to use.",
    ),
    "surveys_site_meter_readings_list": _text(
        "List site meter readings",
        "Lists the readings of the site's own meter, the latest first, compared with the current result by the En number.",
    ),
    "surveys_site_meter_readings_create": _text(
        "Record a site meter reading",
        "Records the reading of the site's own meter during the survey. A replacement needs a reason.",
    ),
    # Results
    **_records(
        "results", "result", "results", "The list has current and replaced results. Filter by `current`."
    ),
    "results_traceability_list": _text(
        "Read the traceability of a result",
        "Lists the records that a result is based on, step by step, with the person and time of each record.",
    ),
    **_records(
        "combinations",
        "combination",
        "combinations",
        "A combination is a mean, sum or difference of surveys, or the paths at one point.",
    ),
    "combinations_create": _text(
        "Create a combination",
        "Combines surveys. The combined result is calculated when all surveys have a log.",
    ),
    "combinations_partial_update": _text(
        "Change a combination", "Changes the name, the note or the retirement of a combination."
    ),
    "combinations_results_list": _text(
        "List the results of a combination",
        "Lists all results of a combination, the latest first, with the cause of each.",
    ),
    **_records(
        "recomputations",
        "recalculation",
        "recalculations",
        "A recalculation makes new results in the background after data changed.",
    ),
    "recomputations_retries_create": _text(
        "Retry a recalculation", "Starts the failed items of a recalculation again."
    ),
    "recomputations_summary_retrieve": _text(
        "Read the summary of a recalculation",
        "Returns how many results changed and by how much, the clients to notify, and the failures. Staff only.",
    ),
    **_records(
        "notices",
        "notice",
        "notices",
        "A notice reports a result that changed by more than the client's threshold.",
    ),
    "notices_acknowledgements_create": _text(
        "Acknowledge a notice", "Records that the client has read the notice."
    ),
    **_records(
        "reports", "report", "reports", "Filter by `outdated` for reports whose result has changed since."
    ),
    "reports_file_pdf_retrieve": _text(
        "Download a report", "Returns the PDF as it was issued, also after it was replaced."
    ),
    # Calculations
    "compute_spacing": _text(
        "Calculate the transducer spacing",
        "Calculates the spacing, the beam path and the transit times of a transducer pair on a pipe, with findings and safety notes.",
    ),
    "compute_flow": _text(
        "Calculate the flow",
        "Calculates the volume flow, the mass flow and the measured sound speed from readings of a meter.",
    ),
    "compute_uncertainty": _text(
        "Calculate the uncertainty of a flow",
        "Calculates the expanded uncertainty of the volume flow and its budget (GUM), on request also by the Monte Carlo method.",
    ),
    "compute_diagnosis": _text(
        "Diagnose a measured sound speed",
        "Lists the single wrong entries that explain the measured sound speed, with their probabilities.",
    ),
    "compute_methods": _text(
        "Read the calculation methods",
        "Returns the versions of the calculation method, default uncertainties, straight lengths and finding codes.",
    ),
    "compute_pipe_sizes": _text(
        "List pipe sizes",
        "Lists the pipe sizes of the standards, with outer diameter, wall thickness and bore.",
    ),
    "compute_materials": _text(
        "List materials", "Lists the materials of the library and the custom materials, with their sources."
    ),
    "compute_media": _text(
        "List media", "Lists the media of the library and the custom media, with their ranges and sources."
    ),
}
"""Operation id to its texts."""
