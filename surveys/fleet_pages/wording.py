"""Verdicts and figures of certificates as these pages word them."""

from __future__ import annotations

from typing import Any

from compute.decision import Verdict
from compute.units import System, express
from surveys.models import Calibration
from surveys.papers.wording import SIGNS, findings_worded
from surveys.verdicts import limits_json, verdict_json

VERDICT_WORDS: dict[Verdict, str] = {
    "pass": "pass",
    "conditional-pass": "conditional pass",
    "conditional-fail": "conditional fail",
    "fail": "fail",
}


def verdict_shown(calibration: Calibration, units: System) -> dict[str, Any]:
    """What a certificate's points say, worked out from them: as found, as left, and the verdict in force."""
    verdict = verdict_json(calibration)
    limits = limits_json(calibration)
    return {
        "verdict": VERDICT_WORDS[verdict["verdict"]] if verdict["verdict"] else "",
        "within": verdict["within"],
        "of": (verdict["of"] or "").replace("-", " "),
        "sets": [
            _set_shown(name, verdict[key], units)
            for name, key in (("As found", "as_found"), ("As left", "as_left"))
            if verdict[key]
        ],
        # What holds of the points as found and as left alike is said once.
        "findings": list({one["text"]: one for one in findings_worded(verdict["findings"], units)}.values()),
        "limits_from": calibration.get_limits_from_display() if limits else "",
        "rule": calibration.get_decision_rule_display(),
    }


def figure(quantity: dict[str, Any], units: System) -> str:
    """A figure of a certificate to the digits it needs."""
    shown = express(quantity["si"], quantity["kind"], units)
    return f"{shown['value']:.5g} {SIGNS.get(shown['unit'], shown['unit'])}"


def _set_shown(name: str, found: dict[str, Any], units: System) -> dict[str, Any]:
    names = (
        "reference",
        "indicated",
        "error",
        "expanded_uncertainty",
        "permissible_error",
        "acceptance_limit",
    )
    return {
        "name": name,
        "verdict": VERDICT_WORDS[found["verdict"]],
        "within": found["within"],
        "points": [
            {key: figure(one[key], units) for key in names}
            | {
                "coverage_factor": f"{one['coverage_factor']:g}",
                "verdict": VERDICT_WORDS[one["verdict"]],
                "share": f"{one['share']:.0%}",
                "conformance": f"{one['conformance_probability']:.1%}",
            }
            for one in found["points"]
        ],
    }
