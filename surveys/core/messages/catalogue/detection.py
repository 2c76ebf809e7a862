"""Reasons and warnings of a detected log format."""

from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext_lazy

from surveys.core.messages.texts import Entry

QUANTITIES = _(
    "A log needs the transit time and the time difference, or the flow velocity, or the volume flow."
)

ENTRIES = {
    "parquet-detected": Entry(title=_("File type"), detail=_("The file is a Parquet file.")),
    "parquet-columns-unknown": Entry(
        title=_("Columns not detected"),
        detail=_("A Parquet file names its columns at its end."),
        remedy=_("Enter which column contains which quantity."),
    ),
    "encoding-detected": Entry(title=_("Encoding"), detail=_("The text is {encoding}.")),
    "encoding-detected/byte-order-mark": Entry(
        title=_("Encoding"), detail=_("The file begins with the byte order mark of {encoding}.")
    ),
    "encoding-detected/zero-bytes": Entry(
        title=_("Encoding"), detail=_("Every other byte is zero, as in {encoding} text.")
    ),
    "encoding-detected/not-utf-8": Entry(
        title=_("Encoding"), detail=_("The text is not UTF-8; it is read as {encoding}.")
    ),
    "encoding-uncertain": Entry(
        title=_("Encoding uncertain"),
        detail=_("The characters beyond ASCII may be of another encoding than {encoding}."),
        remedy=_("Check the special characters in the header."),
    ),
    "no-rows-detected": Entry(
        title=_("No readings detected"),
        detail=_("The file contains no rows of readings."),
        remedy=_("Check that this is the file of the logger."),
    ),
    "plain-header-detected": Entry(
        title=_("Header"), detail=_("The header names its columns as in the plain log format.")
    ),
    "delimiter-detected": Entry(
        title=_("Delimiter"),
        detail=ngettext_lazy(
            "The delimiter is the {delimiter}, as in {count} row.",
            "The delimiter is the {delimiter}, as in {count} rows.",
            "count",
        ),
    ),
    "decimal-comma-detected": Entry(title=_("Decimal mark"), detail=_("Numbers have a decimal comma.")),
    "decimal-comma-ambiguous": Entry(
        title=_("Commas ambiguous"),
        detail=(
            _("Rows have more cells than the header: commas seem to be decimal marks as well."),
            _("Such a file cannot be read with certainty."),
        ),
        remedy=_("Set another delimiter in the logger."),
    ),
    "header-detected": Entry(title=_("Header"), detail=_("Line {line:d} names the columns.")),
    "header-not-detected": Entry(
        title=_("No header line"),
        detail=_("The file has no header line."),
        remedy=_("Enter which column contains which quantity, and its unit."),
    ),
    "columns-not-detected": Entry(
        title=_("Columns missing"),
        detail=(_("Not all columns that a log needs were detected."), QUANTITIES),
        remedy=_("Enter the columns."),
    ),
    "clock-column-detected": Entry(
        title=_("Time columns"),
        detail=_("The date is in column {date_column}, the clock time in column {clock_column}."),
    ),
    "time-not-detected": Entry(
        title=_("Time not detected"),
        detail=_("No column of times was detected."),
        remedy=_("Enter the column and the form of the times."),
    ),
    "time-detected/iso": Entry(
        title=_("Time format"), detail=_("The times are ISO 8601, such as {example}.")
    ),
    "time-detected/pattern": Entry(
        title=_("Time format"), detail=_("The times have the form {pattern}, such as {example}.")
    ),
    "time-detected/unix": Entry(
        title=_("Time format"),
        detail=_("Column {column} counts {unit} since 1970, by the size of its values."),
    ),
    "time-detected/elapsed": Entry(
        title=_("Time format"), detail=_("Column 1, “{name}”, counts up from {first}.")
    ),
    "zone-assumed": Entry(
        title=_("Time zone assumed"),
        detail=_("The times have no offset; the time zone of the site is used."),
        remedy=_("If the logger's clock keeps another time zone, enter it."),
    ),
    "day-and-month-ambiguous": Entry(
        title=_("Day and month ambiguous"),
        detail=_("{example} matches {pattern} and also {others}."),
        remedy=_("Select the form of the times."),
    ),
    "start-unknown": Entry(
        title=_("Start of the log unknown"),
        detail=_("Column 1 seems to count seconds from the start of the log."),
        remedy=_("Enter the start, and check that the unit is seconds."),
    ),
    "column-ambiguous": Entry(
        title=_("Column ambiguous"),
        detail=_("“{name}” may be the {quantity} too; the first such column is used."),
    ),
    "column-unit-unknown": Entry(
        title=_("Unit unknown"),
        detail=_("“{name}” seems to be the {quantity}, but its unit is not known."),
        remedy=_("Enter the unit."),
    ),
    "column-detected": Entry(
        title=_("Column"), detail=_("By its name “{name}” is the {quantity} in {unit}.")
    ),
    "no-value-detected": Entry(
        title=_("Missing values"), detail=_("“{text}” in the column of the {quantity} means no value.")
    ),
}
