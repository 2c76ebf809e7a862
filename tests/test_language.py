"""The language of what people read: no word that the language guide replaces."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from drf_spectacular.generators import SchemaGenerator

from surveys.core.messages.catalogue import CATALOGUE
from surveys.core.messages.texts import Entry, parts

ROOT = Path(__file__).parents[1]
TEMPLATES = sorted((ROOT / "surveys" / "templates").rglob("*.html"))
SCRIPTS = sorted((ROOT / "surveys" / "static").rglob("*.js"))
DOCUMENTS = sorted((ROOT / "surveys" / "documents").glob("*.typ"))
DOCUMENTATION = [ROOT / "README.md", ROOT / "DEVELOPERS.md"]

# What is written instead stands beside each.
BANNED = {
    r"\bdoubts?\b|\bin doubt\b|\bdoubtful\b": "uncertainty; affected, under review",
    r"\btold\b|\btells?\b(?! someone)": "notified; shows; states",
    r"\banew\b|\bafresh\b": "again",
    r"\brests? on\b|\brested on\b": "is based on",
    r"\bput right\b": "corrected",
    r"\b(came|comes?|come) to\b(?! an end)": "result",
    r"\bworked out\b|\bworks? out\b": "calculated",
    r"\btak(e|es|en|ing) in\b|\btook in\b": "import",
    r"\bholds? (from|to)\b": "valid from, valid until",
    r"\bendanger\w*": "at risk, conflict",
    r"\bgaug(ed|ing)\b|\bgauge (it|the wall|at)\b": "measure the wall thickness",
    r"\btape it\b|\btaped\b": "measure the circumference",
    r"\bstretch(es)?\b": "segment",
    r"\brefus(e|es|ed|al|als|ing)\b": "rejected, not accepted",
    r"\bstraight pipe\b": "straight length",
    r"\bscatter\b": "repeatability, standard deviation",
    r"\blopsided\b": "asymmetric",
    r"\bhow sure\b": "measurement uncertainty",
    r"(?<!there )\b(is|are|was|were) no (?!longer|more)\w+": "is not a",
    r"\bis not (below|above) 0\b": "must not be negative, must be positive",
    r"\bcannot be meant\b": "is not possible; check the value",
    r"\bleft out:": "default:",
    r"\bhardly\b": "not significantly",
    r"\bbettered\b": "improved",
    r"\bre-read\b|\(ran\)": "not verified against the source",
    r"\bparted by\b": "separated by",
    r"\bmeanwhile\b": "since you opened it",
    r"\boff-the-rail\b|\bmisfit\b|\bslips?\b": "mismatch; wrong entry",
    r"\bdegC\b|\bdegF\b|\+-|\bm3/h\b": "°C, ±, m³/h",
    r"\b\w+\(s\)": "both singular and plural",
}
# Names of the units that the API accepts and answers with, of codes and of fields stand in code spans or quotes.
CODE = re.compile(r"```.*?```|`[^`]*`|<code>.*?</code>|\"[^\"\n]*\"", re.DOTALL)


def texts(entry: Entry) -> list[str]:
    """The plain texts of an entry of the catalogue, singular and plural."""
    return [
        text
        for part in (entry.title, entry.detail, entry.remedy)
        for _, one in parts(part)
        for text in forms(one)
    ]


def forms(text: Any) -> list[str]:
    """A text, or both forms of one with a plural."""
    try:
        return [str(text)]
    except KeyError:
        return [str(text % {"count": 1}), str(text % {"count": 2})]


def banned_in(text: str) -> list[str]:
    """The banned words of a text, each with what to write instead."""
    return [
        f"{match.group(0)!r} -> {instead}: ...{text[max(match.start() - 40, 0) : match.end() + 40]!r}..."
        for pattern, instead in BANNED.items()
        for match in re.finditer(pattern, text, re.IGNORECASE)
    ]


def test_the_guard_finds_a_banned_word() -> None:
    assert banned_in("The result rests on a gauged wall.")
    assert banned_in("The result is based on a measured wall.") == []


@pytest.mark.parametrize("key", sorted(CATALOGUE))
def test_no_message_has_a_banned_word(key: str) -> None:
    assert [found for text in texts(CATALOGUE[key]) for found in banned_in(text)] == []


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: str(path.relative_to(ROOT)))
def test_no_page_has_a_banned_word(path: Path) -> None:
    text = re.sub(
        r"\{#.*?#\}|\{% comment %\}.*?\{% endcomment %\}",
        "",
        path.read_text(encoding="utf-8"),
        flags=re.DOTALL,
    )
    tags = re.compile(r"\{% (?!translate|blocktranslate)[^%]*%\}|\{\{.*?\}\}|<[^>]*>", re.DOTALL)
    assert banned_in(tags.sub(" ", text)) == []


@pytest.mark.parametrize("path", SCRIPTS, ids=lambda path: path.name)
def test_no_text_of_a_script_has_a_banned_word(path: Path) -> None:
    shown = re.findall(r"gettext\(\s*([\"'`])(.*?)\1", path.read_text(encoding="utf-8"), re.DOTALL)
    assert [found for _, text in shown for found in banned_in(re.sub(r"%\(\w+\)s", "", text))] == []


@pytest.mark.parametrize("path", DOCUMENTS, ids=lambda path: path.name)
def test_no_template_of_a_document_has_a_banned_word(path: Path) -> None:
    assert banned_in(re.sub(r"//.*", "", path.read_text(encoding="utf-8"))) == []


@pytest.mark.parametrize("path", DOCUMENTATION, ids=lambda path: path.name)
def test_the_documentation_has_no_banned_word(path: Path) -> None:
    assert banned_in(CODE.sub(" ", path.read_text(encoding="utf-8"))) == []


def descriptions(node: Any) -> Iterator[str]:
    """All texts of a schema that people read."""
    if isinstance(node, dict):
        for name, value in node.items():
            if name in {"description", "summary", "title"} and isinstance(value, str):
                yield value
            else:
                yield from descriptions(value)
    elif isinstance(node, list):
        for value in node:
            yield from descriptions(value)


def test_the_schema_has_no_banned_word() -> None:
    schema = SchemaGenerator().get_schema(request=None, public=True)
    assert sorted({found for text in descriptions(schema) for found in banned_in(CODE.sub(" ", text))}) == []
