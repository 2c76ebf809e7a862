"""The codes of findings, safety notes and errors, explained from the message catalogue; the `type` of a problem document leads here."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from http import HTTPStatus
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _
from django.views.generic import View

from surveys.core.messages.catalogue import CATALOGUE, DOMAINS
from surveys.core.messages.severities import BACKGROUND, BAD_REQUEST, SEVERITIES, STATUSES
from surveys.core.messages.texts import Entry, Text, parts
from surveys.pages.frame import page

KINDS: dict[str, str | Promise] = {
    "finding": _("Finding"),
    "safety": _("Safety note"),
    "error": _("Error"),
    "explanation": _("Explanation"),
}
HEADINGS: dict[str, str | Promise] = {
    "finding": _("Findings"),
    "safety": _("Safety notes"),
    "error": _("Errors"),
    "explanation": _("Explanations"),
}
# By the first part of a name of a module of the catalogue; another one has explanations.
KIND_OF_DOMAIN = {"safety": "safety", "errors": "error", "constraints": "error"}
SEVERITY_TEXTS: dict[str, str | Promise] = {
    "error": _("Error: do not use the result."),
    "warning": _("Warning: check before use."),
    "info": _("Information: no action is required."),
}


class Name(int):
    """The name of a parameter in place of its value; a number, so that texts can choose their plural by it."""

    name: str

    def __new__(cls, name: str) -> Name:
        created = super().__new__(cls, 2)
        created.name = name
        return created

    def __format__(self, spec: str) -> str:
        return f"[{self.name.replace('_', ' ')}]"


@dataclass(frozen=True, slots=True)
class Variant:
    """The texts of one entry, with the names of parameters in place of their values."""

    titles: list[str]
    details: list[str]
    remedies: list[str]


def texts_of(text: Text) -> list[str]:
    """Every text that an entry can show, each once."""
    return list(dict.fromkeys(_with_names(part) for _under, part in parts(text)))


def _with_names(text: Any) -> str:
    names = {"count": Name("count")}
    while True:
        try:
            return str(text.format(**names))
        except KeyError as missing:
            names[missing.args[0]] = Name(missing.args[0])


@cache
def entries_by_code() -> dict[str, list[Entry]]:
    """The entries of each code, that of the code itself before its variants."""
    found: dict[str, list[Entry]] = {}
    for key in sorted(CATALOGUE):
        found.setdefault(key.partition("/")[0], []).append(CATALOGUE[key])
    return found


@cache
def kind_of(code: str) -> str:
    """Whether a code is that of a finding, a safety note or an error; any other one is an explanation."""
    if code in SEVERITIES:
        return "finding"
    domain = next(domain for key, domain in DOMAINS.items() if key.partition("/")[0] == code)
    if code in STATUSES:
        return "error"
    return KIND_OF_DOMAIN.get(domain.partition("_")[0], "explanation")


def statuses_of(code: str) -> tuple[int, ...]:
    """The HTTP statuses of the responses that have the code of an error; none of a failure in the background."""
    if kind_of(code) != "error" or code in BACKGROUND:
        return ()
    return STATUSES.get(code, (BAD_REQUEST,))


def variants_of(code: str) -> Iterator[Variant]:
    """The texts of a code, entry by entry."""
    for entry in entries_by_code()[code]:
        yield Variant(texts_of(entry.title), texts_of(entry.detail), texts_of(entry.remedy))


class CodeList(View):
    """All codes."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """The codes by kind, each with its title."""
        groups: dict[str, list[tuple[str, str]]] = {kind: [] for kind in KINDS}
        for code, entries in entries_by_code().items():
            groups[kind_of(code)].append((code, texts_of(entries[0].title)[0]))
        shown = [(HEADINGS[kind], codes) for kind, codes in groups.items() if codes]
        return page(request, "help/codes.html", {"groups": shown})


class CodePage(View):
    """One code."""

    def get(self, request: HttpRequest, code: str) -> HttpResponse:
        """What the code means and what to do, for each of its variants."""
        if code not in entries_by_code():
            raise Http404
        kind = kind_of(code)
        context = {
            "code": code,
            "kind": KINDS[kind],
            "severities": [SEVERITY_TEXTS[one] for one in SEVERITIES.get(code, ())],
            "statuses": [f"{one} {HTTPStatus(one).phrase}" for one in statuses_of(code)],
            "in_background": code in BACKGROUND,
            "variants": list(variants_of(code)),
        }
        return page(request, "help/code.html", context)
