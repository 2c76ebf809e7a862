"""The documentation of the physics is complete: form checked against signature and body."""

from __future__ import annotations

import ast
import inspect
import re
from pathlib import Path

import pytest

COMPUTE = Path(__file__).parents[1] / "compute"
# Formulas and checks carry the form; these modules hold none and say in prose what they do. A new module has to carry it.
PROSE_MODULES = {
    "base.errors": "classes of errors",
    "base.messages": "the record of a message",
    "base.sources": "the record of a source",
    "base.unit_table": "names of units, no formula",
    "base.units": "the parser of text with a unit",
}
# Packages of scripts and of algorithms, described in prose.
PROSE_PACKAGES = ("library.data.", "planning.")


def module_name(path: Path) -> str:
    return ".".join(path.relative_to(COMPUTE).with_suffix("").parts)


MODULES = {module_name(path) for path in COMPUTE.rglob("*.py") if path.stem != "__init__"}
FORMULA_MODULES = sorted(
    name
    for name in MODULES - PROSE_MODULES.keys()
    if not name.startswith(PROSE_PACKAGES) or name == "planning.distance"
)


def public_functions() -> list[tuple[str, ast.FunctionDef]]:
    return [
        (module, node)
        for module in FORMULA_MODULES
        for node in ast.parse((COMPUTE / f"{module.replace('.', '/')}.py").read_text(encoding="utf-8")).body
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_")
    ]


def sections(node: ast.FunctionDef) -> dict[str, str]:
    text = inspect.cleandoc(ast.get_docstring(node, clean=True) or "")
    parts = re.split(r"^(\w+)\n-{3,}\n", text, flags=re.MULTILINE)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


def named(section: str) -> set[str]:
    """Names that begin an entry of a section, at the left margin."""
    return set(re.findall(r"^(\w+)", section, flags=re.MULTILINE))


def parameters(node: ast.FunctionDef) -> set[str]:
    given = [
        *node.args.posonlyargs,
        *node.args.args,
        *node.args.kwonlyargs,
        node.args.vararg,
        node.args.kwarg,
    ]
    return {argument.arg for argument in given if argument}


FUNCTIONS = public_functions()
IDS = [f"{module}.{node.name}" for module, node in FUNCTIONS]
ALL = pytest.mark.parametrize("node", [node for _, node in FUNCTIONS], ids=IDS)


def test_there_are_functions_to_check() -> None:
    assert len(FUNCTIONS) > 50


def test_only_modules_that_exist_are_let_off_the_form() -> None:
    assert PROSE_MODULES.keys() <= MODULES


@ALL
def test_every_parameter_is_documented_and_every_documented_one_exists(node: ast.FunctionDef) -> None:
    assert named(sections(node).get("Parameters", "")) == parameters(node)


@ALL
def test_every_value_has_a_source(node: ast.FunctionDef) -> None:
    assert sections(node).get("Source", "").strip()


@ALL
def test_return_values_are_documented(node: ast.FunctionDef) -> None:
    returns = node.returns is not None and ast.unparse(node.returns) != "None"
    assert ("Returns" in sections(node)) == (returns and bool(parameters(node)))


@ALL
def test_every_error_raised_is_documented(node: ast.FunctionDef) -> None:
    raised = {
        child.exc.func.id
        for child in ast.walk(node)
        if isinstance(child, ast.Raise)
        and isinstance(child.exc, ast.Call)
        and isinstance(child.exc.func, ast.Name)
    }
    assert {name for name in raised if not name.startswith("_")} <= named(sections(node).get("Raises", ""))


@pytest.mark.parametrize("module", sorted(MODULES))
def test_every_public_name_has_a_docstring(module: str) -> None:
    tree = ast.parse((COMPUTE / f"{module.replace('.', '/')}.py").read_text(encoding="utf-8"))
    public = [
        node
        for node in tree.body
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_")
    ]
    assert ast.get_docstring(tree)
    assert [node.name for node in public if not ast.get_docstring(node)] == []
