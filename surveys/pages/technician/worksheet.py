"""The set-up worksheet: initial values of its fields, and its calculation while it is filled in."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from django.utils.safestring import mark_safe
from django.utils.text import format_lazy
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from compute.base.units import System
from compute.measuring.entries import MediumEntry, PipeEntry, TransducerEntry
from compute.results.diagnosis import Diagnosis, case_of_sound_speed, diagnose
from compute.results.entry_errors import Case
from compute.results.survey import CalculatedSetup, calculate_setup
from surveys.core.errors import Conflict
from surveys.core.messages import Reader, render
from surveys.core.stored_quantities import calculation_json
from surveys.documents.formatting import finding_texts, format_quantity, stored_quantity_text
from surveys.documents.setup_drawings import cross_drawing, side_drawing
from surveys.documents.setup_sheet import drawn_from
from surveys.inputs.fields import si_of
from surveys.inputs.set_ups import changed_pipe_entry, medium_entry
from surveys.models import Instrument, MeasuringPoint, PipeData
from surveys.pages.pipe_form import (
    COMPOSITION,
    FURTHER_LABEL,
    FURTHER_LININGS,
    FURTHER_THICKNESS,
    Offer,
    starting_texts,
)
from surveys.pipes.selectors import pipe_data_at, place_of

WAVES = {"shear": gettext_lazy("shear wave"), "longitudinal": gettext_lazy("longitudinal wave")}
SIDES = {"same": gettext_lazy("same side"), "opposite": gettext_lazy("opposite sides")}


@dataclass(frozen=True, slots=True)
class Sheet:
    """A calculated sheet; `diagnosis` if a measured sound speed was entered."""

    pipe: PipeEntry
    transducers: TransducerEntry
    calculated: CalculatedSetup
    diagnosis: Diagnosis | None


def data_of_day(point: MeasuringPoint, now: datetime) -> PipeData:
    """The pipe data in force at a point. Raises Conflict where there is none."""
    data = pipe_data_at(point.pipe, now.astimezone(point.pipe.site.zone).date())
    if data is None:
        raise Conflict("no-pipe-data/set-up")
    return data


def calculated_sheet(point: MeasuringPoint, requested: Mapping[str, Any], now: datetime) -> Sheet:
    """Calculate a checked sheet with the code that calculates a set-up when it is saved.

    Raises ComputeError where no beam passes, Conflict where the pipe has no data.
    """
    data = data_of_day(point, now)
    pipe = changed_pipe_entry(data.pipe_entry(), requested["pipe"])
    medium = _medium(data, requested)
    pair: TransducerEntry = requested["transducers"]
    meter: Instrument | None = requested.get("meter")
    calculated = calculate_setup(
        pipe,
        medium,
        pair,
        traverses=requested.get("traverses"),
        expected_velocity=si_of(requested.get("expected_velocity")),
        place=place_of(point),
        timing_resolution=meter.timing_resolution_s if meter else None,
    )
    measured = si_of(requested.get("measured_sound_speed"))
    diagnosis = None
    if measured is not None:
        case = Case(pipe, medium, pair.transducers, calculated.spacing.traverses, 0.0)
        diagnosis = diagnose(case_of_sound_speed(case, measured), None)
    return Sheet(pipe, pair, calculated, diagnosis)


def _medium(data: PipeData, requested: Mapping[str, Any]) -> MediumEntry:
    entry = medium_entry(requested["medium"]) if "medium" in requested else data.medium_entry()
    temperature = si_of(requested.get("medium_temperature"))
    if temperature is None:
        return entry
    return replace(
        entry, temperature=temperature, temperature_source=requested.get("medium_temperature_source", "")
    )


def sheet_shown(sheet: Sheet, units: System) -> dict[str, Any]:
    """A sheet as the page shows it: values with units, drawings, and findings in order of severity."""
    outcome = calculation_json(sheet.calculated)
    spacing = format_quantity(outcome["spacing"]["si"], "length", units)
    drawn = drawn_from(outcome, sheet.pipe, float(sheet.transducers.transducers.face_offset))
    order = {"error": 0, "warning": 1, "info": 2}
    return {
        "spacing": spacing,
        "traverses": outcome["traverses"],
        "same_side": outcome["sides"] == "same",
        "facts": _facts(outcome, units),
        "alternatives": [
            (one["traverses"], SIDES[one["sides"]], stored_quantity_text(one["spacing"], units))
            for one in outcome["alternatives"]
        ],
        "findings": sorted(finding_texts(outcome["findings"], units), key=lambda one: order[one["severity"]]),
        "safety_notes": finding_texts(outcome["safety_notes"], units),
        # The texts of a drawing are escaped in `drawing`.
        "drawings": [
            mark_safe(side_drawing(drawn, units)),  # noqa: S308
            mark_safe(cross_drawing(drawn)),  # noqa: S308
        ],
        "diagnosis": sheet.diagnosis and _diagnosis(sheet.diagnosis, units),
    }


def _facts(outcome: dict[str, Any], units: System) -> list[tuple[str, str]]:
    angles = outcome["angles"]
    lining = (
        [(_("Angle in the lining"), stored_quantity_text(angles["lining"], units))]
        if "lining" in angles
        else []
    )
    return [
        (_("Inside diameter"), stored_quantity_text(outcome["bore"], units)),
        (
            _("Wave in the wall"),
            _("%(mode)s, %(angle)s from the normal")
            % {
                "mode": WAVES[outcome["wave_mode_in_wall"]],
                "angle": stored_quantity_text(angles["wall"], units),
            },
        ),
        *lining,
        (_("Angle in the medium"), stored_quantity_text(angles["medium"], units)),
        (_("Axial advance"), stored_quantity_text(outcome["axial_advance"], units)),
        (_("Expected sound speed"), stored_quantity_text(outcome["medium"]["sound_speed"], units, 1)),
        (_("Expected transit time"), stored_quantity_text(outcome["transit_time"], units)),
    ]


def _diagnosis(found: Diagnosis, units: System) -> dict[str, Any]:
    return {
        "consistent": found.consistent,
        "expected": format_quantity(found.expected_sound_speed, "speed", units, 1),
        "possible_causes": [
            {
                "field": one.candidate.field,
                "text": render(one.message, Reader(units)).text,
            }
            for one in found.possible_causes[:4]
        ],
        "other_cause_probability": round(100 * found.other_cause_probability),
    }


def further_linings(data: PipeData, units: System, offered: Sequence[Offer]) -> list[dict[str, Any]]:
    """Rows for the linings inside the first: those recorded, and empty rows that appear once the row before is selected."""
    texts, on_record = starting_texts(data, units), data.further_linings
    known = {one.name for one in offered}
    # A first lining that is defined by its properties has no name to select.
    before = "" if data.lining_thickness_m and not data.lining_material else "pipe.lining.material"
    rows = []
    for number, name in enumerate(FURTHER_LININGS):
        lining = on_record[number] if number < len(on_record) else None
        value = lining["material"]["name"] if lining else ""
        rows.append(
            {
                "name": name,
                "label": format_lazy(FURTHER_LABEL, number=number + 2, outer=number + 1),
                "thickness_label": format_lazy(FURTHER_THICKNESS, number=number + 2),
                "value": value,
                "unlisted": bool(value) and value not in known,
                "figures": json.dumps(_speeds(lining["material"])) if lining and not value else "",
                "thickness": texts.get(f"{name}.thickness", ""),
                # The text of a value that was not typed is rounded.
                "stored": json.dumps({"value": lining["thickness"], "unit": "m"})
                if lining and f"{name}.thickness" not in data.as_entered
                else "",
                "when": "" if lining else before,
            }
        )
        before = f"{name}.material"
    return rows


def _speeds(material: Mapping[str, Any]) -> dict[str, Any]:
    """The sound speeds of a material with all digits."""
    names = ("longitudinal_sound_speed", "shear_sound_speed")
    return {name: {"value": material[name], "unit": "m/s"} for name in names if material[name] is not None}


def starting_values(data: PipeData, units: System) -> dict[str, str]:
    """The initial values of the fields of a sheet."""
    texts = starting_texts(data, units)
    return {
        "outer_diameter": texts["pipe.outer_diameter"],
        "wall_thickness": texts["pipe.wall_thickness"],
        "material": data.material,
        "lining_material": data.lining_material,
        "lining_thickness": texts.get("pipe.lining.thickness", ""),
        "medium": data.medium,
        "pressure": texts.get("medium.pressure", ""),
        "temperature": texts.get("medium.temperature", ""),
        **{part: texts.get(f"medium.{part}", "") for part in COMPOSITION},
    }
