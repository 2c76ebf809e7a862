"""Findings on a log: its times, its units, its rows and the segments used."""

from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext_lazy

from surveys.core.messages.texts import Entry, choose, first_of, when

FIRST_TIMES = choose("more", true=_("Only the first times are listed."))

ENTRIES = {
    "log-gaps": Entry(
        title=ngettext_lazy("Gap in the log", "Gaps in the log", "count"),
        detail=(
            ngettext_lazy(
                "{count} gap, {total} in total, after {times:seconds} (logging interval {interval}).",
                "{count} gaps, {total} in total, after {times:seconds} (logging interval {interval}).",
                "count",
            ),
            FIRST_TIMES,
            ngettext_lazy(
                "The mean does not include the flow during the gap.",
                "The mean does not include the flow during the gaps.",
                "count",
            ),
        ),
    ),
    "log-clock-ahead": Entry(
        title=_("Clock stepped forward"),
        detail=(
            _("The times step forward by {steps} after {times:seconds}."),
            FIRST_TIMES,
            _("A change to another time zone or to summer time has this effect."),
        ),
        remedy=_("Check the clock of the logger: the times before or after the step may be wrong."),
    ),
    "log-clock-back": Entry(
        title=_("Clock stepped back"),
        detail=(
            _("The times step back by {steps} after {times:seconds}."),
            FIRST_TIMES,
            _("The clock was set, or the file repeats a segment or contains two logs in the wrong order."),
            _("All rows are used in the order of the file."),
        ),
        remedy=_("Check the file and the clock of the logger."),
    ),
    "log-out-of-order": Entry(
        title=ngettext_lazy("Row out of order", "Rows out of order", "count"),
        detail=(
            ngettext_lazy(
                "{count} row is out of order, at {times:seconds}.",
                "{count} rows are out of order, at {times:seconds}.",
                "count",
            ),
            FIRST_TIMES,
            _("All rows are used in the order of the file."),
        ),
    ),
    "log-rows-repeated": Entry(
        title=ngettext_lazy("Row repeated", "Rows repeated", "count"),
        detail=(
            ngettext_lazy(
                "{count} row has the time and the values of the row before, at {times:seconds}.",
                "{count} rows have the time and the values of the row before, at {times:seconds}.",
                "count",
            ),
            FIRST_TIMES,
            _("Repeated rows are used; the calculated repeatability is too small."),
        ),
        remedy=_("Remove repeated rows from the file and import it again."),
    ),
    "log-times-repeated": Entry(
        title=ngettext_lazy("Time repeated", "Times repeated", "count"),
        detail=(
            ngettext_lazy(
                "{count} row has the time of the row before but other values, at {times:seconds}.",
                "{count} rows have the time of the row before but other values, at {times:seconds}.",
                "count",
            ),
            FIRST_TIMES,
            _("The logger writes faster than the resolution of its times, or its clock stood still."),
        ),
    ),
    "log-unit-implausible": Entry(
        title=_("Unit of a column implausible"),
        detail=(
            _(
                "From {since:seconds} the {column} is {value:.4g}; values from {at_least:g} to {at_most:g} are possible."
            ),
            when("unit_factor", _("A unit {unit_factor:g} times as large would give possible values.")),
        ),
        remedy=_("Check the unit of the column."),
    ),
    "log-unit-implausible/time-difference": Entry(
        title=_("Unit of a column implausible"),
        detail=_(
            "From {since:seconds} the time difference is {ratio:%.3g} of the transit time; at most {limit:%.0} is possible."
        ),
        remedy=_("Check the units of both columns."),
    ),
    "log-unit-implausible/bore": Entry(
        title=_("Unit of a column implausible"),
        detail=_(
            "From {since:seconds} the volume flow divided by the flow velocity gives a bore of {bore:.3g}, which is not possible."
        ),
        remedy=_("Check the units of both columns."),
    ),
    "log-unit-changes": Entry(
        title=_("Unit changed during the log?"),
        detail=(
            first_of(
                when(
                    "against",
                    _(
                        "From {since:seconds} the ratio of {column} to {against} is about {factor:.3g} times the ratio before."
                    ),
                ),
                _("From {since:seconds} the {column} is about {factor:.3g} times the value before."),
            ),
            choose(
                "mistaken",
                thousand=_("This is the factor between µs and ns, or between m and mm."),
                million=_("This is the factor between s and µs, or between m and µm."),
                inch_and_millimetre=_("This is the factor between inches and millimetres."),
                metre_and_foot=_("This is the factor between metres and feet."),
                cubic_metres_per_hour_and_litres_per_second=_("This is the factor between m³/h and l/s."),
                minute_and_second=_("This is the factor between minutes and seconds."),
                hour_and_second=_("This is the factor between hours and seconds."),
                cubic_metres_per_hour_and_gallons_per_minute=_(
                    "This is the factor between m³/h and US gal/min."
                ),
            ),
        ),
        remedy=_("Split the log at that time and import the parts as two surveys."),
    ),
    "segments-used": Entry(
        title=ngettext_lazy("Marked segment used", "Marked segments used", "count"),
        detail=(
            first_of(
                when(
                    "starts",
                    ngettext_lazy(
                        "{used} readings from {starts:seconds} to {ends:seconds} are used.",
                        "{used} readings are used, in segments from {starts:seconds and} to {ends:seconds and}.",
                        "count",
                    ),
                ),
                _("{used} readings in {count} segments from {start:seconds} to {end:seconds} are used."),
            ),
            _("{outside} readings outside are not used."),
            when("reasons", _("Reason entered: {reasons}.")),
        ),
    ),
    "rows-rejected": Entry(
        title=ngettext_lazy("Row rejected", "Rows rejected", "count"),
        detail=ngettext_lazy(
            "{count} of {rows} rows of the log could not be read and is not used. The log lists the rejected row.",
            "{count} of {rows} rows of the log could not be read and are not used. The log lists the rejected rows.",
            "count",
        ),
    ),
    "readings-impossible": Entry(
        title=ngettext_lazy("Reading not possible", "Readings not possible", "count"),
        detail=ngettext_lazy(
            "{count} reading has a transit time that is not possible with this set-up, and is not used.",
            "{count} readings have a transit time that is not possible with this set-up, and are not used.",
            "count",
        ),
        remedy=_("Check the pipe data and the signal."),
    ),
    "outliers-excluded": Entry(
        title=ngettext_lazy("Outlier excluded", "Outliers excluded", "count"),
        detail=(
            ngettext_lazy(
                "{count} of {readings} readings is far from the readings around it and is not used.",
                "{count} of {readings} readings are far from the readings around them and are not used.",
                "count",
            ),
            when(
                "flow_with",
                "flow_without",
                _("The flow is {flow_without} without and {flow_with} with excluded readings."),
            ),
        ),
        remedy=_(
            "Check the excluded readings in the chart. If the flow really changed, include these readings."
        ),
    ),
    "outliers-included": Entry(
        title=ngettext_lazy("Outlier included", "Outliers included", "count"),
        detail=(
            ngettext_lazy(
                "{count} of {readings} readings is far from the readings around it and is used by decision.",
                "{count} of {readings} readings are far from the readings around them and are used by decision.",
                "count",
            ),
            when(
                "flow_with",
                "flow_without",
                _("The flow is {flow_with} with and {flow_without} without the outliers."),
            ),
        ),
    ),
    "repeatability-assumed": Entry(
        title=_("Repeatability assumed"),
        detail=_(
            "A single reading has no repeatability. A default standard uncertainty of {standard_uncertainty} of the time difference is used."
        ),
        remedy=_("Log at least one minute."),
    ),
    "log-short": Entry(
        title=_("Log too short for its correlation"),
        detail=(
            first_of(
                when(
                    "correlation_time",
                    _(
                        "Readings correlate over about {correlation_time}, so {readings} readings count as {effective:.0} independent readings."
                    ),
                ),
                _(
                    "About {correlation:.0} successive readings correlate, so {readings} readings count as {effective:.0} independent readings."
                ),
            ),
            first_of(
                when(
                    "duration",
                    "needed_duration",
                    _("The log covers {duration}; about {needed_duration} are needed."),
                ),
                _("About {needed} readings are needed."),
            ),
            _("The expanded uncertainty contains this."),
        ),
        remedy=_("Log for longer."),
    ),
    "readings-few": Entry(
        title=ngettext_lazy("Only {count} reading", "Only {count} readings", "count"),
        detail=_("At least {at_least} are needed for a reliable repeatability."),
        remedy=_("Log for longer."),
    ),
    "dst-hour-repeated": Entry(
        title=_("Hour repeated by the clock change"),
        detail=(
            _("The hour {hour_from} to {hour_to} on {on} occurs twice in the time zone {zone}."),
            ngettext_lazy(
                "{count} row of that hour is read as the first pass.",
                "{count} rows of that hour are read as the first pass.",
                "count",
            ),
        ),
        remedy=_("If the logger's clock keeps one offset all year, enter the zone in the log format."),
    ),
    "dst-hour-repeated/order-known": Entry(
        title=_("Hour repeated by the clock change"),
        detail=(
            _("The hour {hour_from} to {hour_to} on {on} occurs twice in the time zone {zone}."),
            _("Rows are read as the first pass until their times step back, then as the second."),
        ),
    ),
    "times-from-start": Entry(
        title=_("Times counted from a start"),
        detail=_("The file contains seconds only; they are counted from {start:seconds}."),
        remedy=_("Check the start."),
    ),
    "log-duplicate": Entry(
        title=_("File already imported"),
        detail=_("The same file was imported for another survey at {received_at}."),
        remedy=_("If the file belongs to the other survey, record a new survey with its own file."),
    ),
}
