"""Entries of the message catalogue, one module for each domain; a key stands in one of them only."""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module
from pkgutil import iter_modules

from surveys.core.messages.texts import Entry

# The module of each key, such as `findings_pipe`.
DOMAINS: dict[str, str] = {}


def _merged() -> dict[str, Entry]:
    merged: dict[str, Entry] = {}
    for module in sorted(found.name for found in iter_modules(__path__)):
        entries: Mapping[str, Entry] = import_module(f"{__name__}.{module}").ENTRIES
        DOMAINS.update(dict.fromkeys(entries, module))
        if twice := merged.keys() & entries.keys():
            raise ValueError(
                f"{module} repeats entries of the message catalogue: {', '.join(sorted(twice))}."
            )
        merged |= entries
    return merged


CATALOGUE = _merged()
