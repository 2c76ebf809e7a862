"""Pipe and medium as papers tell them: each figure with how it is known."""

from __future__ import annotations

from collections.abc import Iterator

from compute.base.units import System
from compute.measuring.entries import LiningEntry, MaterialEntry
from surveys.documents.formatting import worded
from surveys.documents.pdf import PdfDocument
from surveys.models import PipeData, Setup, SurveyData
from surveys.pipes.selectors import survey_medium

Row = tuple[str, str, str]


def pipe_table(pdf: PdfDocument, data: PipeData, taken: SurveyData | Setup, units: System) -> None:
    """The table of a version of pipe data, with the temperature taken on the day if one was."""
    rows = [*_pipe(data, units), *_linings(data, units), *_medium(data, taken, units), _version(data)]
    pdf.table(["Pipe and medium", "Value", "How it is known"], rows, flexible=(2,))


def _pipe(data: PipeData, units: System) -> Iterator[Row]:
    diameter = worded(data.outer_diameter_m, "length", units)
    yield "Outer diameter", diameter, _entered(data, "pipe.outer_diameter")
    yield "Wall thickness", worded(data.wall_thickness_m, "length", units, 2), _wall_known(data, units)
    if data.max_outer_diameter_m is not None:
        ends = (data.min_outer_diameter_m, data.max_outer_diameter_m)
        span = " to ".join(worded(one, "length", units) for one in ends)
        yield "Smallest to largest outer diameter", span, _entered(data, "pipe.max_outer_diameter")
    yield "Material", *_material(data.pipe_entry().material, _own_source(data.custom_material_data), units)
    if data.roughness_m is None:
        yield "Roughness", "-", "not stated; the usual one of the material is assumed"
    else:
        yield "Roughness", worded(data.roughness_m, "roughness", units), _entered(data, "pipe.roughness")
    if data.dimensions_temperature_k is not None:
        at = worded(data.dimensions_temperature_k, "temperature", units)
        yield "Temperature of the dimensions", at, _entered(data, "pipe.dimensions_temperature")


def _wall_known(data: PipeData, units: System) -> str:
    wall_measurement = data.wall_measurement
    if wall_measurement is None:
        return f"not gauged; {_entered(data, 'pipe.wall_thickness')}"
    mean, uncertainty = (
        worded(one, "length", units, 2)
        for one in (wall_measurement.mean_m, wall_measurement.standard_uncertainty_m)
    )
    return (
        f"gauged at {len(wall_measurement.readings_m)} places on {wall_measurement.taken_at:%Y-%m-%d} with "
        f"{wall_measurement.gauge.serial}: mean {mean}, standard uncertainty {uncertainty}"
    )


def _linings(data: PipeData, units: System) -> Iterator[Row]:
    entry = data.pipe_entry()
    first = (entry.lining,) if entry.lining else ()
    for number, lining in enumerate((*first, *entry.further_linings)):
        own = _own_source(data.custom_lining_data) if number == 0 else ""
        yield _lining(lining, own, units)


def _lining(lining: LiningEntry, own: str, units: System) -> Row:
    name, known = _material(lining.material, own, units)
    return "Lining", f"{worded(lining.thickness, 'length', units)}, {name}", known


def _material(material: MaterialEntry, own: str, units: System) -> tuple[str, str]:
    """What it is, and where its sound speeds are from."""
    if own:
        return material.name, f"stated; figures of the office's own library ({own})"
    if material.name:
        return material.name, "stated; sound speeds of the library"
    speeds = (material.longitudinal_sound_speed, material.shear_sound_speed)
    told = ", ".join(worded(one, "speed", units, 0) for one in speeds if one is not None)
    return "not named", f"by its stated sound speeds: {told}"


def _medium(data: PipeData, taken: SurveyData | Setup, units: System) -> Iterator[Row]:
    medium = survey_medium(taken, data)
    own = _own_source(data.custom_medium_data)
    if own:
        yield "Medium", medium.name, f"stated; figures of the office's own library ({own})"
    elif medium.name:
        yield "Medium", medium.name, "stated; properties of the library"
    else:
        speed = worded(medium.sound_speed, "speed", units, 1)
        yield "Medium", "not named", f"by its stated sound speed {speed}"
    if medium.temperature is not None:
        how = f"{medium.temperature_source or 'not said whether measured or estimated'}"
        day = ", on the day" if taken.medium_temperature_k is not None else ""
        yield "Its temperature", worded(medium.temperature, "temperature", units), how + day
    if medium.pressure is not None:
        yield "Its pressure", worded(medium.pressure, "pressure", units), _entered(data, "medium.pressure")


def _version(data: PipeData) -> Row:
    holds = f"holds from {data.valid_from}" if data.valid_from else "has always held"
    why = f"{data.get_change_display()}: {data.reason}" if data.reason else data.get_change_display()
    return (
        "This pipe data",
        holds,
        f"recorded {data.recorded_at:%Y-%m-%d} by {data.recorded_by.username}, {why}",
    )


def _entered(data: PipeData, name: str) -> str:
    typed = data.as_entered.get(name)
    return f"entered as {typed}" if typed else "entered"


def _own_source(version: object) -> str:
    return str(getattr(version, "source", ""))
