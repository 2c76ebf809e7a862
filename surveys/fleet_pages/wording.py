"""Texts of these pages: statements of conformity, values of certificates, days until the due date."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from compute.decision import Verdict
from compute.units import System, express
from surveys.core.messages.numbers import number_text, percent_text, with_unit
from surveys.models import Calibration
from surveys.models.calibration import Moment
from surveys.papers.wording import findings_worded
from surveys.verdicts import limits_json, verdict_json

VERDICT_WORDS: dict[Verdict, Promise] = {
    "pass": gettext_lazy("pass"),
    "conditional-pass": gettext_lazy("conditional pass"),
    "conditional-fail": gettext_lazy("conditional fail"),
    "fail": gettext_lazy("fail"),
}


def office_zone() -> str:
    """Return the name of the time zone in which these pages show times."""
    return settings.OFFICE_TIME_ZONE


def days_left(days: int | None) -> str:
    """Return the days until the due date as text; empty without a due date."""
    if days is None:
        return ""
    if days == 0:
        return _("last day today")
    if days < 0:
        return ngettext("%(days)d day overdue", "%(days)d days overdue", -days) % {"days": -days}
    return ngettext("%(days)d day left", "%(days)d days left", days) % {"days": days}


def verdict_shown(calibration: Calibration, units: System) -> dict[str, Any]:
    """Return the statement of conformity of a certificate with its points as found and as left."""
    verdict = verdict_json(calibration)
    limits = limits_json(calibration)
    return {
        "verdict": VERDICT_WORDS[verdict["verdict"]] if verdict["verdict"] else "",
        "within": verdict["within"],
        "of": Moment(verdict["of"]).label if verdict["of"] else "",
        "sets": [
            _set_shown(name, verdict[key], units)
            for name, key in ((_("As found"), "as_found"), (_("As left"), "as_left"))
            if verdict[key]
        ],
        # A finding about the points as found and as left is shown once.
        "findings": list({one["text"]: one for one in findings_worded(verdict["findings"], units)}.values()),
        "limits_from": calibration.get_limits_from_display() if limits else "",
        "rule": calibration.get_decision_rule_display(),
    }


def figure(quantity: dict[str, Any], units: System) -> str:
    """Return a value of a certificate with five significant digits."""
    shown = express(quantity["si"], quantity["kind"], units)
    return with_unit(number_text(shown["value"], ".5g"), shown["unit"])


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
                "share": percent_text(one["share"], ".0f"),
                "conformance": percent_text(one["conformance_probability"]),
            }
            for one in found["points"]
        ],
    }
