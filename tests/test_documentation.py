"""Names in README.md and DEVELOPERS.md: paths, modules, files and identifiers in backticks exist."""

from __future__ import annotations

import re
from functools import cache
from importlib.util import find_spec
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
DOCUMENTS = ("README.md", "DEVELOPERS.md")
PACKAGES = ("compute", "surveys", "tests")
FENCED = re.compile(r"^```.*?^```$", re.M | re.S)
SPAN = re.compile(r"`([^`]+)`")
PATH = re.compile(r"(?:compute|surveys|tests|fixtures|\.ci)/[\w./-]*")
MODULE = re.compile(r"(?:compute|surveys|tests)(?:\.[A-Za-z_]\w*)+")
FILE_NAME = re.compile(r"[\w-]+\.(?:css|csv|html|js|json|lock|md|py|svg|toml|typ|yml)")
# A name with an underscore or with a capital inside; a plain word may be a value or a command.
IDENTIFIER = re.compile(r"[A-Za-z_]\w*_\w+|_\w+|[A-Z]\w*[a-z]\w*[A-Z]\w*|[A-Z]{2,}[A-Z_]*")

# Names of Django that the project does not use yet.
DJANGO = {"db_default"}


def spans(document: str) -> list[str]:
    """Return the code spans of a document outside of code blocks."""
    text = FENCED.sub("", (ROOT / document).read_text(encoding="utf-8"))
    return [span for line in text.split("\n\n") for span in SPAN.findall(line)]


def words(document: str) -> list[str]:
    """Return the words of all code spans of a document."""
    return [word for span in spans(document) for word in span.split()]


@cache
def files() -> tuple[str, ...]:
    """Return the paths of all files of the project, relative to its root."""
    tops = [path for path in ROOT.iterdir() if path.is_file()]
    inside = [
        path for top in (*PACKAGES, "fixtures", ".ci") for path in (ROOT / top).rglob("*") if path.is_file()
    ]
    return tuple(str(path.relative_to(ROOT)) for path in (*tops, *inside) if "__pycache__" not in path.parts)


@cache
def identifiers() -> frozenset[str]:
    """Return every identifier in the code, templates, scripts and settings."""
    found: set[str] = set()
    for name in files():
        if name.endswith((".py", ".js", ".html", ".toml", ".yml", ".typ")):
            found |= set(re.findall(r"\w+", (ROOT / name).read_text(encoding="utf-8")))
    return frozenset(found)


def module_exists(name: str) -> bool:
    """Whether a dotted name is a module, or a name inside one."""
    module, _, member = name.rpartition(".")
    if not module:
        return False
    try:
        if find_spec(name) is not None:
            return True
    except ModuleNotFoundError:
        pass
    path = ROOT / (module.replace(".", "/") + ".py")
    return path.exists() and re.search(rf"\b{member}\b", path.read_text(encoding="utf-8")) is not None


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_path_exists(document: str) -> None:
    named = [word for word in words(document) if PATH.fullmatch(word)]
    assert [path for path in named if not (ROOT / path).exists()] == []


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_module_exists(document: str) -> None:
    named = [word for word in words(document) if MODULE.fullmatch(word) and not FILE_NAME.fullmatch(word)]
    assert [name for name in named if not module_exists(name)] == []


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_file_name_exists(document: str) -> None:
    names = {Path(path).name for path in files()}
    named = [word for word in words(document) if FILE_NAME.fullmatch(word)]
    assert [name for name in named if name not in names] == []


def test_every_identifier_in_developers_md_exists() -> None:
    named = {span.split("=")[0] for span in spans("DEVELOPERS.md")} - DJANGO
    missing = sorted(name for name in named if IDENTIFIER.fullmatch(name) and name not in identifiers())
    assert missing == []


def test_every_name_is_in_the_file_that_developers_md_gives() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    named = [(name, ROOT / path) for name, path in re.findall(r"`(\w+)`\s+(?:in|of)\s+`([\w./]+)`", text)]
    named = [(name, path) for name, path in named if path.is_file()]
    assert len(named) > 5
    missing = [
        (name, path.name)
        for name, path in named
        if not re.search(rf"\b{name}\b", path.read_text(encoding="utf-8"))
    ]
    assert missing == []


@pytest.mark.parametrize("package", ["compute", "surveys"])
def test_the_layout_names_every_folder(package: str) -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    block = re.search(rf"^    {package}/\n((?:      .*\n)+)", text, re.M)
    assert block is not None
    named = set(re.findall(r"^      ((?:\w+/ )*\w+/)(?: |$)", block[1], re.M))
    folders = {folder.rstrip("/") for names in named for folder in names.split()}
    in_tree = {
        Path(path).parts[1] for path in files() if path.startswith(f"{package}/") and path.count("/") > 1
    }
    assert folders == in_tree
