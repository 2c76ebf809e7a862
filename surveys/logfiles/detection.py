"""Detection of a log format from the beginning of a file, with reasons and warnings, for a person to confirm."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC

from compute.base.messages import Message, message, term
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
    """A proposed log format with its reasons, and warnings on what the file does not show."""

    log_format: LogFormat
    reasons: tuple[Message, ...]
    warnings: tuple[Message, ...]


def detect_format(head: bytes) -> Detection:
    """Propose a log format from the first bytes of a file; the same bytes give the same proposal."""
    head = head[:HEAD_BYTES]
    if head.startswith(MAGIC):
        reasons = (message("parquet-detected"),)
        return Detection(LogFormat(form="parquet"), reasons, (message("parquet-columns-unknown"),))
    encoding, why, warning = encoding_of(head)
    warnings = [warning] if warning else []
    sheet = sheet_of(lines_of(head, encoding))
    if sheet is None:
        return Detection(replace(PLAIN, encoding=encoding), (why,), (*warnings, message("no-rows-detected")))
    if encoding == "utf-8" and _is_plain(sheet):
        return Detection(PLAIN, (why, message("plain-header-detected")), ())
    return _proposed(sheet, encoding, [why], warnings)


def _proposed(sheet: Sheet, encoding: str, reasons: list[Message], warnings: list[Message]) -> Detection:
    delimiter = term(MARK_NAMES[sheet.delimiter])
    reasons.append(message("delimiter-detected", delimiter=delimiter, count=len(sheet.rows)))
    if sheet.decimal_mark == ",":
        reasons.append(message("decimal-comma-detected"))
    if sheet.comma_is_both:
        warnings.append(message("decimal-comma-ambiguous"))
    if sheet.header_line is not None:
        reasons.append(message("header-detected", line=sheet.header_line))
    found = columns_of(sheet)
    names = {column.name for column in found.columns}
    serves = any(need <= names for need in SUFFICIENT) and len(sheet.rows[0]) <= MAX_COLUMNS
    if not serves:
        warnings.append(message("columns-not-detected"))
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
    """The log format if it is valid, else as much of it as is valid."""
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
