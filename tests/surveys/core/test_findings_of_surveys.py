"""Every finding that the service itself makes is asserted by a test: the registries of checks cover only the physics."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from tests.surveys.core.test_catalogue import SOURCES, called, keys

TESTS = Path(__file__).parents[1]
CODES = {
    key.partition("/")[0]: f"{path}:{call.lineno}"
    for path, tree in SOURCES
    if path.parts[0] == "surveys"
    for call in ast.walk(tree)
    if isinstance(call, ast.Call) and called(call) == "finding"
    for key in keys(call)
}


def compared(function: ast.FunctionDef) -> set[str]:
    """Return the texts in the assertions of a test."""
    return {
        node.value
        for statement in ast.walk(function)
        if isinstance(statement, ast.Assert)
        for node in ast.walk(statement)
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    }


ASSERTED = {
    text
    for path in TESTS.rglob("test_*.py")
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
    if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")
    for text in compared(node)
}


def test_the_findings_of_the_service_are_found() -> None:
    assert CODES.keys() >= {"log-duplicate", "limits-not-stated"}


@pytest.mark.parametrize("code", sorted(CODES))
def test_a_finding_of_the_service_is_asserted_by_a_test(code: str) -> None:
    assert code in ASSERTED, f"{CODES[code]} makes {code}; no test of the service asserts it."


def test_a_finding_that_is_only_named_beside_the_assertion_is_not_covered() -> None:
    [function] = ast.parse("def test_x():\n    code = 'made-up'\n    assert code == 'other'\n").body
    assert isinstance(function, ast.FunctionDef)
    assert compared(function) == {"other"}
