"""Registries of plausibility checks: one for each stage of a calculation, run as a whole."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Generic, TypeVar

from compute.base.messages import Finding

Subject = TypeVar("Subject")
Outcome = TypeVar("Outcome")


class Checks(Generic[Subject, Outcome]):
    """The checks of one stage: functions of its subject, in the order in which they are registered.

    Parameters
    ----------
    stage : str  its name, for people
    """

    def __init__(self, stage: str) -> None:
        self.stage = stage
        self._registered: list[Callable[[Subject], Outcome]] = []

    def register(self, check: Callable[[Subject], Outcome]) -> Callable[[Subject], Outcome]:
        """Add a check to the stage; a decorator."""
        self._registered.append(check)
        return check

    def outcomes(self, subject: Subject) -> list[Outcome]:
        """The outcome of every check on a subject."""
        return [check(subject) for check in self._registered]

    def __iter__(self) -> Iterator[Callable[[Subject], Outcome]]:
        return iter(self._registered)


class FindingChecks(Checks[Subject, list[Finding]]):
    """Checks whose outcome is their findings, often none."""

    def findings(self, subject: Subject) -> list[Finding]:
        """The findings of every check, in the order of the checks."""
        return [one for found in self.outcomes(subject) for one in found]
