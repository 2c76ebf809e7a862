"""The method of measurement: its equations, its versions and the uncertainties used by default."""

from __future__ import annotations

import re

from django.http import HttpRequest, HttpResponse
from django.utils.html import format_html, format_html_join
from django.utils.translation import gettext
from django.views.generic import View

from compute.base.units import System
from compute.results.equations import EQUATIONS
from compute.results.survey import METHODS
from compute.results.uncertainty import DEFAULT_UNCERTAINTIES, InputUncertainty
from surveys.core.messages.citations import citation
from surveys.core.messages.fields import label_of
from surveys.core.messages.numbers import percent_text
from surveys.core.stored_quantities import uncertainty_kind
from surveys.documents.formatting import format_quantity
from surveys.pages.frame import page, units_of

SUBSCRIPT = re.compile(r"_([A-Za-z0-9]+)")


def with_subscripts(formula: str) -> str:
    """Return the text of a formula as HTML, the letters after `_` as subscripts."""
    # Every second part is a subscript.
    first, *others = SUBSCRIPT.split(formula)
    return format_html(
        "{}{}", first, format_html_join("", "<sub>{}</sub>{}", zip(others[::2], others[1::2], strict=True))
    )


class MethodPage(View):
    """Equations, versions and default uncertainties."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """The method as it is now."""
        units = units_of(request)
        context = {
            "equations": [
                {
                    "name": gettext(one.name),
                    "formula": with_subscripts(one.formula),
                    "symbols": with_subscripts(gettext(one.symbols)),
                    "validity": gettext(one.validity),
                    "source": citation(one.source),
                }
                for one in EQUATIONS
            ],
            "methods": [
                {
                    "version": one.version,
                    "since": one.since,
                    "change": gettext(one.change),
                    "effect": gettext(one.effect),
                }
                for one in reversed(METHODS)
            ],
            "defaults": [
                {
                    "name": label_of(path),
                    "value": _value(path, uncertainty, units),
                    "source": citation(uncertainty.source),
                }
                for path, uncertainty in DEFAULT_UNCERTAINTIES.items()
            ],
        }
        return page(request, "help/method.html", context)


def _value(path: str, uncertainty: InputUncertainty, units: System) -> str:
    if uncertainty.relative:
        return percent_text(uncertainty.standard_uncertainty, ".2g")
    return format_quantity(uncertainty.standard_uncertainty, uncertainty_kind(path), units)
