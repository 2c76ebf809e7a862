"""The table of severities and statuses against every call that makes a finding or raises an error."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from http import HTTPStatus

from surveys.core import errors as rejections
from surveys.core.messages.catalogue import CATALOGUE, DOMAINS
from surveys.core.messages.severities import BACKGROUND, SEVERITIES, STATUSES
from surveys.pages.help.codes import statuses_of
from tests.surveys.core.test_catalogue import CALLS, ERRORS, called, constants, keys

CODES = {key.partition("/")[0] for key in CATALOGUE}
DOMAINS_OF = {key.partition("/")[0]: domain for key, domain in DOMAINS.items()}
STATUS_OF_CALL = {
    "ServiceError": rejections.ServiceError.status,
    "NotAllowed": rejections.NotAllowed.status,
    "Conflict": rejections.Conflict.status,
    "rejection": 400,
    "model_error": 400,
} | dict.fromkeys(ERRORS, 400)
# Findings whose key or severity is a variable, with what the variable can be.
VARIABLE = {
    "nominal-size-as-outer-diameter": {"warning"},
    "nominal-size-or-outer-diameter": {"info"},
    "rows-rejected": {"warning", "info"},
    "sound-speed-inconsistent": {"error", "warning"},
    "suspect-entry": {"info"},
}


def codes_of(call: ast.Call) -> list[str]:
    return [key.partition("/")[0] for key in keys(call)]


def emitted_severities() -> dict[str, set[str]]:
    found = {code: set(severities) for code, severities in VARIABLE.items()}
    for where, call in CALLS:
        if called(call) == "finding":
            for code in codes_of(call):
                severities = constants(call.args[1])
                assert severities or code in VARIABLE, f"{where}: add the severities of {code}."
                found.setdefault(code, set()).update(severities)
    return found


def raised() -> Iterator[tuple[str, str, int]]:
    for where, call in CALLS:
        if called(call) in STATUS_OF_CALL:
            yield from ((where, code, STATUS_OF_CALL[called(call)]) for code in codes_of(call))


def test_every_finding_is_in_the_table_with_exactly_its_severities() -> None:
    assert {code: set(severities) for code, severities in SEVERITIES.items()} == emitted_severities()


def test_every_error_that_is_raised_has_its_status_in_the_table() -> None:
    wrong = [
        f"{where}: {code} {status}" for where, code, status in raised() if status not in statuses_of(code)
    ]
    # A code of a finding that is also raised is described as a finding.
    assert [one for one in wrong if one.split()[1] not in SEVERITIES] == []


def test_every_row_of_the_table_has_an_entry_and_possible_statuses() -> None:
    assert SEVERITIES.keys() | STATUSES.keys() | BACKGROUND <= CODES
    for code, statuses in STATUSES.items():
        assert statuses != (400,) or not DOMAINS_OF[code].startswith("errors"), code
        assert list(statuses) == sorted({HTTPStatus(one) for one in statuses}), code
