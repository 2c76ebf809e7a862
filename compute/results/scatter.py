"""Repeatability of a result: the scatter of the mean time difference of a log."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from compute.base.sources import Source
from compute.logs.series import Series
from compute.results.uncertainty import InputUncertainty
from compute.statistics.short_samples import mean_uncertainty

# Standard deviation of a single time difference, where the log cannot show it: the resolution of the meter, and turbulence as a part
# of the time difference. It is known to about 35 %, which is 4 degrees of freedom (JCGM 100:2008 G.4.2).
SINGLE_RESOLUTION, SINGLE_TURBULENCE = 0.5e-9, 0.03
SINGLE_FREEDOM = 4.0
SINGLE = Source(
    "typical standard deviation of a single reading: 0.5 ns and 3 % of the time difference, 4 degrees of freedom (default value)",
    "default",
)
# A log needs about this number of independent readings; with fewer than the least it is too short. Default values.
NEEDED_INDEPENDENT, MIN_INDEPENDENT = 20.0, 10.0
CORRELATED_PROBABILITY = 0.9


@dataclass(frozen=True, slots=True)
class Scatter:
    """Repeatability of the mean time difference [s] of a log; correlation time [readings] and effective number, if the log shows them.

    correlated : whether the readings correlate over several readings with a probability of 90 % or more
    """

    uncertainty: InputUncertainty
    correlation_time: float | None = None
    effective_readings: float | None = None
    correlated: bool = False

    @property
    def short(self) -> bool:
        """Whether the log is too short for the correlation of its readings."""
        few = self.effective_readings is not None and self.effective_readings < MIN_INDEPENDENT
        return few and self.correlated


def scatter_of(series: Series) -> Scatter:
    """Return the repeatability of the mean time difference of a log.

    A jump between marked segments is a change of the flow and not an uncertainty of the mean; so is a drift that many readings
    show. A single reading has the repeatability of a usual meter in turbulent flow.

    Parameters
    ----------
    series : Series

    Returns
    -------
    scatter : Scatter

    Source
    ------
    see `compute.statistics.short_samples.mean_uncertainty`; single reading: default values, see SINGLE.
    """
    segments = np.split(series.time_difference, series.breaks)
    if all(len(segment) < 2 for segment in segments):
        level = float(np.mean(np.abs(series.time_difference)))
        single = math.hypot(SINGLE_RESOLUTION, SINGLE_TURBULENCE * level)
        return Scatter(
            InputUncertainty(single / math.sqrt(series.used), False, SINGLE_FREEDOM, source=SINGLE)
        )
    found = mean_uncertainty(segments)
    return Scatter(
        InputUncertainty(found.standard_uncertainty, degrees_of_freedom=found.degrees_of_freedom),
        found.correlation_time,
        found.effective_sample_size,
        found.correlated >= CORRELATED_PROBABILITY,
    )
