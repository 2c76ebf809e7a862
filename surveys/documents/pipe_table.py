"""Pipe and medium as documents show them: each value with its source."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.utils.translation import gettext, ngettext

from compute.base.units import System
from compute.library.liquids import liquids
from compute.library.materials import solid
from compute.measuring.entries import LiningEntry, MaterialEntry, resolve_pipe
from surveys.core.messages.library import library_title
from surveys.core.messages.numbers import entered_text
from surveys.documents.formatting import format_quantity, full_name
from surveys.documents.pdf import PdfDocument
from surveys.models import PipeData, Setup, SurveyData
from surveys.pipes.selectors import survey_medium

Row = tuple[str, str, str]


def pipe_table(pdf: PdfDocument, data: PipeData, taken: SurveyData | Setup, units: System) -> None:
    """Add the table of a version of pipe data, with the medium temperature of the survey if one was recorded."""
    zone = (taken if isinstance(taken, Setup) else taken.survey).measuring_point.pipe.site.zone
    rows = [
        *_pipe(data, units, zone),
        *_linings(data, units),
        *_medium(data, taken, units),
        _version(data, zone),
    ]
    pdf.table([gettext("Quantity"), gettext("Value"), gettext("Source")], rows, flexible=(2,))


def _pipe(data: PipeData, units: System, zone: Any) -> Iterator[Row]:
    diameter = format_quantity(data.outer_diameter_m, "length", units)
    yield gettext("Outer diameter"), diameter, _entered(data, "pipe.outer_diameter")
    wall = format_quantity(data.wall_thickness_m, "length", units, 2)
    yield gettext("Wall thickness"), wall, _wall_source(data, units, zone)
    if data.min_outer_diameter_m is not None and data.max_outer_diameter_m is not None:
        span = gettext("{smallest} to {largest}").format(
            smallest=format_quantity(data.min_outer_diameter_m, "length", units),
            largest=format_quantity(data.max_outer_diameter_m, "length", units),
        )
        yield gettext("Outer diameter, min. to max."), span, _entered(data, "pipe.max_outer_diameter")
    entry = data.pipe_entry()
    yield gettext("Material"), *_material(entry.material, _own_source(data.custom_material_data), units)
    if data.roughness_m is None:
        used = format_quantity(float(resolve_pipe(entry).pipe.roughness), "roughness", units)
        yield gettext("Roughness"), used, gettext("not entered; value of the new material is used")
    else:
        used = format_quantity(data.roughness_m, "roughness", units)
        yield gettext("Roughness"), used, _entered(data, "pipe.roughness")
    if data.dimensions_temperature_k is not None:
        at = format_quantity(data.dimensions_temperature_k, "temperature", units)
        yield gettext("Temperature of the dimensions"), at, _entered(data, "pipe.dimensions_temperature")


def _wall_source(data: PipeData, units: System, zone: Any) -> str:
    wall_measurement = data.wall_measurement
    if wall_measurement is None:
        return gettext("not measured; {source}").format(source=_entered(data, "pipe.wall_thickness"))
    count = len(wall_measurement.readings_m)
    taken_at = wall_measurement.taken_at.astimezone(zone)
    return ngettext(
        "measured at {count} position on {day} with {gauge}: mean {mean}, standard uncertainty {uncertainty}",
        "measured at {count} positions on {day} with {gauge}: mean {mean}, standard uncertainty {uncertainty}",
        count,
    ).format(
        count=count,
        day=f"{taken_at:%Y-%m-%d}",
        gauge=wall_measurement.gauge.serial,
        mean=format_quantity(wall_measurement.mean_m, "length", units, 2),
        uncertainty=format_quantity(wall_measurement.standard_uncertainty_m, "length", units, 2),
    )


def _linings(data: PipeData, units: System) -> Iterator[Row]:
    entry = data.pipe_entry()
    first = (entry.lining,) if entry.lining else ()
    for number, lining in enumerate((*first, *entry.further_linings)):
        own = _own_source(data.custom_lining_data) if number == 0 else ""
        yield _lining(lining, own, units)


def _lining(lining: LiningEntry, own: str, units: System) -> Row:
    name, source = _material(lining.material, own, units)
    return gettext("Lining"), f"{format_quantity(lining.thickness, 'length', units)}, {name}", source


def _material(material: MaterialEntry, own: str, units: System) -> tuple[str, str]:
    """Return the name of a material and the source of its sound speeds."""
    if own:
        return material.name, gettext("entered; properties of the custom library ({source})").format(
            source=own
        )
    if material.name:
        return library_title(solid(material.name).title), gettext("entered; sound speeds of the library")
    speeds = (material.longitudinal_sound_speed, material.shear_sound_speed)
    values = ", ".join(format_quantity(one, "speed", units, 0) for one in speeds if one is not None)
    return gettext("not named"), gettext("sound speeds entered: {values}").format(values=values)


def _medium(data: PipeData, taken: SurveyData | Setup, units: System) -> Iterator[Row]:
    medium = survey_medium(taken, data)
    own = _own_source(data.custom_medium_data)
    if own:
        source = gettext("entered; properties of the custom library ({source})").format(source=own)
        yield gettext("Medium"), medium.name, source
    elif medium.name:
        known = liquids().get(medium.name)
        name = library_title(known.title) if known else medium.name
        yield gettext("Medium"), name, gettext("entered; properties of the library")
    else:
        speed = format_quantity(medium.sound_speed, "speed", units, 1)
        source = gettext("sound speed entered: {speed}").format(speed=speed)
        yield gettext("Medium"), gettext("not named"), source
    if medium.temperature is not None:
        of_survey = taken.medium_temperature_k is not None
        source = _temperature_source(medium.temperature_source, of_survey=of_survey)
        yield gettext("Medium temperature"), format_quantity(medium.temperature, "temperature", units), source
    if medium.pressure is not None:
        pressure = format_quantity(medium.pressure, "pressure", units)
        yield gettext("Medium pressure"), pressure, _entered(data, "medium.pressure")


def _temperature_source(source: str | None, *, of_survey: bool) -> str:
    match source:
        case "measured":
            return gettext("measured during the survey") if of_survey else gettext("measured")
        case "estimated":
            return gettext("estimated during the survey") if of_survey else gettext("estimated")
        case _:
            return gettext("not recorded whether measured or estimated")


def _version(data: PipeData, zone: Any) -> Row:
    valid = str(data.valid_from) if data.valid_from else gettext("Since installation")
    change = f"{data.get_change_display()}: {data.reason}" if data.reason else data.get_change_display()
    recorded = gettext("recorded on {day} by {name}; {change}").format(
        day=f"{data.recorded_at.astimezone(zone):%Y-%m-%d}",
        name=full_name(data.recorded_by),
        change=change,
    )
    return gettext("Pipe data valid from"), valid, recorded


def _entered(data: PipeData, name: str) -> str:
    typed = data.as_entered.get(name)
    return gettext("entered as {text}").format(text=entered_text(typed)) if typed else gettext("entered")


def _own_source(version: object) -> str:
    return str(getattr(version, "source", ""))
