"""Every plausibility check is registered, and every registered check is run by its stage."""

from __future__ import annotations

import ast
import pkgutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import date
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import compute
from compute.base.checks import Checks
from compute.base.messages import Finding, finding
from compute.logs.checks import LOG_CHECKS, SECOND, LogCheck
from compute.logs.segments import Segment
from compute.measuring.entries import MaterialEntry
from compute.measuring.flow import times_from_mean_velocity
from compute.measuring.location import Place
from compute.measuring.wall import WALL_CHECKS, Wall
from compute.results.checks_of_results import FLOW_CHECKS, RESULT_CHECKS
from compute.results.checks_of_setups import SETUP_CHECKS, SetupCase
from compute.results.occasion import InstrumentDay, Occasion
from compute.results.reduction import Readings, reduce_log
from compute.results.survey import calculate_setup
from tests.compute.cases import PAIR, PIPE, STATED, WATER, transducers

ROOT = Path(compute.__file__).parents[1]
MODULES = [
    one.name
    for one in pkgutil.walk_packages(compute.__path__, "compute.")
    if not one.ispkg and not one.name.startswith("compute.library.data.")
]
REGISTRIES = {
    found.stage: found
    for module in MODULES
    for found in vars(import_module(module)).values()
    if isinstance(found, Checks)
}
REGISTERED = [(stage, check) for stage, registry in REGISTRIES.items() for check in registry]

# Functions that make findings without a check of a stage, and why. A prefix stands for everything below it.
WITHOUT_STAGE = {
    "compute.calibration": "the outcome of a calibration or an interval, which is the answer itself",
    "compute.combining": "the outcome of a comparison, which is the answer itself",
    "compute.library": "the range of validity of a property, known where the property is calculated",
    "compute.measuring.conditions": "the entries change or are rejected together with the finding",
    "compute.measuring.pipe_checks.roughness_assumed": "reported where the value is assumed",
    "compute.measuring.setup_checks.temperature_estimated": "reported where the value is used",
    "compute.results.instrument_errors": "reported where the correction is applied",
    "compute.results.survey.calculate_setup": "reports the number of traverses where it is chosen",
    "compute.results.survey.no_beam": "an error, as a finding of the request that has no set-up",
    "compute.statistics": "how the uncertainty is calculated, with the uncertainty",
}


@dataclass(frozen=True)
class Function:
    """A function or class of a module: what it returns, the names it uses, and the keys of the findings it makes."""

    module: str
    name: str
    returns: str
    uses: frozenset[str]
    keys: frozenset[str]

    @property
    def path(self) -> str:
        return f"{self.module}.{self.name}"


def called(node: ast.AST) -> str:
    function = node.func if isinstance(node, ast.Call) else None
    return function.id if isinstance(function, ast.Name) else getattr(function, "attr", "")


def functions() -> Iterator[Function]:
    for module in MODULES:
        tree = ast.parse((ROOT / f"{module.replace('.', '/')}.py").read_text(encoding="utf-8"))
        for node in tree.body:
            if isinstance(node, ast.FunctionDef | ast.ClassDef):
                inner = list(ast.walk(node))
                uses = {one.id for one in inner if isinstance(one, ast.Name)}
                uses |= {one.attr for one in inner if isinstance(one, ast.Attribute)}
                keys = {
                    ast.unparse(one.args[0])
                    for one in inner
                    if isinstance(one, ast.Call) and called(one) in ("finding", "Finding")
                }
                returns = getattr(node, "returns", None)
                yield Function(
                    module,
                    node.name,
                    ast.unparse(returns) if returns else "",
                    frozenset(uses),
                    frozenset(keys),
                )


FUNCTIONS = list(functions())
MAKE_FINDINGS = [one for one in FUNCTIONS if one.keys or one.returns in ("Finding", "list[Finding]")]


def reached() -> set[str]:
    """Paths of the registered checks and of the functions that give them findings; a private name is of its own module."""
    waiting = [
        one
        for one in FUNCTIONS
        if (one.module, one.name) in {(check.__module__, check.__qualname__) for _, check in REGISTERED}
    ]
    found: set[str] = set()
    while waiting:
        one = waiting.pop()
        if one.path not in found:
            found.add(one.path)
            waiting += [
                other
                for other in FUNCTIONS
                if other.name in one.uses
                and other.returns in ("Finding", "list[Finding]")
                and (other.module == one.module or not other.name.startswith("_"))
            ]
    return found


REACHED = reached()


def without_stage(path: str) -> list[str]:
    return [listed for listed in WITHOUT_STAGE if f"{path}.".startswith(f"{listed}.")]


def test_the_stages_are_found() -> None:
    assert set(REGISTRIES.values()) == {LOG_CHECKS, WALL_CHECKS, SETUP_CHECKS, FLOW_CHECKS, RESULT_CHECKS}


@pytest.mark.parametrize("function", MAKE_FINDINGS, ids=lambda one: one.path)
def test_whatever_makes_findings_belongs_to_a_registered_check(function: Function) -> None:
    assert function.path in REACHED or without_stage(function.path), (
        f"No registered check uses {function.path}. Register it in the checks of a stage."
    )


@pytest.mark.parametrize("listed", sorted(WITHOUT_STAGE))
def test_only_functions_outside_every_stage_are_listed_as_such(listed: str) -> None:
    below = [one for one in FUNCTIONS if listed in without_stage(one.path)]
    assert below
    assert any(one in MAKE_FINDINGS and one.path not in REACHED for one in below)


def test_a_check_that_is_registered_is_run_without_any_other_change(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(SETUP_CHECKS, "_registered", list(SETUP_CHECKS))

    @SETUP_CHECKS.register
    def _thin_wall(case: SetupCase) -> list[Finding]:
        return [finding("wall-not-measured", "info", "pipe.wall_thickness")] * (
            case.pipe.wall_thickness < 0.01
        )

    assert calculate_setup(PIPE, WATER, PAIR, traverses=2).findings[-1].code == "wall-not-measured"


def setups() -> None:
    """A nominal size, an odd wall, hot transducers, two waves, little room and a reverse flow; a steep wedge on a short rail."""
    place = Place("single-bend", 0.01, 0.01, "horizontal", "top-or-bottom", False)
    hot = replace(PAIR, max_temperature=320.0)
    plastic = replace(PIPE, material=MaterialEntry("", 2380.0, 1060.0, 1.5e-6))
    for pipe in (replace(PIPE, outer_diameter=8 * 0.0254), replace(PIPE, wall_thickness=0.0068), plastic):
        calculate_setup(pipe, WATER, hot, traverses=1, expected_velocity=-1.0, place=place)
    steep = replace(PAIR, transducers=transducers(57.6), max_spacing=0.1)
    calculate_setup(PIPE, WATER, steep, traverses=2)


def results() -> None:
    """A short log of a growing reverse flow with a weak signal, and everything about it out of order; a single reading; a spike."""
    transit, difference = times_from_mean_velocity(STATED, -1.2)
    log = Readings(
        np.full(30, transit * 1.05),
        difference * np.linspace(1, 2, 30),
        signal_to_noise=np.full(30, 5.0),
        times=np.arange(30) * SECOND,
    )
    occasion = Occasion(
        date(2026, 10, 6),
        Place(),
        STATED,
        (InstrumentDay("meter M", None, None),),
        mounted_spacing=1.0,
        minimum_signal=20.0,
        rows_rejected=5,
        segments=(Segment(0, 29 * SECOND),),
    )
    reduce_log(PIPE, WATER, PAIR, 2, [log], occasion)
    alone = replace(occasion, segments=())
    spike = np.append(np.full(29, 1.2), 9.0)
    for velocity in (np.full(30, 1.2), np.full(1, 1.2), spike):
        reduce_log(PIPE, WATER, PAIR, 2, [Readings(flow_velocity=velocity)], alone)


def places() -> None:
    """Laminar flow close to a bend."""
    transit, difference = times_from_mean_velocity(STATED, 0.004)
    log = Readings(np.full(60, transit), np.full(60, difference))
    reduce_log(
        PIPE, WATER, PAIR, 2, [log], Occasion(date(2026, 10, 6), Place("single-bend", 0.5, 1.0), STATED)
    )


def walls() -> None:
    """A worn wall measured with another velocity setting."""
    WALL_CHECKS.findings(Wall(0.0074, 0.0007, 0.0003, 0.0066, 0.0080, 1.02))


def logs() -> None:
    """A gap, a repeated time and a transit time in another unit."""
    check = LogCheck()
    times = np.arange(100)
    times[50:] += 600
    times[20] = times[19]
    check.feed(times * SECOND, {"transit_time": np.full(100, 311.0)})
    check.findings()


@pytest.fixture(scope="module")
def outcomes() -> dict[Callable[..., Any], list[Any]]:
    """The outcomes of every registered check in the examples."""
    kept: dict[Callable[..., Any], list[Any]] = {check: [] for _, check in REGISTERED}

    def recorded(check: Callable[..., Any]) -> Callable[..., Any]:
        def run(subject: Any) -> Any:
            outcome = check(subject)
            kept[check].append(outcome)
            return outcome

        return run

    with pytest.MonkeyPatch.context() as patch:
        for registry in REGISTRIES.values():
            patch.setattr(registry, "_registered", [recorded(check) for check in registry])
        for example in (setups, results, places, walls, logs):
            example()
    return kept


@pytest.mark.parametrize(("stage", "check"), REGISTERED, ids=lambda one: getattr(one, "__qualname__", one))
def test_every_registered_check_is_run_by_its_stage_and_has_a_finding_in_an_example(
    stage: str, check: Callable[..., Any], outcomes: dict[Callable[..., Any], list[Any]]
) -> None:
    made = [one if isinstance(one, list) else one.findings() for one in outcomes[check]]
    assert any(made), f"No example of the stage {stage} makes {check.__qualname__} find anything."
