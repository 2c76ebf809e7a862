"""Errors of uploaded tables, CSV or XLSX."""

from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext_lazy

from surveys.core.messages.texts import Entry, when

ENTRIES = {
    "file-too-large/table": Entry(
        title=_("File too large"),
        detail=_("The file is larger than {most_mb} MB."),
        remedy=_("Upload the table in several files."),
    ),
    "file-too-large/unzipped": Entry(
        title=_("File too large"),
        detail=_("The contents of the XLSX file are larger than {most_mb} MB."),
        remedy=_("Upload the table in several files."),
    ),
    "row-too-long": Entry(
        title=_("Row too long"),
        detail=_("Row {row:d} has more cells than the header has columns."),
        remedy=_("Correct the row or the header."),
    ),
    "row-too-long/limits": Entry(
        title=_("Row too long"),
        detail=_("A row has more than {columns} cells, or a cell has more than {characters} characters."),
        remedy=_("Check that the file is the intended table."),
    ),
    "too-many-rows": Entry(
        title=_("Too many rows"),
        detail=ngettext_lazy(
            "The table has more than {count} row.", "The table has more than {count} rows.", "count"
        ),
        remedy=_("Upload the table in several files."),
    ),
    "no-rows": Entry(
        title=_("Table empty"),
        detail=_("The table has no rows below the header."),
        remedy=_("Enter at least one row."),
    ),
    "columns-unknown": Entry(
        title=_("Header not valid"),
        detail=(
            _("The first line must contain the names of the columns."),
            when("unknown", _("Unknown columns: {unknown}.")),
        ),
        remedy=_("Available columns: {known}."),
    ),
    "duplicate-column": Entry(
        title=_("Duplicate column"),
        detail=_("The header contains the same column more than once."),
        remedy=_("Remove the repeated column."),
    ),
    "file-not-text": Entry(
        title=_("File format not supported"),
        detail=_("The file is neither XLSX nor UTF-8 text."),
        remedy=_("Save the table as XLSX or as CSV in UTF-8."),
    ),
    "csv-invalid": Entry(
        title=_("CSV not readable"),
        detail=_("The CSV file cannot be read."),
        remedy=_("Check the quotation marks and delimiters."),
    ),
    "xlsx-invalid": Entry(
        title=_("XLSX not readable"),
        detail=_("The XLSX file is damaged or not a workbook."),
        remedy=_("Save the workbook again and upload the new file."),
    ),
}
