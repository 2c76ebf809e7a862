"""Initial texts and choices of the forms for pipes, media and transducer pairs."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext_lazy as _

from compute.base.units import System, express
from compute.library.materials import solids
from compute.library.media import media
from surveys.core.messages.library import library_title
from surveys.inputs.set_ups import MAX_FURTHER_LININGS, pipe_data_document
from surveys.models import PipeData
from surveys.pipes.selectors import Viewer, custom_materials_now, custom_media_now

PIPES, LININGS = ("pipe", "lining"), ("lining", "pipe")
# Composition of a medium: fields of requests with their labels.
COMPOSITION = {
    "salinity": _("Salinity"),
    "mass_fraction": _("Mass fraction (0 to 1)"),
    "api_gravity": _("API gravity"),
}
# Further linings from the outside in: fields of requests with their labels.
FURTHER_LININGS = [f"pipe.further_linings.{number}" for number in range(MAX_FURTHER_LININGS)]
FURTHER_LABEL = _("Lining {number}, inside lining {outer}")
FURTHER_THICKNESS = _("Thickness of lining {number}")
# Fields for a number without a unit, with the remedy for wrong entries.
PLAIN_NUMBERS = {
    "medium.mass_fraction": _("Enter a number from 0 to 1, e.g. 0.3 for 30 %."),
    "medium.api_gravity": _("Enter a number without a unit, e.g. 32.5."),
}


@dataclass(frozen=True, slots=True)
class Offer:
    """A material or medium to select; `needs` is the field of the composition that a medium requires, if any."""

    name: str
    title: str
    needs: str = ""


def choices(user: Viewer) -> dict[str, list[Offer]]:
    """Return the materials and media to select from: library and custom, the usual ones first."""
    custom_materials = [Offer(one.material.name, one.material.title) for one in custom_materials_now(user)]
    custom_media = [Offer(one.medium.name, one.medium.title) for one in custom_media_now(user)]
    library = [
        Offer(
            one.name, library_title(one.title), next((need for need in one.needs if need in COMPOSITION), "")
        )
        for one in media()
    ]
    return {
        "pipes": _materials(PIPES) + custom_materials,
        "linings": _materials(LININGS) + custom_materials,
        "media": library + custom_media,
    }


def entries_by(offers: Iterable[Offer]) -> dict[str, str]:
    """Part of a composition -> the media that need it, as `data-when` of a page has them."""
    listed = list(offers)
    return {
        part: " ".join(["medium.name", *(one.name for one in listed if one.needs == part)])
        for part in COMPOSITION
    }


def on_record(data: PipeData) -> dict[str, Any]:
    """Return the value of a version of pipe data by path: a quantity as stored, a name or a number."""
    return {path: value for path, value in _leaves(pipe_data_document(data)) if value is not None}


def starting_texts(data: PipeData, units: System) -> dict[str, str]:
    """Return the initial text of each field by path: as entered, or the value in the units of the reader."""
    return entered_texts(on_record(data), data.as_entered, units)


def entered_texts(values: Mapping[str, Any], as_entered: Mapping[str, str], units: System) -> dict[str, str]:
    """Return the text of each stored value: as entered, or the value in the units of the reader."""
    return {path: as_entered.get(path, "") or _text(value, units) for path, value in values.items()}


def _materials(uses: tuple[str, ...]) -> list[Offer]:
    return [Offer(one.name, library_title(one.title)) for use in uses for one in solids() if one.use == use]


def _leaves(document: Mapping[str, Any], path: str = "") -> Iterator[tuple[str, Any]]:
    for name, value in document.items():
        here = f"{path}{name}"
        if isinstance(value, Mapping) and value.keys() != {"si", "kind"}:
            yield from _leaves(value, f"{here}.")
        elif isinstance(value, list):
            for number, one in enumerate(value):
                yield from _leaves(one, f"{here}.{number}.")
        else:
            yield here, value


def _text(value: Any, units: System) -> str:
    if not isinstance(value, Mapping):
        return f"{value:.6g}" if isinstance(value, float) else str(value)
    shown = express(value["si"], value["kind"], units)
    return f"{shown['value']:.6g} {shown['unit']}"
