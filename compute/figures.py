"""Figures as sentences word them: four digits with a metric unit, ratios in per cent."""

from __future__ import annotations

from compute.unit_table import KINDS
from compute.units import express


def worded(value: float, kind: str) -> str:
    """A figure in the metric unit of its kind, for a sentence.

    Parameters
    ----------
    value : float [SI]
    kind : str  a kind of quantity (`compute.unit_table.KINDS`), or `number` for a ratio, worded in per cent

    Returns
    -------
    text : str  e.g. `8.02 mm`

    Source
    ------
    units : those of the service's metric answers.
    """
    if kind == "number":
        return f"{value * 100:.4g} %"
    shown = express(value, kind)
    return f"{shown['value']:.4g} {shown['unit']}"


def difference_kind(kind: str) -> str:
    """The kind of the differences of a kind: of two temperatures it is another, else the same.

    Parameters
    ----------
    kind : str

    Returns
    -------
    kind : str

    Source
    ------
    definition : `compute.unit_table.KINDS`.
    """
    return KINDS[kind].difference if kind in KINDS else kind


def counted(count: int, noun: str) -> str:
    """A number with its noun: `1 point`, `3 points`.

    Parameters
    ----------
    count : int
    noun : str  that takes an s

    Returns
    -------
    text : str

    Source
    ------
    definition : grammar.
    """
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"
