"""Certificate of a thickness gauge with variations, and a small PDF."""

from __future__ import annotations

from typing import Any

PATH = "/api/v1/calibrations/"


def certificate(instrument: Any, **also: Any) -> dict[str, Any]:
    """The least a certificate states."""
    return {
        "instrument": str(instrument.pk),
        "certificate": "HR-2026-117",
        "laboratory": "Harbour Row Calibration",
        "calibrated_on": "2026-09-01",
        "due_on": "2027-09-01",
        **also,
    }


def point(reference: str, indicated: str, expanded: str = "0.02 mm", k: float = 2) -> dict[str, Any]:
    return {
        "reference": reference,
        "indicated": indicated,
        "expanded_uncertainty": expanded,
        "coverage_factor": k,
    }


LIMIT = {"maximum_permissible_error": {"absolute": "0.05 mm"}, "decision_rule": {"rule": "simple-acceptance"}}
GUARDED = LIMIT | {"decision_rule": {"rule": "guarded-acceptance"}}
PDF = b"%PDF-1.7\n1 0 obj <<>> endobj\nstartxref\n0\n%%EOF\n"


def errors(answer: Any) -> list[tuple[int, str, str]]:
    """Status, field and code of each error of an answer."""
    return [(answer.status_code, one["field"], one["code"]) for one in answer.json()["errors"]]
