"""Entries of the message catalogue, one module for each domain; a key stands in one of them only."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from importlib import import_module
from pkgutil import iter_modules

from surveys.core.messages.texts import Entry, heading


def _entries(prefix: str = "") -> Iterator[tuple[str, Mapping[str, Entry]]]:
    """The modules whose name has a prefix, with their entries."""
    for module in sorted(found.name for found in iter_modules(__path__)):
        if module.startswith(prefix):
            yield module, import_module(f"{__name__}.{module}").ENTRIES


# The module of each key, such as `findings_pipe`.
DOMAINS: dict[str, str] = {}


def _merged() -> dict[str, Entry]:
    merged: dict[str, Entry] = {}
    for module, entries in _entries():
        DOMAINS.update(dict.fromkeys(entries, module))
        if twice := merged.keys() & entries.keys():
            raise ValueError(
                f"{module} repeats entries of the message catalogue: {', '.join(sorted(twice))}."
            )
        merged |= entries
    return merged


CATALOGUE = _merged()


def finding_headings() -> dict[str, str]:
    """Every code a finding can have, with the heading of its first entry; `…` for parameters."""
    headings: dict[str, str] = {}
    for _module, entries in _entries("findings_"):
        for key, entry in entries.items():
            headings.setdefault(key.partition("/")[0], heading(entry.title))
    return dict(sorted(headings.items()))
