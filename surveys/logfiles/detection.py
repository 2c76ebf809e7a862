"""A layout proposed from the beginning of a file, with reasons and doubts. It is shown to a person, never taken in silence."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC

from surveys.core.errors import ServiceError
from surveys.logfiles.column_detection import columns_of
from surveys.logfiles.columns import SUFFICIENT
from surveys.logfiles.columns_plan import plan_of
from surveys.logfiles.format import MAX_COLUMNS, MAX_NO_VALUES, PLAIN, LogFormat
from surveys.logfiles.parquet_reader import MAGIC
from surveys.logfiles.text_detection import MARK_NAMES, Sheet, encoding_of, lines_of, sheet_of

HEAD_BYTES = 65_536


@dataclass(frozen=True, slots=True)
class Detection:
    """A layout to look at: what speaks for it, and what cannot be told from the file. Without doubts it fits the plain one."""

    log_format: LogFormat
    reasons: tuple[str, ...]
    warnings: tuple[str, ...]


def detect_format(head: bytes) -> Detection:
    """Propose a log format from the first bytes of a file; the same bytes give the same proposal."""
    head = head[:HEAD_BYTES]
    if head.startswith(MAGIC):
        reasons = ("The file begins as a Parquet file does.",)
        warning = "Parquet names its columns at the end of the file; say which of them are which quantities."
        return Detection(LogFormat(form="parquet"), reasons, (warning,))
    encoding, why, warning = encoding_of(head)
    sheet = sheet_of(lines_of(head, encoding))
    if sheet is None:
        warnings = [warning, "No rows of readings were recognised; is this the logger's file?"]
        return Detection(replace(PLAIN, encoding=encoding), (why,), tuple(d for d in warnings if d))
    if encoding == "utf-8" and _is_plain(sheet):
        return Detection(PLAIN, (why, "The header names its columns the plain way."), ())
    return _proposed(sheet, encoding, [why], [warning] if warning else [])


def _proposed(sheet: Sheet, encoding: str, reasons: list[str], warnings: list[str]) -> Detection:
    reasons.append(
        f"The columns are parted by {MARK_NAMES[sheet.delimiter]}, as {len(sheet.rows)} rows alike show."
    )
    if sheet.decimal_mark == ",":
        reasons.append("Numbers have a decimal comma.")
    if sheet.comma_is_both:
        warnings.append(
            "Rows have more cells than the header: commas seem to be decimal marks as well. Such a file cannot be read with certainty."
        )
    if sheet.header_line is not None:
        reasons.append(f"Line {sheet.header_line} names the columns.")
    found = columns_of(sheet)
    names = {column.name for column in found.columns}
    serves = any(need <= names for need in SUFFICIENT) and len(sheet.rows[0]) <= MAX_COLUMNS
    if not serves:
        warnings.append(
            "Not all columns a log needs were recognised: transit_time and time_difference, or flow_velocity, or volume_flow."
        )
    log_format = LogFormat(
        encoding=encoding,
        delimiter=sheet.delimiter,
        decimal_mark=sheet.decimal_mark,
        header_line=sheet.header_line,
        skip_after_header=len(sheet.between),
        no_value=tuple(found.no_value[:MAX_NO_VALUES]),
        time=found.time,
        columns=tuple(found.columns),
    )
    return Detection(_sound(log_format), tuple(reasons + found.reasons), tuple(warnings + found.warnings))


def _sound(log_format: LogFormat) -> LogFormat:
    """The layout if it is one that can be stored, else as much of it as can."""
    for candidate in (
        log_format,
        replace(log_format, columns=()),
        replace(log_format, columns=(), time=PLAIN.time),
    ):
        try:
            candidate.check()
        except ServiceError:
            continue
        return candidate
    return replace(
        PLAIN,
        encoding=log_format.encoding,
        delimiter=log_format.delimiter,
        decimal_mark=log_format.decimal_mark,
    )


def _is_plain(sheet: Sheet) -> bool:
    if sheet.header_line != 1 or sheet.between or sheet.decimal_mark != ".":
        return False
    try:
        plan_of(PLAIN, sheet.delimiter, sheet.header, UTC, None)
    except ServiceError:
        return False
    return sheet.delimiter in ",;\t"
