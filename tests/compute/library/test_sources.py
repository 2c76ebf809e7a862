"""Sources that readers see: each cites a publication or practice, never a web page, a program, a brand or a working note."""

from __future__ import annotations

import ast
import csv
import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from compute.base.sources import PRACTICE, Source, provenance_named
from compute.library.liquids import liquids
from compute.library.materials import solids
from compute.library.pipe_sizes import pipe_sizes
from compute.measuring.location import straight_lengths
from surveys.core.messages.citations import citation

ROOT = Path(__file__).parents[3]
DATA = ROOT / "compute" / "library" / "data"
PUBLISHED = ROOT / "fixtures" / "published"
# Web pages, shops, brands, programs: nowhere in data, whoever reads it.
ADDRESSES = (
    r"https?:", r"ftp:", r"www\.", r"\.(com|org|net|info|wiki|de|cn|cc|kr|cfm|html?|php|mo|py)\b", r"\bgithub\b", r"toolbox",
    r"\b(web ?shop|webshop|online shop|leaflet|brochure|catalogue|data sheet)\b",
    r"\b(pyrex|duralumin|plexiglas|perspex|lucite|teflon|viton|inconel|hastelloy)\b",
    r"\bfluids[ .]\d|\bfluids\.\w", r"pandapipes", r"aixlib",
)  # fmt: skip
# How a value was found and checked: only in the `verification` of a data file.
WORKING_NOTES = (
    r"\((ran|read)\)", r"\bre-read\b", r"\bmemory\b", r"\bread (at|in|elsewhere)\b", r"\ba reproduction\b", r"\bas coded in\b",
    r"\blibrary table\b", r"\bcoolprop\b", r"\bgsw\b", r"\bno source\b", r"\bsuggestions?\b", r"\bcheck[;,.]? library\b",
)  # fmt: skip
# A year, a standard with its number, or a book with its edition or section; or the statement that there is none.
CITATION = re.compile(
    r"\b(19|20)\d\d\b|\b(ISO|EN|ASTM|ASME|AWWA|API|IAPWS|JCGM|ILAC|OIML|JEMIS|NCSL)[ -](RP-|[A-Z])?\d|\bed\.|\bsection \d|\bchapter\b"
)
PRACTICE_WORDS = re.compile(
    r"no publication recorded|^(usual|typical|estimate|common practice|geometry|lengths of|smallest length)|'s (own data|certificates)"
    r"|^entered by|^pipe dimension tables|^circumference|law|parabolic|^simulation of|^standard deviation of repeat",
    re.IGNORECASE,
)


def library_sources() -> Iterator[Source]:
    for one in solids():
        yield from (
            source for source in (one.source_sound, one.source_roughness, one.source_expansion) if source
        )
    yield from (one.source for one in liquids().values())
    yield from (row.source for row in pipe_sizes())
    yield from (row.source for row in straight_lengths().values())


def constant_sources() -> Iterator[Source]:
    """Yield every source written in code as `Source("text", "provenance")`."""
    for path in sorted([*(ROOT / "compute").rglob("*.py"), *(ROOT / "surveys").rglob("*.py")]):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Source":
                match node.args:
                    case [ast.Constant(value=str(text)), ast.Constant(value=str(provenance))]:
                        yield Source(text, provenance_named(provenance))
                    case [ast.Constant(value=str(text))]:
                        yield Source(text)


SOURCES = sorted({*library_sources(), *constant_sources()}, key=lambda source: source.text)
TEXTS = sorted(
    {source.text for source in SOURCES}
    | {text for one in solids() for text in (one.title, one.note)}
    | {text for one in liquids().values() for text in (one.title, one.note)}
    | {text for row in pipe_sizes() for text in (row.standard, row.size, row.schedule, row.note)}
    | {row.title for row in straight_lengths().values()}
)
DATA_FILES = [
    path
    for folder in (DATA, PUBLISHED)
    for path in sorted(folder.iterdir())
    if path.suffix in {".csv", ".json"}
]


def rows_of(path: Path) -> list[dict[str, str]]:
    text = path.read_text(encoding="utf-8")
    if path.suffix == ".csv":
        return list(csv.DictReader(text.splitlines()))
    entries = json.loads(text)
    return list(entries.values() if isinstance(entries, dict) else entries)


def found(patterns: tuple[str, ...], text: str) -> list[str]:
    return [pattern for pattern in patterns if re.search(pattern, text, re.IGNORECASE)]


def test_the_sources_in_code_are_found() -> None:
    assert len(list(constant_sources())) >= 30


def test_no_text_that_readers_see_names_a_web_page_a_brand_a_program_or_a_working_note() -> None:
    wrong = {text: words for text in TEXTS if (words := found((*ADDRESSES, *WORKING_NOTES), text))}
    assert wrong == {}


@pytest.mark.parametrize("path", DATA_FILES, ids=lambda path: path.name)
def test_no_data_file_names_a_web_page_or_a_brand(path: Path) -> None:
    wrong = [line[:200] for line in path.read_text(encoding="utf-8").splitlines() if found(ADDRESSES, line)]
    assert wrong == []


@pytest.mark.parametrize("path", DATA_FILES, ids=lambda path: path.name)
def test_the_sources_of_a_data_file_are_free_of_working_notes(path: Path) -> None:
    for row in rows_of(path):
        for column in ("source", "sound_source", "roughness_source", "note"):
            assert found(WORKING_NOTES, row.get(column, "")) == [], row


@pytest.mark.parametrize(
    "path", [one for one in DATA_FILES if one.suffix == ".csv"], ids=lambda path: path.name
)
def test_every_row_states_how_its_values_were_checked(path: Path) -> None:
    for row in rows_of(path):
        assert row["verification"], row


def test_a_source_cites_a_publication_or_states_that_there_is_none() -> None:
    without = [
        source.text
        for source in SOURCES
        if not CITATION.search(source.text) and not PRACTICE_WORDS.search(source.text)
    ]
    assert without == []


@pytest.mark.parametrize(
    ("source", "expected"),
    [
        (Source("EN 1057, table of sizes", "published"), "EN 1057, table of sizes"),
        (Source("EN 1057, table of sizes", "derived"), "EN 1057, table of sizes; derived"),
        (
            Source("EN 1057, table of sizes", "unverified"),
            "EN 1057, table of sizes; not verified against the source",
        ),
        (Source("usual for rubber linings", "default"), "usual for rubber linings; common practice"),
        (PRACTICE, "common practice"),
    ],
)
def test_a_citation_states_the_provenance_in_words(source: Source, expected: str) -> None:
    assert citation(source) == expected


@pytest.mark.parametrize("name", ["read", "memory", "computed", "suggestion", ""])
def test_a_provenance_that_does_not_exist_is_rejected(name: str) -> None:
    with pytest.raises(ValueError, match="unknown provenance"):
        provenance_named(name)


@pytest.mark.parametrize(
    "text",
    [
        "Binder 1973 via https://example.invalid/roughness.cfm",
        "glass (Pyrex)",
        "tables as coded in a program (ran)",
        "NDT handbooks, from memory, not re-read",
    ],
)
def test_the_forbidden_words_are_found(text: str) -> None:
    assert found((*ADDRESSES, *WORKING_NOTES), text)
