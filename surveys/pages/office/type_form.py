"""The form of the capabilities of an instrument type."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from compute.base.units import System
from surveys.inputs.fleet import FIGURES
from surveys.models import InstrumentType
from surveys.models.instrument import Kind
from surveys.pages.office.sheet import Entry, FormInitial, Sheet
from surveys.pages.pipe_form import entered_texts

HAZARDOUS = "hazardous_area_certified"
TEMPERATURES = ("min_temperature", "max_temperature")
OF_KIND: Mapping[str, tuple[str, ...]] = {
    Kind.METER: (
        "min_frequency", "max_frequency", "timing_resolution", "minimum_signal", "min_velocity", "max_velocity",
    ),
    Kind.TRANSDUCER_PAIR: (*TEMPERATURES, "min_spacing", "max_spacing", HAZARDOUS),
    Kind.THERMOMETER: TEMPERATURES,
    Kind.THICKNESS_GAUGE: ("min_wall_thickness", "max_wall_thickness"),
}  # fmt: skip
LABELS = {
    "min_frequency": _("Minimum frequency"),
    "max_frequency": _("Maximum frequency"),
    "timing_resolution": _("Resolution of the time difference"),
    "minimum_signal": _("Minimum signal-to-noise ratio"),
    "min_velocity": _("Minimum velocity"),
    "max_velocity": _("Maximum velocity"),
    "min_temperature": _("Minimum temperature"),
    "max_temperature": _("Maximum temperature"),
    "min_spacing": _("Minimum spacing of the rail"),
    "max_spacing": _("Maximum spacing of the rail"),
    HAZARDOUS: _("Certified for hazardous areas"),
    "min_wall_thickness": _("Minimum wall thickness"),
    "max_wall_thickness": _("Maximum wall thickness"),
    "note": _("Note"),
}
YES_OR_NO = {"yes": True, "no": False}


class TypeSheet(Sheet):
    """An instrument type with the entered changes."""

    labels = LABELS

    def __init__(self, base: InstrumentType, units: System, typed: Mapping[str, str]) -> None:
        values = {
            name: {"si": known, "kind": kind}
            for name, (column, kind) in FIGURES.items()
            if (known := getattr(base, column)) is not None
        }
        texts = entered_texts(values, base.as_entered, units)
        texts |= {
            "note": base.note,
            HAZARDOUS: {None: "", True: "yes", False: "no"}[base.hazardous_area_certified],
        }
        super().__init__(FormInitial(texts, values, base.as_entered), typed)
        self.base, self.units = base, units
        # The fields of its kind, and others with recorded values.
        requested = {*OF_KIND[base.kind], *(name for name, text in texts.items() if text), "note"}
        self._names = [name for name in LABELS if name in requested]

    @property
    def submit_label(self) -> Promise:
        """Label of the button that saves the change."""
        return _("Save correction")

    @property
    def entries(self) -> list[Entry]:
        """All fields in the order of the page."""
        return [
            self._entry(name, type="textarea") if name == "note" else self._entry(name)
            for name in self._names
        ]

    def stated(self) -> dict[str, Any]:
        """Return the request data of the API: the changed fields; an emptied field is null."""
        return {name: self._stated(name) for name in self._names if self._text(name) != self._was(name)}

    def _stated(self, name: str) -> Any:
        shown = self._text(name)
        if name == HAZARDOUS:
            return YES_OR_NO.get(shown)
        return shown if name == "note" else shown or None

    def _options(self, name: str) -> tuple[tuple[str, str | Promise], ...]:
        return (("", _("not entered")), ("yes", _("yes")), ("no", _("no"))) if name == HAZARDOUS else ()
