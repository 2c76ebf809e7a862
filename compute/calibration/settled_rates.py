"""In-tolerance rate at which a method of interval review settles, for instruments whose error drifts as a random walk.

A method repeats its rule after each calibration, so that the intervals settle at some length and with it the fraction of instruments found in
tolerance. The rate is a property of the rule: the speed of the drift and the permissible error only set the length of the interval.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from compute.base.memoization import memoized
from compute.base.messages import message
from compute.base.sources import Source
from compute.calibration.intervals import Proposal, Steps

SIMULATION = Source(
    "simulation of instruments whose error is a random walk, adjusted where out of tolerance, without the bounds of the policy",
    "derived",
)
# Instruments and calibrations of the simulation of the staircase, with those left out until it has settled; the rate is exact to 0.3 %.
INSTRUMENTS, CALIBRATIONS, BEFORE_SETTLED, SEED = 600, 300, 100, 14
# Rate of the control chart with the last ten calibrations and an expanded uncertainty of a third of the permissible error; 0.91 to 0.97 by
# the shortest interval of the policy. Too slow to simulate for each request: a test repeats the simulation.
CONTROL_CHART_RATE = 0.95


def settled_rate(method: str, *, target: float | None = None, steps: Steps | None = None) -> float:
    """Return the in-tolerance rate at which a method settles.

    Parameters
    ----------
    method : str  of interval review
    target : float or None [1]  of the method `reliability`, whose rule stands still at the target
    steps : Steps or None  of the staircase; None: the default

    Returns
    -------
    rate : float [1]

    Source
    ------
    simulation : see SIMULATION; `in-use-time` is the staircase over hours of use.
    """
    if method == "control-chart":
        return CONTROL_CHART_RATE
    if method == "reliability" and target is not None:
        return target
    return staircase_rate(steps or Steps())


def with_settled_rate(found: Proposal, target: float) -> Proposal:
    """Return a proposal with the rate at which its method settles.

    Parameters
    ----------
    found : Proposal
    target : float [1]  of the method `reliability`

    Returns
    -------
    proposal : Proposal  with one more message of its reasoning, and `settled-in-tolerance-rate` among its inputs

    Source
    ------
    simulation : see SIMULATION.
    """
    rate = settled_rate(found.method, target=target)
    return replace(
        found,
        reasoning=(*found.reasoning, message("settled-in-tolerance-rate", rate=rate)),
        inputs=(*found.inputs, ("settled-in-tolerance-rate", rate)),
    )


@memoized
def staircase_rate(steps: Steps) -> float:
    """Return the in-tolerance rate at which a staircase settles.

    Parameters
    ----------
    steps : Steps

    Returns
    -------
    rate : float [1]

    Source
    ------
    simulation : see SIMULATION. The interval is in balance where the mean of the logarithm of the factor is 0.
    """
    rng = np.random.default_rng(SEED)
    interval, error = np.full(INSTRUMENTS, 0.3), np.zeros(INSTRUMENTS)
    inside = 0.0
    for number in range(CALIBRATIONS):
        error = error + rng.normal(size=INSTRUMENTS) * np.sqrt(interval)
        share = np.abs(error)
        out = share > 1
        if number >= BEFORE_SETTLED:
            inside += float(np.mean(~out))
        factor = np.where(share > steps.comfortable, 1.0, steps.lengthen)
        interval = interval * np.where(out, steps.shorten, factor)
        error = np.where(out, 0.0, error)
    return inside / (CALIBRATIONS - BEFORE_SETTLED)
