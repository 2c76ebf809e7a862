"""The form of the data of a pipe and its medium."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from django.utils.functional import Promise
from django.utils.text import format_lazy
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from compute.base.units import System
from surveys.documents.formatting import format_quantity
from surveys.inputs.set_ups import MAX_FURTHER_LININGS, OVAL, WAVE_MODES
from surveys.models import PipeData, WallMeasurement
from surveys.models.pipe import TemperatureSource
from surveys.pages.office.sheet import Entry, FormInitial, Sheet
from surveys.pages.pipe_form import (
    COMPOSITION,
    FURTHER_LABEL,
    FURTHER_LININGS,
    FURTHER_THICKNESS,
    PLAIN_NUMBERS,
    Offer,
    entered_texts,
    entries_by,
    on_record,
)

# Selected instead of a name: the properties are entered.
BY_VALUES = "*"
SPEEDS = ("longitudinal_sound_speed", "shear_sound_speed")
FIGURES = ("sound_speed", "density", "dynamic_viscosity")
CONDITIONS = ("temperature", "temperature_source", "pressure")
# Optional fields of the pipe; each is a separate field of a request.
OPTIONAL = ("roughness", "wave_mode", "dimensions_temperature", *OVAL)


def _of_further_lining(row: str, number: int) -> dict[str, Promise]:
    return {
        f"{row}.material": format_lazy(FURTHER_LABEL, number=number, outer=number - 1),
        f"{row}.thickness": format_lazy(FURTHER_THICKNESS, number=number),
        f"{row}.material.longitudinal_sound_speed": format_lazy(
            _("Lining {number}: longitudinal sound speed"), number=number
        ),
        f"{row}.material.shear_sound_speed": format_lazy(
            _("Lining {number}: shear sound speed (optional)"), number=number
        ),
    }


LABELS = {
    "valid_from": _("Valid from (optional)"),
    "changed_on": _("Modified on"),
    "pipe.outer_diameter": _("Outer diameter"),
    "pipe.wall_thickness": _("Wall thickness"),
    "wall_measurement": _("Wall thickness measurement"),
    "pipe.material": _("Material"),
    "pipe.material.longitudinal_sound_speed": _("Material: longitudinal sound speed"),
    "pipe.material.shear_sound_speed": _("Material: shear sound speed (optional)"),
    "pipe.lining": _("Lining"),
    "pipe.lining.thickness": _("Lining thickness"),
    "pipe.lining.material.longitudinal_sound_speed": _("Lining: longitudinal sound speed"),
    "pipe.lining.material.shear_sound_speed": _("Lining: shear sound speed (optional)"),
    **{
        name: label
        for number, row in enumerate(FURTHER_LININGS, start=2)
        for name, label in _of_further_lining(row, number).items()
    },
    "pipe.roughness": _("Roughness"),
    "pipe.wave_mode": _("Wave mode in the wall"),
    "pipe.dimensions_temperature": _("Temperature of the dimensions"),
    "pipe.max_outer_diameter": _("Maximum outer diameter (out-of-round pipe)"),
    "pipe.min_outer_diameter": _("Minimum outer diameter (out-of-round pipe)"),
    "medium.name": _("Medium"),
    **{f"medium.{part}": label for part, label in COMPOSITION.items()},
    "medium.sound_speed": _("Medium sound speed"),
    "medium.density": _("Density"),
    "medium.dynamic_viscosity": _("Dynamic viscosity"),
    "medium.temperature": _("Medium temperature"),
    "medium.temperature_source": _("Source of the medium temperature"),
    "medium.pressure": _("Medium pressure (absolute)"),
    "reason": _("Reason (shown to the client)"),
}
# Texts shown for empty fields.
DEFAULT_TEXTS = {
    "valid_from": _("since installation"),
    "wall_measurement": _("none"),
    "pipe.lining": _("none"),
    **{f"{row}.material": _("none") for row in FURTHER_LININGS},
    "pipe.roughness": _("not entered: roughness of the new material is used"),
    "pipe.wave_mode": _("default for the material"),
    "pipe.dimensions_temperature": _("not entered: no correction for temperature"),
    "medium.pressure": _(
        "not entered: atmospheric pressure, or the pressure that keeps the medium liquid, is used"
    ),
}

WAVE_MODE_LABELS = {"shear": _("shear wave"), "longitudinal": _("longitudinal wave")}


class PipeSheet(Sheet):
    """A version of pipe data with the entered changes."""

    labels = LABELS
    default_texts = DEFAULT_TEXTS
    plain_numbers = PLAIN_NUMBERS
    kinds = ("correction", "modification")

    def __init__(
        self,
        base: PipeData,
        units: System,
        typed: Mapping[str, str],
        offers: Mapping[str, Sequence[Offer]],
        wall_measurements: Iterable[WallMeasurement],
    ) -> None:
        super().__init__(_beginning(base, units), typed)
        self.base, self.units = base, units
        self.altered = self.kind == "modification"
        self._offers = offers
        self._wall_measurements = tuple(
            (str(one.pk), f"{one.taken_at:%Y-%m-%d}: {format_quantity(one.mean_m, 'length', units, 2)}")
            for one in wall_measurements
        )
        requested = self._typed.get("pipe.further_linings.rows", "")
        shown = int(requested[:2]) if requested.isascii() and requested.isdigit() else 0
        self.further = min(max(len(base.further_linings), shown), MAX_FURTHER_LININGS)

    @property
    def takes_another_lining(self) -> bool:
        """Whether another lining can be added."""
        return self.further < MAX_FURTHER_LININGS

    def add_lining(self) -> None:
        """Add a row for a lining inside the others."""
        self.further = min(self.further + 1, MAX_FURTHER_LININGS)

    def stated(self) -> dict[str, Any]:
        """Return the request data of the API: the changed fields, the medium as a whole."""
        is_now, was = self._document(self._text), self._document(self._was)
        pipe = {part: value for part, value in is_now["pipe"].items() if value != was["pipe"][part]}
        if pipe.keys() & set(OVAL):
            pipe |= {part: is_now["pipe"][part] for part in OVAL}
        requested: dict[str, Any] = {
            "reason": self._text("reason"),
            "pipe": pipe,
            "wall_measurement": self._wall_measurement() or None,
        }
        if is_now["medium"] != was["medium"]:
            requested["medium"] = is_now["medium"]
        if self.altered:
            return requested | ({"valid_from": day} if (day := self._text("changed_on")) else {})
        return requested | {"corrects": str(self.base.pk), "valid_from": self._text("valid_from") or None}

    @property
    def submit_label(self) -> Promise:
        """Label of the button that saves the change."""
        return _("Save modification") if self.altered else _("Save correction")

    @property
    def nothing_changed(self) -> bool:
        """Whether all fields have their recorded values; a date alone is not a modification."""
        return not [one for one in self.changes if one.name != "changed_on"]

    @property
    def entries(self) -> list[Entry]:
        """All fields in the order of the page, without the reason."""
        return [*self.since, *self.pipe, *self.more_of_pipe, *self.medium]

    @property
    def since(self) -> list[Entry]:
        """The date from which the data are valid: of the corrected version, or of the modification."""
        return [
            self._entry("valid_from", type="date", when="kind correction"),
            self._entry("changed_on", type="date", when="kind modification"),
        ]

    @property
    def pipe(self) -> list[Entry]:
        """Fields of the pipe including its linings, each after the choice that it belongs to."""
        names = [
            "pipe.outer_diameter",
            "pipe.wall_thickness",
            *(["wall_measurement"] if self._wall_measurements else []),
        ]
        return [
            *(self._entry(name) for name in names),
            self._entry("pipe.material"),
            *self._speeds("pipe.material", "pipe.material"),
            self._entry("pipe.lining"),
            self._entry("pipe.lining.thickness", when="pipe.lining"),
            *self._speeds("pipe.lining", "pipe.lining.material"),
            *(entry for row in FURTHER_LININGS[: self.further] for entry in self._further_lining(row)),
        ]

    @property
    def more_of_pipe(self) -> list[Entry]:
        """Optional fields of the pipe."""
        return [self._entry(f"pipe.{part}") for part in OPTIONAL]

    @property
    def medium(self) -> list[Entry]:
        """Fields of the medium, with those of its composition."""
        made_of = entries_by(self._offers["media"])
        return [
            self._entry("medium.name"),
            *(self._entry(f"medium.{part}", when=when) for part, when in made_of.items()),
            *(self._entry(f"medium.{part}", when=f"medium.name {BY_VALUES}") for part in FIGURES),
            *(self._entry(f"medium.{part}") for part in CONDITIONS),
        ]

    def _wall_measurement(self) -> str:
        """Return the selected wall measurement; none if the wall thickness was changed by hand and no other was selected."""
        chosen = self._text("wall_measurement")
        by_hand = self._text("pipe.wall_thickness") != self._was("pipe.wall_thickness")
        return "" if by_hand and chosen == self._was("wall_measurement") else chosen

    def _speeds(self, chosen: str, path: str) -> list[Entry]:
        return [self._entry(f"{path}.{speed}", when=f"{chosen} {BY_VALUES}") for speed in SPEEDS]

    def _further_lining(self, row: str) -> list[Entry]:
        chosen = f"{row}.material"
        return [
            self._entry(chosen),
            self._entry(f"{row}.thickness", when=chosen),
            *self._speeds(chosen, chosen),
        ]

    def _of_medium(self, text: Callable[[str], str]) -> tuple[str, ...]:
        """Return the fields of a medium besides name and conditions: its properties or its composition."""
        name = text("medium.name")
        if name == BY_VALUES:
            return FIGURES
        return tuple(one.needs for one in self._offers["media"] if one.name == name and one.needs)

    def _document(self, text: Callable[[str], str]) -> dict[str, Any]:
        """Return pipe and medium as request data of the API."""
        value = self._value_by(text)
        pipe: dict[str, Any] = {
            "outer_diameter": value("pipe.outer_diameter"),
            "wall_thickness": value("pipe.wall_thickness"),
            "material": _material(text("pipe.material"), "pipe.material", value),
            "lining": None,
            **{part: value(f"pipe.{part}") or None for part in OPTIONAL},
        }
        if lining := text("pipe.lining"):
            material = _material(lining, "pipe.lining.material", value)
            pipe["lining"] = {"material": material, "thickness": value("pipe.lining.thickness")}
        pipe["further_linings"] = [
            {
                "material": _material(text(f"{row}.material"), f"{row}.material", value),
                "thickness": value(f"{row}.thickness"),
            }
            for row in self._rows_stated(text)
        ]
        name = text("medium.name")
        medium: dict[str, Any] = {} if name == BY_VALUES else {"name": name}
        for part in (*self._of_medium(text), *CONDITIONS):
            if stated := value(f"medium.{part}"):
                medium[part] = stated
        return {"pipe": pipe, "medium": medium}

    def _rows_stated(self, text: Callable[[str], str]) -> list[str]:
        """Return the rows with a further lining; a row without a material is not a lining."""
        return [row for row in FURTHER_LININGS[: self.further] if text(f"{row}.material")]

    def _value_by(self, text: Callable[[str], str]) -> Callable[[str], Any]:
        def value(name: str) -> Any:
            shown = text(name)
            kept = self._as_it_was(name, shown)
            if kept is not None:
                return kept
            return _number(shown) if name in PLAIN_NUMBERS else shown

        return value

    def _at(self, field: str) -> str:
        if field == "valid_from" and self.altered:
            return "changed_on"
        if found := re.match(r"pipe\.further_linings\.(\d+)(.*)", field):
            # Rows left empty were not sent.
            rows = self._rows_stated(self._text)
            place = int(found[1])
            field = (rows[place] if place < len(rows) else "") + found[2]
        known = {"pipe.lining.material": "pipe.lining", "medium": "medium.name"}
        return super()._at(known.get(field, field))

    def _value(self, name: str) -> str:
        return self._wall_measurement() if name == "wall_measurement" else self._text(name)

    def _with_source(self, name: str, recorded: str) -> str:
        """Return a recorded value with its source, if a source is recorded."""
        if name == "pipe.wall_thickness" and (wall_measurement := self.base.wall_measurement):
            mean = format_quantity(wall_measurement.mean_m, "length", self.units, 2)
            return gettext("%(value)s, measured %(date)s (mean %(mean)s)") % {
                "value": recorded,
                "date": f"{wall_measurement.taken_at:%Y-%m-%d}",
                "mean": mean,
            }
        if name == "medium.temperature" and self._was(name):
            source = self.base.get_medium_temperature_source_display() or gettext("source not entered")
            return gettext("%(value)s, %(source)s") % {"value": recorded, "source": source}
        return recorded

    def _options(self, name: str) -> tuple[tuple[str, str | Promise], ...]:
        by_speeds = (BY_VALUES, _("entered sound speeds"))
        if name == "pipe.material":
            return (*self._offered("pipes", name), by_speeds)
        if name == "pipe.lining" or name.removesuffix(".material") in FURTHER_LININGS:
            return (("", _("none")), *self._offered("linings", name), by_speeds)
        if name == "medium.name":
            return (*self._offered("media", name), (BY_VALUES, _("entered properties")))
        if name == "pipe.wave_mode":
            return (("", DEFAULT_TEXTS[name]), *((mode, WAVE_MODE_LABELS[mode]) for mode in WAVE_MODES))
        if name == "medium.temperature_source":
            return (("", _("not entered")), *TemperatureSource.choices)
        return (("", _("none")), *self._wall_measurements) if name == "wall_measurement" else ()

    def _offered(self, what: str, name: str) -> list[tuple[str, str]]:
        """Return the options, with the recorded value even if it is not one of them."""
        offered = [(one.name, one.title) for one in self._offers[what]]
        was = self._was(name)
        unlisted = was not in ("", BY_VALUES, *(one for one, _ in offered))
        return [(was, was), *offered] if unlisted else offered


def _beginning(base: PipeData, units: System) -> FormInitial:
    """Return the initial state of the form."""
    values = on_record(base)
    start = entered_texts(values, base.as_entered, units)
    start["pipe.material"] = base.material or BY_VALUES
    start["pipe.lining"] = (base.lining_material or BY_VALUES) if base.lining_thickness_m else ""
    for row, lining in zip(FURTHER_LININGS, base.further_linings, strict=False):
        start[f"{row}.material"] = lining["material"]["name"] or BY_VALUES
    start["medium.name"] = base.medium or BY_VALUES
    start["valid_from"] = base.valid_from.isoformat() if base.valid_from else ""
    start["wall_measurement"] = str(base.wall_measurement_id or "")
    return FormInitial(start, values, base.as_entered)


def _material(chosen: str, path: str, value: Callable[[str], Any]) -> Any:
    if chosen != BY_VALUES:
        return chosen
    return {speed: stated for speed in SPEEDS if (stated := value(f"{path}.{speed}"))}


def _number(text: str) -> Any:
    """Return an entered number as a number; other text unchanged, so that the API rejects it at its field."""
    try:
        return float(text)
    except ValueError:
        return text
