"""The form of what instruments of a type can do: what is on record, what was typed instead, as the API takes it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from compute.base.units import System
from surveys.api.fleet.instrument_types import FIGURES
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
    "min_frequency": "Lowest frequency it drives",
    "max_frequency": "Highest frequency it drives",
    "timing_resolution": "Smallest time difference it tells",
    "minimum_signal": "Weakest signal-to-noise it can use",
    "min_velocity": "Lowest velocity it measures",
    "max_velocity": "Highest velocity it measures",
    "min_temperature": "Coldest it may be used at",
    "max_temperature": "Hottest it may be used at",
    "min_spacing": "Shortest spacing its rail allows",
    "max_spacing": "Longest spacing its rail allows",
    HAZARDOUS: "Made for hazardous areas",
    "min_wall_thickness": "Thinnest wall it measures",
    "max_wall_thickness": "Thickest wall it measures",
    "note": "Note",
}
YES_OR_NO = {"yes": True, "no": False}


class TypeSheet(Sheet):
    """A type with what was typed of it so far."""

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
        # Those of its kind, and what is on record besides.
        requested = {*OF_KIND[base.kind], *(name for name, text in texts.items() if text), "note"}
        self._names = [name for name in LABELS if name in requested]

    @property
    def submit_label(self) -> str:
        """What the button says that does it."""
        return "Correct it"

    @property
    def entries(self) -> list[Entry]:
        """Every field in the order of the page."""
        return [
            self._entry(name, type="textarea") if name == "note" else self._entry(name)
            for name in self._names
        ]

    def stated(self) -> dict[str, Any]:
        """As the API takes it: what differs from the record; what was emptied is not known."""
        return {name: self._stated(name) for name in self._names if self._text(name) != self._was(name)}

    def _stated(self, name: str) -> Any:
        shown = self._text(name)
        if name == HAZARDOUS:
            return YES_OR_NO.get(shown)
        return shown if name == "note" else shown or None

    def _options(self, name: str) -> tuple[tuple[str, str], ...]:
        return (("", "not stated"), ("yes", "yes"), ("no", "no")) if name == HAZARDOUS else ()
