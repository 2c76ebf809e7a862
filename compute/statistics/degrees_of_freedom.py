"""Effective degrees of freedom of a standard uncertainty composed of others."""

from __future__ import annotations

import math


def pooled_freedom(combined: float, *parts: tuple[float, float]) -> float:
    """Return the effective degrees of freedom of a combined standard uncertainty.

    Parameters
    ----------
    combined : float [any unit]  standard uncertainty
    parts : (float, float) [as combined, 1]  standard uncertainty and degrees of freedom of each independent part; parts that are known exactly
        may be left out

    Returns
    -------
    degrees_of_freedom : float [1]  infinite if no part has finite ones

    Source
    ------
    Welch-Satterthwaite formula, JCGM 100:2008 (GUM) G.4.1.
    """
    lost = math.fsum(part**4 / freedom for part, freedom in parts)
    return combined**4 / lost if lost > 0 else math.inf
