"""Failures of calculations in the background."""

from django.utils.translation import gettext_lazy as _
from django.utils.translation import ngettext_lazy

from surveys.core.messages.texts import Entry

ENTRIES = {
    "calculation-failed": Entry(
        title=_("Calculation failed"),
        detail=_("The program reported this error: {error}."),
        remedy=_("Repeat the calculation. If the error occurs again, notify the administrator."),
    ),
    "worker-stopped": Entry(
        title=_("Calculation stopped"),
        detail=ngettext_lazy(
            "The worker stopped {count} time during this calculation.",
            "The worker stopped {count} times during this calculation.",
            "count",
        ),
        remedy=_("Notify the administrator, then repeat the calculation."),
    ),
}
