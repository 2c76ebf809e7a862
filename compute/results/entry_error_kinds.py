"""Candidate errors of all kinds."""

from __future__ import annotations

from compute.results.entry_errors import CandidateError, Case
from compute.results.entry_errors_medium import MEDIUM_ERROR_KINDS, MOUNTING_ERROR_KINDS
from compute.results.entry_errors_pipe import PIPE_ERROR_KINDS


def candidates_by_kind(case: Case) -> dict[str, list[CandidateError]]:
    """Return every possible single wrong entry by its kind of error; impossible values are excluded.

    Parameters
    ----------
    case : Case

    Returns
    -------
    candidates : dict of lists of CandidateError

    Source
    ------
    kinds : common entry errors, common practice.
    """
    found: dict[str, list[CandidateError]] = {}
    for kind in (*PIPE_ERROR_KINDS, *MEDIUM_ERROR_KINDS, *MOUNTING_ERROR_KINDS):
        for candidate in kind(case):
            if candidate.case.can_be():
                found.setdefault(candidate.kind, []).append(candidate)
    return found
