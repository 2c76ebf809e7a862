"""How often the 95 % interval of a result contains the true flow, over simulated surveys."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from compute.results.reduction import Reduction
from tests.coverage.cases import Case, Survey, simulated


@dataclass(frozen=True, slots=True)
class Coverage:
    """Share of the intervals that contain the truth; median expanded uncertainty, mean error and its deviation relative to the flow."""

    case: str
    trials: int
    covered: float
    expanded: float
    mean_error: float
    deviation: float

    def line(self) -> str:
        """Return a line of the table."""
        return (
            f"{self.case:45s} {self.trials:7d} {self.covered:8.3f} {100 * self.expanded:9.2f} "
            f"{100 * self.mean_error:+9.2f} {100 * self.deviation:9.2f}"
        )


HEADER = f"{'case':45s} {'surveys':>7s} {'covered':>8s} {'U, %':>9s} {'error, %':>9s} {'s, %':>9s}"


def interval(result: Reduction) -> tuple[float, float]:
    """Return the 95 % interval of a result [m3/s]."""
    return result.propagation.coverage_interval


def coverage(case: Case, trials: int, seed: int = 16) -> Coverage:
    """Return the coverage of a kind of survey."""
    return counted(case.name, simulated(case, trials, seed))


def counted(name: str, surveys: Sequence[Survey]) -> Coverage:
    """Return the coverage of surveys of one true flow."""
    held = sum(
        low <= survey.volume_flow <= high for survey in surveys for low, high in [interval(survey.result)]
    )
    relative = [survey.error / abs(survey.volume_flow) for survey in surveys]
    mean = sum(relative) / len(relative)
    return Coverage(
        name,
        len(surveys),
        held / len(surveys),
        median(one.result.uncertainty.expanded_uncertainty / abs(one.volume_flow) for one in surveys),
        mean,
        (sum((one - mean) ** 2 for one in relative) / max(len(relative) - 1, 1)) ** 0.5,
    )
