"""Sentences that read in metric and in US units.

A quantity in a sentence is marked with both its wordings: `A wall of ⟦4.60 mm|0.181 in⟧ is thick.` So a sentence is made and
stored once, and `plain` words it in either units where somebody reads it. A text without marks is what it is.
"""

from __future__ import annotations

import re
from typing import Literal

System = Literal["metric", "us"]

OPENS = "\N{MATHEMATICAL LEFT WHITE SQUARE BRACKET}"
CLOSES = "\N{MATHEMATICAL RIGHT WHITE SQUARE BRACKET}"
_MARKED = re.compile(f"{OPENS}([^{OPENS}|{CLOSES}]*)\\|([^{OPENS}|{CLOSES}]*){CLOSES}")


def marked(metric: str, us: str) -> str:
    """What a sentence says in two ways; no mark where both are the same.

    Parameters
    ----------
    metric : str  e.g. `4.60 mm`
    us : str  e.g. `0.181 in`

    Returns
    -------
    text : str  for a sentence, to be read by `plain`

    Source
    ------
    own notation : of this module.
    """
    return metric if metric == us else f"{OPENS}{metric}|{us}{CLOSES}"


def plain(text: str, units: System) -> str:
    """A sentence in the units of whoever reads it.

    Parameters
    ----------
    text : str  with marks or without
    units : str  `metric` or `us`

    Returns
    -------
    text : str  without marks

    Source
    ------
    own notation : of this module.
    """
    if OPENS not in text:
        return text
    # Text, metric, us, text, metric, us, ..., text: the wording of the other units goes.
    parts = _MARKED.split(text)
    del parts[2 if units == "metric" else 1 :: 3]
    return "".join(parts)


class Told:
    """Something that says a sentence: `said` as it is stored, `detail` as it reads in metric units."""

    __slots__ = ()
    said: str

    @property
    def detail(self) -> str:
        """The sentence in metric units; `plain(said, units)` has it in others."""
        return plain(self.said, "metric")
