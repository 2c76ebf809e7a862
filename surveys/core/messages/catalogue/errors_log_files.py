"""Errors of the files of loggers and of log formats."""

from django.utils.translation import gettext_lazy as _

from surveys.core.messages.texts import Entry, first_of, when

QUANTITIES = _(
    "A log needs the transit time and the time difference, or the flow velocity, or the volume flow."
)
HEADER = _("The columns of the file are: {header}.")
LARGE = _("Import the file in parts, as separate surveys.")
FORMAT = _("Log format not valid")

ENTRIES = {
    "no-readings": Entry(
        title=_("No readable row"),
        detail=(
            _("No row of the file could be read."),
            first_of(
                when("line", "column", _("The first error is in line {line:d}, column {column}.")),
                when("line", _("The first error is in line {line:d}.")),
            ),
            when("reason", "{reason}"),
        ),
        remedy=_("Check the log format."),
    ),
    "file-too-large/log": Entry(
        title=_("File too large"), detail=_("The file is larger than {megabytes} MB."), remedy=LARGE
    ),
    "file-too-large/rows": Entry(
        title=_("File too large"), detail=_("The file has more than {at_most} rows."), remedy=LARGE
    ),
    "file-too-large/row-group": Entry(
        title=_("File too large"),
        detail=_("A row group of the Parquet file is too large."),
        remedy=_("Write the file with row groups of at most a million rows."),
    ),
    "file-too-large/unpacked": Entry(
        title=_("File too large"),
        detail=_("Unpacked, the file has {megabytes} MB, which is not plausible for a log of its size."),
        remedy=_("Check that this is the file of the logger."),
    ),
    "too-many-columns": Entry(
        title=_("Too many columns"),
        detail=_("The file has more than {at_most} columns."),
        remedy=_("Remove columns that are not needed."),
    ),
    "line-too-long": Entry(
        title=_("Line too long"),
        detail=first_of(
            when("line", _("Line {line:d} is longer than {at_most} characters.")),
            _("A line is longer than {at_most} characters."),
        ),
        remedy=_("Check that this is the file of the logger."),
    ),
    "file-not-text/log": Entry(
        title=_("File not text"),
        detail=first_of(
            when("byte", _("The file is not {encoding} text (byte {byte}).")),
            _("The file is not {encoding} text."),
        ),
        remedy=_("Save the file as UTF-8, or enter its encoding in the log format."),
    ),
    "file-not-parquet": Entry(
        title=_("File not Parquet"),
        detail=_("The file is not a Parquet file."),
        remedy=_("Check the file and the log format."),
    ),
    "file-not-parquet/unreadable": Entry(
        title=_("File not readable"),
        detail=_("The Parquet file cannot be read ({error}); it may be incomplete."),
        remedy=_("Export the file again."),
    ),
    "sample-cut-short": Entry(
        title=_("File incomplete"),
        detail=_("A Parquet file can only be previewed as a whole."),
        remedy=_("Send the whole file."),
    ),
    "header-missing": Entry(
        title=_("Header missing"),
        detail=_("Line {line:d} must name the columns, separated by commas, semicolons or tabs."),
        remedy=_("Example: time,transit_time [us],time_difference [ns]."),
    ),
    "header-missing/quotes": Entry(
        title=_("Header not valid"),
        detail=_("The quotes in the header line do not enclose whole cells."),
        remedy=_("Correct the quotes."),
    ),
    "columns-missing": Entry(
        title=_("Columns missing"),
        detail=(_("The header must have the time."), QUANTITIES, HEADER),
        remedy=_("If the file names its columns differently, select a log format."),
    ),
    "columns-missing/position": Entry(
        title=_("Columns missing"),
        detail=_("By the log format the {column} is in column {position}; the header has {columns} columns."),
        remedy=_("Check the log format."),
    ),
    "columns-missing/name": Entry(
        title=_("Columns missing"),
        detail=(_("The header has no column “{name}”, which the log format names for the {column}."), HEADER),
        remedy=_("Check the log format."),
    ),
    "columns-missing/not-numbers": Entry(
        title=_("Column not numeric"),
        detail=_("The column of the {column} contains {type}, not numbers."),
        remedy=_("Check the log format."),
    ),
    "columns-missing/time-type": Entry(
        title=_("Time column not valid"),
        detail=_("The time column contains {type}, which does not match the log format."),
        remedy=_("Check the form of the times in the log format."),
    ),
    "columns-missing/time-not-text": Entry(
        title=_("Time column not valid"), detail=_("A date and a clock time must both be text.")
    ),
    "duplicate-column/log": Entry(
        title=_("Column repeated"),
        detail=_("The header has the column “{name}” twice."),
        remedy=_("Rename one of the columns, or use their positions."),
    ),
    "duplicate-column/shared": Entry(
        title=_("Column used twice"),
        detail=_("The log format finds two quantities in one column of this file."),
        remedy=_("Check the log format."),
    ),
    "unit-missing/header": Entry(
        title=_("Unit missing"),
        detail=_("The column {name} has no unit."),
        remedy=_("Enter the unit in brackets, for example {name} [us]."),
    ),
    "unit-missing/log-format": Entry(
        title=_("Unit missing"),
        detail=_("The column {name} needs a unit, because no header gives it."),
        remedy=_("Enter the unit in the log format."),
    ),
    "start-missing": Entry(
        title=_("Start missing"),
        detail=_("The times count from a start that is not entered."),
        remedy=_("Enter when the log began."),
    ),
    "log-format-invalid/start-nonexistent": Entry(title=_("Start not valid"), detail="{reason}"),
    "log-format-invalid/zone": Entry(
        title=FORMAT,
        detail=_("“{given}” is not a time zone."),
        remedy=_("Enter “site”, “UTC”, an offset such as UTC+01:00 or a name such as Europe/Copenhagen."),
    ),
    "log-format-invalid/delimiter": Entry(
        title=FORMAT,
        detail=_("The delimiter must be one character that is not part of a number."),
        remedy=_("Enter a comma, a semicolon or a tab, for example."),
    ),
    "log-format-invalid/delimiter-is-decimal-mark": Entry(
        title=FORMAT,
        detail=_("“{mark}” is both the decimal mark and the delimiter."),
        remedy=_("Enter different characters."),
    ),
    "log-format-invalid/comment": Entry(
        title=FORMAT,
        detail=_("A comment mark has at most three ASCII characters."),
        remedy=_("Enter the characters that begin a comment line, or none."),
    ),
    "log-format-invalid/comment-hides-rows": Entry(
        title=FORMAT,
        detail=_("A row may begin with this comment mark and would not be read."),
        remedy=_("Enter another comment mark."),
    ),
    "log-format-invalid/header-line": Entry(
        title=FORMAT,
        detail=_("The number of the header line is not valid."),
        remedy=_("Enter a number from 1 to {at_most}, or null for no header line."),
    ),
    "log-format-invalid/skipped-lines": Entry(
        title=FORMAT,
        detail=_("The number of lines to skip is not valid."),
        remedy=_("Enter a whole number from 0 to {at_most}."),
    ),
    "log-format-invalid/clock-form": Entry(
        title=FORMAT,
        detail=_("A date and a clock time in two columns are read as ISO 8601 or by a pattern."),
        remedy=_("Select iso or pattern."),
    ),
    "log-format-invalid/pattern-form": Entry(
        title=FORMAT,
        detail=_("A pattern is used with the form “pattern” only."),
        remedy=_("Select the form “pattern”, or remove the pattern."),
    ),
    "log-format-invalid/pattern-letters": Entry(
        title=FORMAT,
        detail=_("A pattern has at most {at_most} characters, and no other letters than {letters}."),
        remedy=_("Correct the pattern."),
    ),
    "log-format-invalid/pattern-marks": Entry(
        title=FORMAT,
        detail=_("Between the letters, a pattern has only spaces, T and the marks - / . : , ; _ ( ) '."),
        remedy=_("Correct the pattern."),
    ),
    "log-format-invalid/pattern-repeats": Entry(
        title=FORMAT,
        detail=_("A letter occurs twice in the pattern."),
        remedy=_("Correct the pattern."),
    ),
    "log-format-invalid/pattern-incomplete": Entry(
        title=FORMAT,
        detail=_("A pattern needs a year, a month, a day, %H (or %I with %p) and %M."),
        remedy=_("Example: %d.%m.%Y %H:%M:%S."),
    ),
    "log-format-invalid/pattern-fraction": Entry(
        title=FORMAT,
        detail=_("%f is a fraction of %S, which is missing."),
        remedy=_("Add %S to the pattern."),
    ),
    "log-format-invalid/not-text": Entry(
        title=FORMAT, detail=_("The value is not a text."), remedy=_("Enter a text.")
    ),
    "log-format-invalid/start": Entry(
        title=FORMAT,
        detail=_("“{given}” is not an ISO 8601 time from 1970 to 2199."),
        remedy=_("Enter a time such as 2026-10-06T09:30:00."),
    ),
    "log-format-invalid/columns-without-header": Entry(
        title=FORMAT,
        detail=_("Without a header line the positions of the columns are needed."),
        remedy=_("Enter the columns."),
    ),
    "log-format-invalid/not-boolean": Entry(
        title=FORMAT, detail=_("The value is not true or false."), remedy=_("Enter true or false.")
    ),
    "log-format-invalid/quantity-repeated": Entry(
        title=FORMAT,
        detail=_("A quantity is named twice."),
        remedy=_("Select one column for each quantity."),
    ),
    "log-format-invalid/quantities-missing": Entry(
        title=FORMAT, detail=QUANTITIES, remedy=_("Add the missing columns.")
    ),
    "log-format-invalid/column-shared": Entry(
        title=FORMAT,
        detail=_("Two quantities have the same column."),
        remedy=_("Select one column for each quantity."),
    ),
    "log-format-invalid/position": Entry(
        title=FORMAT,
        detail=_("The position is out of range."),
        remedy=_("Enter a position from 1 to {at_most}."),
    ),
    "log-format-invalid/column": Entry(
        title=FORMAT,
        detail=_("The column is not valid."),
        remedy=_("Enter the text of the header cell, or the position counted from 1."),
    ),
    "log-format-invalid/position-needed": Entry(
        title=FORMAT,
        detail=_("Without a header line a column is given by its position."),
        remedy=_("Enter the position, counted from 1."),
    ),
    "log-format-invalid/choice": Entry(
        title=FORMAT,
        detail=_("“{given}” is not a valid choice."),
        remedy=_("Select one of: {choices}."),
    ),
    "log-format-invalid/text": Entry(
        title=FORMAT,
        detail=_("The text has spaces at its ends, or more than {at_most} characters."),
        remedy=_("Enter the text as it is in the file."),
    ),
    "log-format-invalid/not-object": Entry(
        title=FORMAT, detail=_("The value is not a JSON object."), remedy=_("Enter an object.")
    ),
    "log-format-invalid/unknown-member": Entry(
        title=FORMAT,
        detail=_("“{name}” is not a member of this object."),
        remedy=_("Use only: {known}."),
    ),
    "log-format-invalid/member-missing": Entry(
        title=FORMAT,
        detail=_("The column has no “{name}”."),
        remedy=_("Enter “{name}”."),
    ),
    "log-format-invalid/not-list": Entry(
        title=FORMAT,
        detail=_("The value is not a list of at most {at_most} items."),
        remedy=_("Enter a list."),
    ),
}
