"""The sheet a technician takes along: where and how to mount the transducers, what to expect, what to look out for."""

from __future__ import annotations

from typing import Any

from compute.base.sources import Source
from compute.base.units import System
from compute.measuring.drawing import Drawn
from compute.measuring.entries import PipeEntry
from compute.measuring.location import HAZARD_SOURCE, straight_lengths
from surveys.documents.formatting import (
    findings_worded,
    heading,
    moment,
    stored_quantity_text,
    straight_length_text,
    worded,
)
from surveys.documents.pdf import PdfDocument
from surveys.documents.pipe_table import pipe_table
from surveys.documents.setup_drawings import cross_drawing, side_drawing
from surveys.models import MeasuringPoint, Setup

CHECKLIST = (
    "Pipe data confirmed on site: circumference taped, wall gauged at eight places, material seen.",
    "Place as described: straight pipe before and behind, pipe full, no valve throttling close by.",
    "Surface cleaned to bare metal or sound plastic, couplant on both faces.",
    "Transducers in line with the axis; on a horizontal pipe at the side, not at the top or the bottom.",
    "Spacing set and read back by a second look; cables with the flow and against it not swapped.",
    "Signal and measured sound speed as expected before the log is started.",
    "Zero looked at, if the flow can be stopped.",
)
NOT_RECORDED = "not on record"
DEFERS = "The site's permit and local rules take precedence. This document is not a permit to work."


def setup_sheet(setup: Setup, units: System, address: str) -> PdfDocument:
    """The paper of a set-up."""
    point = setup.measuring_point
    site = point.pipe.site
    pdf = PdfDocument(
        title=f"Set-up sheet: {point.name}",
        subtitle=f"{point.pipe.name}, {site.name} · {site.client.name}",
        footer=f"Set-up {setup.pk} · worked out {moment(setup.calculated_at, site.zone)} by {setup.calculated_by.username}",
        stamp=setup.calculated_at,
        address=address,
    )
    setup_blocks(pdf, setup, units)
    return pdf


def setup_blocks(pdf: PdfDocument, setup: Setup, units: System) -> None:
    """The blocks of a set-up, on a sheet of its own or within another paper."""
    outcome = setup.outcome
    pdf.safety_notes(
        [
            safety_note_text(one["text"], Source(**one["source"]))
            for one in findings_worded(outcome["safety_notes"], units)
        ],
        DEFERS,
    )
    drawn = drawn_of(setup)
    sides = "same side" if outcome["sides"] == "same" else "opposite sides"
    pdf.figure(
        "Spacing between the facing ends of the transducers",
        worded(setup.spacing_m, "length", units),
        f"{setup.traverses} traverse{'s' if setup.traverses > 1 else ''}, transducers on "
        f"{'the ' if outcome['sides'] == 'same' else ''}{sides} of the pipe; pair {setup.transducer_data.instrument.serial}."
        + (" Negative: the transducers overlap." if setup.spacing_m < 0 else ""),
    )
    spacing = worded(setup.spacing_m, "length", units)
    lengthwise = (
        f"Pipe lengthwise to scale with {setup.traverses} traverses of the beam and the spacing of {spacing}"
    )
    pdf.drawings_beside(
        [
            (side_drawing(drawn, units), lengthwise, 64),
            (
                cross_drawing(drawn),
                f"Pipe across to scale, transducers on {sides}",
                28,
            ),
        ]
    )
    pdf.heading("What to expect")
    angles = outcome["angles"]
    pdf.facts(
        [
            ("Sound speed of the medium", stored_quantity_text(outcome["medium"]["sound_speed"], units, 1)),
            ("Transit time", stored_quantity_text(outcome["transit_time"], units)),
            (
                "Wave in the wall",
                f"{outcome['wave_mode_in_wall']}, at {stored_quantity_text(angles['wall'], units)} from the radius",
            ),
            ("Angle in the medium", f"{stored_quantity_text(angles['medium'], units)} from the radius"),
            ("Axial advance", stored_quantity_text(outcome["axial_advance"], units)),
        ]
    )
    pdf.heading("The place")
    pdf.facts(place_rows(setup.measuring_point, units))
    pdf.heading("Pipe and medium it was worked out for")
    pipe_table(pdf, setup.pipe_data, setup, units)
    findings_blocks(pdf, outcome["findings"], units)
    pdf.heading("On site")
    pdf.checklist(CHECKLIST)
    pdf.heading("Written down on site")
    pdf.form(
        [
            ["Wall at clock position", "12", "1:30", "3", "4:30", "6", "7:30", "9", "10:30"],
            ["reading", *("" for _ in range(8))],
            ["repeated", *("" for _ in range(8))],
        ]
    )
    pdf.form(
        [
            ["Circumference, taped", ""],
            ["Spacing as mounted", ""],
            ["Temperature, how measured", ""],
            ["Signal, sound speed shown", ""],
            ["Date, time, name", ""],
        ]
    )


def drawn_of(setup: Setup) -> Drawn:
    """A stored set-up as a drawing takes it."""
    return drawn_from(setup.outcome, setup.pipe_data.pipe_entry(), setup.transducer_data.face_offset_m)


def drawn_from(outcome: dict[str, Any], pipe: PipeEntry, face_offset: float) -> Drawn:
    """A set-up worked out, kept or not, as a drawing takes it."""
    angles = outcome["angles"]
    solids = [(pipe.wall_thickness, angles["wall"]["si"])]
    if pipe.lining:
        solids.append((pipe.lining.thickness, angles["lining"]["si"]))
    return Drawn(
        outer_diameter=pipe.outer_diameter,
        bore=outcome["bore"]["si"],
        solids=tuple(solids),
        angle_in_medium=angles["medium"]["si"],
        traverses=outcome["traverses"],
        axial_advance=outcome["axial_advance"]["si"],
        spacing=outcome["spacing"]["si"],
        face_offset=face_offset,
    )


def safety_note_text(text: str, source: Source) -> str:
    """A safety note with its source; that the permit takes precedence is stated once, below all notes."""
    return text if source.text == HAZARD_SOURCE.text else f"{text} ({source.citation})"


def place_rows(point: MeasuringPoint, units: System) -> list[tuple[str, str]]:
    """The place as it is on record, to be compared with what is there."""
    known = straight_lengths().get(point.upstream_disturbance)
    full = {True: "sure to run full", False: "may not run full", None: "not on record whether it runs full"}
    lengths = (point.upstream_straight_length_m, point.downstream_straight_length_m)
    before, after = (NOT_RECORDED if one is None else straight_length_text(one, units) for one in lengths)
    return [
        *([("Description", point.description)] if point.description else []),
        ("Upstream", known.title if known else NOT_RECORDED),
        ("Straight pipe", f"upstream {before}, downstream {after}"),
        ("Pipe", f"{point.orientation or 'orientation not on record'}, {full[point.full_pipe]}"),
        ("Transducers at", (point.mounting or NOT_RECORDED).replace("-", " ")),
    ]


def findings_blocks(pdf: PdfDocument, findings: list[dict[str, Any]], units: System) -> None:
    """What the sanity checks say, the gravest first."""
    if not findings:
        return
    pdf.heading("What the checks say")
    order = {"error": 0, "warning": 1, "info": 2}
    for finding in sorted(findings_worded(findings, units), key=lambda one: order[one["severity"]]):
        pdf.callout(heading(finding), finding["body"], finding["severity"])
