"""Single wrong entries that would explain a transit time, of all kinds."""

from __future__ import annotations

from dataclasses import replace

from compute.results.entry_errors import Case, Slip
from compute.results.entry_errors_medium import MEDIUM_SLIPS, MOUNTING_SLIPS
from compute.results.entry_errors_pipe import PIPE_SLIPS


def slips(case: Case) -> list[Slip]:
    """Every single wrong entry that can be and may explain the time; those of impossible value are left out.

    Parameters
    ----------
    case : Case

    Returns
    -------
    slips : list of Slip  in no order

    Source
    ------
    kinds : slips as people make them, common practice.
    """
    found: list[Slip] = []
    for kind in (*PIPE_SLIPS, *MEDIUM_SLIPS, *MOUNTING_SLIPS):
        possible = [slip for slip in kind(case) if slip.case.can_be()]
        found += [replace(slip, siblings=len(possible)) for slip in possible]
    return found
