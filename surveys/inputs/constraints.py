"""Constraints of the database as errors: the field of the request, and the message of the catalogue."""

from __future__ import annotations

import logging
from collections.abc import Mapping

from django.db import IntegrityError

from compute.base.messages import Message, message

# By a part of what the database writes: on PostgreSQL the name of the constraint, on SQLite perhaps its columns.
CONSTRAINTS: Mapping[str, tuple[str, str]] = {
    "site_name_once_for_a_client": ("name", "conflict/site-name-once-for-a-client"),
    "pipe_name_once_at_a_site": ("name", "conflict/pipe-name-once-at-a-site"),
    "measuring_point_name_once_on_a_pipe": ("name", "conflict/measuring-point-name-once-on-a-pipe"),
    "instrument_serial_once_in_a_kind": ("serial", "conflict/instrument-serial-once-in-a-kind"),
    "calibration_certificate_once": ("certificate", "conflict/calibration-certificate-once"),
    "intermediate_check_second_meter_where_two": (
        "other_instrument",
        "conflict/intermediate-check-second-meter-where-two",
    ),
    "intermediate_check_of_two_instruments": (
        "other_instrument",
        "conflict/intermediate-check-of-two-instruments",
    ),
    "instrument_type_name_once_in_a_kind": ("name", "conflict/instrument-type-name-once-in-a-kind"),
    "instrument_type_frequencies_in_order": (
        "max_frequency",
        "conflict/instrument-type-frequencies-in-order",
    ),
    "instrument_type_velocities_in_order": ("max_velocity", "conflict/instrument-type-velocities-in-order"),
    "instrument_type_temperatures_in_order": (
        "max_temperature",
        "conflict/instrument-type-temperatures-in-order",
    ),
    "instrument_type_spacings_in_order": ("max_spacing", "conflict/instrument-type-spacings-in-order"),
    "instrument_type_walls_in_order": ("max_wall_thickness", "conflict/instrument-type-walls-in-order"),
    "report_one_current_for_a_survey": ("", "conflict/report-one-current-for-a-survey"),
    "report_revision_once": ("", "conflict/report-one-current-for-a-survey"),
    "calibration_due_after_its_date": ("due_on", "conflict/calibration-due-after-its-date"),
    "calibration_point_uncertainty_possible": ("as_found", "conflict/calibration-point-uncertainty-possible"),
    "acceptance_policy_about_instrument_or_type": (
        "instrument",
        "conflict/acceptance-policy-about-instrument-or-type",
    ),
    "error_correction_policy_about_instrument_or_type": (
        "instrument",
        "conflict/acceptance-policy-about-instrument-or-type",
    ),
    "interval_policy_about_instrument_or_type": (
        "instrument",
        "conflict/acceptance-policy-about-instrument-or-type",
    ),
    "interval_policy_has_a_calendar": ("months", "conflict/interval-policy-has-a-calendar"),
    "instrument_not_its_own_accessory": ("belongs_to", "conflict/instrument-not-its-own-accessory"),
    "document_once_at_an_instrument": ("file", "conflict/document-once-at-an-instrument"),
    "job_ends_after_it_starts": ("ends_at", "conflict/job-ends-after-it-starts"),
    "job_window_ends_after_it_starts": ("latest_end", "conflict/job-window-ends-after-it-starts"),
    "job_expected_hours_positive": ("expected_hours", "conflict/job-expected-hours-positive"),
    "job_priority_1_to_5": ("priority", "conflict/job-priority-1-to-5"),
    "site_coordinates_possible": ("latitude", "conflict/site-coordinates-possible"),
    "technician_coordinates_possible": ("latitude", "conflict/site-coordinates-possible"),
    "qualification_expires_after_issue": ("expires_on", "conflict/qualification-expires-after-issue"),
    "absence_ends_after_it_starts": ("ends_at", "conflict/absence-ends-after-it-starts"),
    "booking_ends_after_it_starts": ("ends_at", "conflict/booking-ends-after-it-starts"),
    "booking_of_instrument_or_technician": ("instrument", "conflict/booking-of-instrument-or-technician"),
    "booking_instrument_never_twice": ("instrument", "conflict/booking-instrument-never-twice"),
    "booking_technician_never_twice": ("technician", "conflict/booking-technician-never-twice"),
    "booking_handed_over_once": ("", "conflict/booking-handed-over-once"),
    "survey_ends_after_it_starts": ("ended_at", "conflict/survey-ends-after-it-starts"),
    "survey_not_its_own_primary_survey": ("primary_survey", "conflict/survey-not-its-own-primary-survey"),
    "combination_part_once": ("parts", "conflict/combination-part-once"),
    "survey_temperature_states_its_source": (
        "medium_temperature",
        "conflict/survey-temperature-states-its-source",
    ),
    "pipe_data_bore_left": ("pipe.wall_thickness", "conflict/pipe-data-bore-left"),
    "pipe_data_corrected_once": ("corrects", "already-corrected/pipe-data"),
    "measuring_point_straight_lengths_not_negative": (
        "upstream_straight_length",
        "conflict/measuring-point-straight-lengths-not-negative",
    ),
    "transducer_data_temperatures_in_order": (
        "transducers.min_temperature",
        "conflict/transducer-data-temperatures-in-order",
    ),
    "surveys_logformat_name": ("name", "conflict/log-format-name-once"),
    "surveys_logformat.name": ("name", "conflict/log-format-name-once"),
    "user_client_only_for_client_viewers": ("client", "conflict/user-client-only-for-client-viewers"),
    "invitation_client_viewers_have_a_client": ("client", "conflict/user-client-only-for-client-viewers"),
    "user_service_account_without_admin": (
        "is_service_account",
        "conflict/user-service-account-without-admin",
    ),
    "surveys_user_username": ("username", "conflict/username-once"),
    "surveys_user.username": ("username", "conflict/username-once"),
    "surveys_client_name": ("name", "conflict/client-name-once"),
    "surveys_client.name": ("name", "conflict/client-name-once"),
}

# SQLite names the columns of a unique constraint, not the constraint.
COLUMNS_IN_SQLITE = {
    "site_name_once_for_a_client": "surveys_site.client_id, surveys_site.name",
    "pipe_name_once_at_a_site": "surveys_pipe.site_id, surveys_pipe.name",
    "measuring_point_name_once_on_a_pipe": "surveys_measuringpoint.pipe_id, surveys_measuringpoint.name",
    "instrument_serial_once_in_a_kind": "surveys_instrument.kind, surveys_instrument.serial",
    "calibration_certificate_once": "surveys_calibration.instrument_id, surveys_calibration.laboratory",
    "pipe_data_corrected_once": "surveys_pipedata.corrects_id",
    "booking_handed_over_once": "surveys_bookingevent.booking_id, surveys_bookingevent.what",
    "combination_part_once": "surveys_combinationpart.combination_id, surveys_combinationpart.survey_id",
}


def constraint_violated(error: IntegrityError) -> tuple[str, Message]:
    """The field and the message of the constraint that rejected an entry; no field where the constraint is not known."""
    text = str(error)
    for name, (field, key) in CONSTRAINTS.items():
        if name in text or COLUMNS_IN_SQLITE.get(name, "\0") in text:
            return field, message(key)
    logging.getLogger(__name__).warning("constraint without an entry in the message catalogue: %s", text)
    return "", message("conflict")
