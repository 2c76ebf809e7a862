"""Verdicts and figures of certificates as these pages word them."""

from __future__ import annotations

from typing import Any

from compute.base.units import System, express
from compute.calibration.decision_rules import Conformity
from surveys.calibration.conformity import conformity_json, limits_json
from surveys.documents.formatting import SIGNS, findings_worded
from surveys.models import Calibration

CONFORMITY_WORDS: dict[Conformity, str] = {
    "pass": "pass",
    "conditional-pass": "conditional pass",
    "conditional-fail": "conditional fail",
    "fail": "fail",
}


def conformity_shown(calibration: Calibration, units: System) -> dict[str, Any]:
    """What a certificate's points say, worked out from them: as found, as left, and the verdict in force."""
    conformity = conformity_json(calibration)
    limits = limits_json(calibration)
    return {
        "conformity": CONFORMITY_WORDS[conformity["conformity"]] if conformity["conformity"] else "",
        "conforms": conformity["conforms"],
        "of": (conformity["of"] or "").replace("-", " "),
        "sets": [
            _set_shown(name, conformity[key], units)
            for name, key in (("As found", "as_found"), ("As left", "as_left"))
            if conformity[key]
        ],
        # What holds of the points as found and as left alike is said once.
        "findings": list(
            {one["text"]: one for one in findings_worded(conformity["findings"], units)}.values()
        ),
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
        "maximum_permissible_error",
        "acceptance_limit",
    )
    return {
        "name": name,
        "conformity": CONFORMITY_WORDS[found["conformity"]],
        "conforms": found["conforms"],
        "points": [
            {key: figure(one[key], units) for key in names}
            | {
                "coverage_factor": f"{one['coverage_factor']:g}",
                "conformity": CONFORMITY_WORDS[one["conformity"]],
                "fraction_of_limit": f"{one['fraction_of_limit']:.0%}",
                "conformance": f"{one['conformance_probability']:.1%}",
            }
            for one in found["points"]
        ],
    }
