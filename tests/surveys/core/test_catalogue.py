"""Every message that the code emits has an entry in the catalogue, every entry is emitted, and placeholders are among the parameters."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass
from inspect import isclass
from pathlib import Path
from typing import Any

import pytest

from compute.base import errors
from surveys.core import errors as rejections
from surveys.core.messages.catalogue import CATALOGUE
from surveys.core.messages.texts import parts

ROOT = Path(__file__).parents[3]
KEY = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*(/[a-z0-9]+(-[a-z0-9]+)*)?")
REJECTIONS = {
    name
    for name, found in vars(rejections).items()
    if isclass(found) and issubclass(found, rejections.ServiceError)
}
# Functions and errors whose first argument is a key.
KEYED = {"finding", "safety_note", "message", "rejection", "model_error"} | REJECTIONS
ERRORS = {
    name: found.code
    for name, found in vars(errors).items()
    if isclass(found) and issubclass(found, errors.ComputeError)
}
# Keywords that are not parameters of the message.
ASIDE = {"source", "variant", "field"}
IMPLIED = {"units"}
TEXTS = ("title", "detail", "remedy")


@dataclass(frozen=True)
class Emitted:
    """A call that emits a message; `names` is None where parameters come from a mapping."""

    where: str
    key: str
    names: frozenset[str] | None


def sources() -> Iterator[tuple[Path, ast.Module]]:
    for package in ("compute", "surveys"):
        for path in (ROOT / package).rglob("*.py"):
            if "catalogue" not in path.parts[:-1] or "messages" not in path.parts:
                yield path.relative_to(ROOT), ast.parse(path.read_text(encoding="utf-8"))


def constants(node: ast.expr) -> list[str]:
    """The texts that an argument can be: a constant, or one of two."""
    if isinstance(node, ast.IfExp):
        return [*constants(node.body), *constants(node.orelse)]
    return [node.value] if isinstance(node, ast.Constant) and isinstance(node.value, str) else []


def called(call: ast.Call) -> str:
    return call.func.id if isinstance(call.func, ast.Name) else getattr(call.func, "attr", "")


def keys(call: ast.Call) -> list[str]:
    name = called(call)
    given = {keyword.arg: keyword.value for keyword in call.keywords}
    if name in ERRORS:
        variants = constants(given["variant"]) if "variant" in given else [""]
        return [f"{ERRORS[name]}/{variant}" if variant else ERRORS[name] for variant in variants]
    return constants(call.args[0]) if name in KEYED and call.args else []


def names(call: ast.Call) -> frozenset[str] | None:
    given = {keyword.arg for keyword in call.keywords}
    if None in given:
        return None
    implied = IMPLIED | ({"quantity"} if "field" in given else set())
    if getattr(call.func, "id", "") == "UnknownName":
        implied |= {"suggestions"}
    if getattr(call.func, "id", "") == "TotalReflection":
        implied |= {"critical_angle", "sound_speed", "axial_speed"}
    return frozenset(name for name in given if name and name not in ASIDE) | implied


SOURCES = list(sources())
EMITTED = [
    Emitted(f"{path}:{node.lineno}", key, names(node))
    for path, tree in SOURCES
    for node in ast.walk(tree)
    if isinstance(node, ast.Call)
    for key in keys(node)
]
# Keys of tables and of choices stand anywhere in the code.
WRITTEN = {
    node.value
    for _, tree in SOURCES
    for node in ast.walk(tree)
    if isinstance(node, ast.Constant) and isinstance(node.value, str)
} | {one.key for one in EMITTED}


CALLS = [
    (f"{path}:{node.lineno}", node)
    for path, tree in SOURCES
    for node in ast.walk(tree)
    if isinstance(node, ast.Call) and called(node) in KEYED | set(ERRORS)
]


def faults(call: ast.Call) -> Iterator[str]:
    if called(call) in ERRORS:
        if call.args:
            yield "an error of the physics has its key from its class and its variant"
        return
    if not call.args:
        yield "it has no key"
        return
    if any(keyword.arg == "code" for keyword in call.keywords):
        yield "it has a code beside its key"
    if isinstance(call.args[0], ast.JoinedStr | ast.BinOp):
        yield "it composes its key"
    yield from (f"{key!r} is not a key" for key in constants(call.args[0]) if not KEY.fullmatch(key))


def test_every_message_is_emitted_by_a_key_and_parameters() -> None:
    assert len(CALLS) > 500
    assert not [f"{where}: {fault}" for where, call in CALLS for fault in faults(call)]


@pytest.mark.parametrize(
    "call",
    [
        "Conflict('It has a log already.')",
        "ServiceError('no-log', code='no-log')",
        "ServiceError(f'no-{what}')",
        "OutOfRange('It is too large.')",
        "finding()",
    ],
)
def test_sentences_and_composed_keys_are_faults(call: str) -> None:
    [statement] = ast.parse(call).body
    assert isinstance(statement, ast.Expr)
    assert isinstance(statement.value, ast.Call)
    assert list(faults(statement.value))


class Anything(int):
    """A value that every text can format, a count too."""

    def __format__(self, spec: str) -> str:
        return "x"


def requested(text: Any) -> set[str]:
    """The placeholders of a text, found by asking for them one after the other."""
    given: dict[str, Any] = {"count": Anything(2)}
    found: set[str] = set()
    while True:
        try:
            text.format(**given)
        except KeyError as missing:
            given[missing.args[0]] = Anything(2)
            found.add(missing.args[0])
        else:
            return found | ({"count"} if "{count" in text.format(**given | {"count": Seen()}) else set())


class Seen(Anything):
    def __new__(cls) -> Seen:
        return super().__new__(cls, 2)

    def __format__(self, spec: str) -> str:
        return "{count"


@pytest.mark.parametrize("one", EMITTED, ids=lambda one: f"{one.key} {one.where}")
def test_every_emitted_message_has_an_entry_with_its_placeholders_given(one: Emitted) -> None:
    entry = CATALOGUE.get(one.key)
    assert entry, f"{one.where} emits {one.key}, which has no entry."
    if one.names is None:
        return
    for name in TEXTS:
        for under, text in parts(getattr(entry, name)):
            if under <= one.names:
                assert requested(text) <= one.names, (
                    f"{one.where}: {name} of {one.key} asks for more than is given."
                )


@pytest.mark.parametrize("key", sorted(CATALOGUE))
def test_every_entry_is_emitted(key: str) -> None:
    assert key in WRITTEN, f"Nothing emits {key}."


@pytest.mark.parametrize("key", sorted(CATALOGUE))
def test_every_condition_of_a_text_is_given_by_some_emitter(key: str) -> None:
    calls = [one for one in EMITTED if one.key == key]
    if not calls or any(one.names is None for one in calls):
        return
    given = frozenset().union(*(one.names or () for one in calls))
    if key == "out-of-range":  # serves any limits
        given |= {"above", "below", "at_least", "at_most", "value"}
    for name in TEXTS:
        for under, _text in parts(getattr(CATALOGUE[key], name)):
            assert under <= given, f"{name} of {key} waits for {sorted(under - given)}."


@pytest.mark.parametrize("key", sorted(CATALOGUE))
def test_an_entry_has_texts_of_complete_sentences_and_a_title_without_a_full_stop(key: str) -> None:
    entry = CATALOGUE[key]
    assert list(parts(entry.title))
    assert list(parts(entry.detail)) or list(parts(entry.remedy))
    for _, title in parts(entry.title):
        assert not str(title).endswith((".", ":"))
        assert len(str(title).split()) <= 9
    for name in ("detail", "remedy"):
        for _, text in parts(getattr(entry, name)):
            if str(text).strip("{}").isidentifier():
                continue  # a message within the message, with sentences of its own
            assert text.format(**{one: Anything(2) for one in requested(text) | {"count"}}).endswith(
                (".", "?")
            )
