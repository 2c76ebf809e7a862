"""The form of a transducer pair's data: what is on record, what was typed instead, as the API takes it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from compute.base.units import System
from surveys.api.compute.physics import transducer_document
from surveys.models import TransducerData
from surveys.pages.office.sheet import Entry, FormInitial, Sheet
from surveys.pages.pipe_form import entered_texts

LABELS = {
    "frequency": "Frequency",
    "wedge_sound_speed": "Sound speed of the wedge",
    "wedge_angle": "Angle of the wedge",
    "face_offset": "Offset of the beam's exit from the face",
    "wedge_delay": "Delay in the wedges",
    "wedge_temperature_coefficient": "Change of the wedge's sound speed with temperature",
    "wedge_reference_temperature": "Temperature that sound speed is stated at",
    "min_temperature": "Lowest temperature it may be used at",
    "max_temperature": "Highest temperature it may be used at",
    "reason": "Reason, as the client reads it where a figure moves",
}
DEFAULT_TEXTS = {"face_offset": "none", "wedge_delay": "none"}
WRONG, FROM_NOW_ON = "correction", "from-now-on"


class TransducerSheet(Sheet):
    """A version of a pair's data with what was typed of it so far."""

    labels = LABELS
    unsaid = DEFAULT_TEXTS
    kinds = (WRONG, FROM_NOW_ON)

    def __init__(self, base: TransducerData, units: System, typed: Mapping[str, str]) -> None:
        values = figures_of(base)
        super().__init__(
            FormInitial(entered_texts(values, base.as_entered, units), values, base.as_entered), typed
        )
        self.base, self.units = base, units

    @property
    def corrects(self) -> bool:
        """Whether the version was always wrong; else the pair is another from now on."""
        return self.kind == WRONG

    @property
    def submit_label(self) -> str:
        """What the button says that does it."""
        return "Correct it" if self.corrects else "Record it"

    @property
    def entries(self) -> list[Entry]:
        """Every field in the order of the page, but for the reason."""
        return [self._entry(name) for name in LABELS if name != "reason"]

    def stated(self) -> dict[str, Any]:
        """As the API takes it: all of the pair's data, for it is recorded as a whole."""
        requested: dict[str, Any] = {"reason": self._text("reason")}
        for name in LABELS:
            if name != "reason" and (shown := self._text(name)):
                requested[name] = self._as_it_was(name, shown) or shown
        return requested | ({"corrects": str(self.base.pk)} if self.corrects else {})

    def _at(self, field: str) -> str:
        # The physics tells of the pair as part of a set-up.
        return super()._at(field.removeprefix("transducers."))


def figures_of(data: TransducerData) -> dict[str, Any]:
    """What a version says of a pair, by the fields of a request; what it does not say is left out."""
    return {name: value for name, value in transducer_document(data).items() if value is not None}
