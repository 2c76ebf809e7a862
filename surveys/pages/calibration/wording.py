"""Texts of these pages: statements of conformity, values of certificates, days until the due date."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from compute.base.units import System, express
from compute.calibration.decision_rules import Conformity
from surveys.calibration.conformity import conformity_json, limits_json
from surveys.core.messages.numbers import number_text, percent_text, with_unit
from surveys.documents.formatting import finding_texts
from surveys.models import Calibration
from surveys.models.calibration import Moment

CONFORMITY_WORDS: dict[Conformity, Promise] = {
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


def conformity_shown(calibration: Calibration, units: System) -> dict[str, Any]:
    """Return the statement of conformity of a certificate with its points as found and as left."""
    conformity = conformity_json(calibration)
    limits = limits_json(calibration)
    return {
        "conformity": CONFORMITY_WORDS[conformity["conformity"]] if conformity["conformity"] else "",
        "conforms": conformity["conforms"],
        "of": Moment(conformity["of"]).label if conformity["of"] else "",
        "sets": [
            _set_shown(name, conformity[key], units)
            for name, key in ((_("As found"), "as_found"), (_("As left"), "as_left"))
            if conformity[key]
        ],
        # A finding about the points as found and as left is shown once.
        "findings": list({one["text"]: one for one in finding_texts(conformity["findings"], units)}.values()),
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
        "maximum_permissible_error",
        "acceptance_limit",
    )
    return {
        "name": name,
        "conformity": CONFORMITY_WORDS[found["conformity"]],
        "conforms": found["conforms"],
        "prior": percent_text(found["prior_in_tolerance"], ".0f"),
        "points": [
            {key: figure(one[key], units) for key in names}
            | {
                "coverage_factor": f"{one['coverage_factor']:g}",
                "conformity": CONFORMITY_WORDS[one["conformity"]],
                "fraction_of_limit": percent_text(one["fraction_of_limit"], ".0f"),
                "conformance": percent_text(one["conformance_probability"]),
                "specific_risk": percent_text(one["specific_risk"], ".2f"),
                "consumer_risk": percent_text(one["global_consumer_risk"], ".2f"),
                "producer_risk": percent_text(one["global_producer_risk"], ".2f"),
            }
            for one in found["points"]
        ],
    }
