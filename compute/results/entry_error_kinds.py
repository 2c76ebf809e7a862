"""Candidate errors of all kinds."""

from __future__ import annotations

from dataclasses import replace

from compute.results.entry_errors import CandidateError, Case
from compute.results.entry_errors_medium import MEDIUM_ERROR_KINDS, MOUNTING_ERROR_KINDS
from compute.results.entry_errors_pipe import PIPE_ERROR_KINDS


def candidate_errors(case: Case) -> list[CandidateError]:
    """Return every possible single wrong entry; impossible values are excluded.

    Parameters
    ----------
    case : Case

    Returns
    -------
    candidate_errors : list of CandidateError  in no order

    Source
    ------
    kinds : common entry errors, common practice.
    """
    found: list[CandidateError] = []
    for kind in (*PIPE_ERROR_KINDS, *MEDIUM_ERROR_KINDS, *MOUNTING_ERROR_KINDS):
        possible = [candidate for candidate in kind(case) if candidate.case.can_be()]
        found += [replace(candidate, siblings=len(possible)) for candidate in possible]
    return found
