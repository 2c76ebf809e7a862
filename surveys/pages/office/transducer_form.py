"""The form of the data of a transducer pair."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from compute.base.units import System
from surveys.inputs.set_ups import transducer_document
from surveys.models import TransducerData
from surveys.pages.office.sheet import Entry, FormInitial, Sheet
from surveys.pages.pipe_form import entered_texts

LABELS = {
    "frequency": _("Frequency"),
    "wedge_sound_speed": _("Wedge sound speed"),
    "wedge_angle": _("Wedge angle"),
    "face_offset": _("Distance from beam exit point to front face"),
    "wedge_delay": _("Wedge delay"),
    "wedge_temperature_coefficient": _("Temperature coefficient of the wedge sound speed"),
    "wedge_reference_temperature": _("Reference temperature of the wedge sound speed"),
    "min_temperature": _("Minimum temperature"),
    "max_temperature": _("Maximum temperature"),
    "reason": _("Reason (shown to the client if a result changes)"),
}
DEFAULT_TEXTS = {"face_offset": _("none"), "wedge_delay": _("none")}
WRONG, FROM_NOW_ON = "correction", "from-now-on"


class TransducerSheet(Sheet):
    """A version of the data of a transducer pair with the entered changes."""

    labels = LABELS
    default_texts = DEFAULT_TEXTS
    kinds = (WRONG, FROM_NOW_ON)

    def __init__(self, base: TransducerData, units: System, typed: Mapping[str, str]) -> None:
        values = figures_of(base)
        super().__init__(
            FormInitial(entered_texts(values, base.as_entered, units), values, base.as_entered), typed
        )
        self.base, self.units = base, units

    @property
    def corrects(self) -> bool:
        """Whether the version was wrong from the start; else the transducers have changed."""
        return self.kind == WRONG

    @property
    def submit_label(self) -> Promise:
        """Label of the button that saves the change."""
        return _("Save correction") if self.corrects else _("Save new data")

    @property
    def entries(self) -> list[Entry]:
        """All fields in the order of the page, without the reason."""
        return [self._entry(name) for name in LABELS if name != "reason"]

    def stated(self) -> dict[str, Any]:
        """Return the request data of the API: all data of the pair, as they are recorded together."""
        requested: dict[str, Any] = {"reason": self._text("reason")}
        for name in LABELS:
            if name != "reason" and (shown := self._text(name)):
                requested[name] = self._as_it_was(name, shown) or shown
        return requested | ({"corrects": str(self.base.pk)} if self.corrects else {})

    def _at(self, field: str) -> str:
        # Errors of the physics name the pair as part of a set-up.
        return super()._at(field.removeprefix("transducers."))


def figures_of(data: TransducerData) -> dict[str, Any]:
    """Return the recorded data of a pair by field of a request."""
    return {name: value for name, value in transducer_document(data).items() if value is not None}
