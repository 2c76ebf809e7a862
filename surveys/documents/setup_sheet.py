"""Set-up sheet of a technician: location, mounting, expected values, findings and checklist."""

from __future__ import annotations

from datetime import UTC, tzinfo
from typing import Any

from django.utils.translation import gettext, ngettext
from django.utils.translation import gettext_lazy as _

from compute.base.sources import Source
from compute.base.units import System
from compute.measuring.drawing import Drawn
from compute.measuring.entries import PipeEntry
from compute.measuring.location import HAZARD_SOURCE, straight_lengths
from surveys.core.messages.citations import citation
from surveys.core.messages.terms import word_of
from surveys.documents.formatting import (
    finding_texts,
    format_quantity,
    full_name,
    heading,
    moment,
    stored_quantity_text,
    straight_length_text,
)
from surveys.documents.pdf import PdfDocument
from surveys.documents.pipe_table import pipe_table
from surveys.documents.setup_drawings import cross_drawing, side_drawing
from surveys.models import MeasuringPoint, Setup

CHECKLIST = (
    _(
        "Pipe data confirmed on site: circumference and wall thickness (eight positions) measured, material checked."
    ),
    _("Location as described: straight lengths, full pipe, no throttling valve close by."),
    _("Surface cleaned to bare metal or sound plastic, couplant on both faces."),
    _("Transducers in line with the pipe axis; on a horizontal pipe at the side, not at the top or bottom."),
    _("Spacing set and read a second time; cables of the upstream and downstream transducer not swapped."),
    _("Signal and measured sound speed as expected before the log is started."),
    _("Zero flow check done, if the flow can be stopped."),
)
NOT_RECORDED = _("not recorded")
DEFERS = _("The site's permit and local rules take precedence. This document is not a permit to work.")
FULL = {
    True: _("full"),
    False: _("may be partly filled"),
    None: _("not recorded whether the pipe is full"),
}


def setup_sheet(setup: Setup, units: System, address: str) -> PdfDocument:
    """Return the document of a set-up."""
    point = setup.measuring_point
    site = point.pipe.site
    pdf = PdfDocument(
        title=gettext("Set-up sheet: {point}").format(point=point.name),
        subtitle=f"{point.pipe.name}, {site.name} · {site.client.name}",
        footer=gettext("Set-up calculated {at} by {user}").format(
            at=moment(setup.calculated_at, site.zone), user=full_name(setup.calculated_by)
        ),
        stamp=setup.calculated_at,
        address=address,
    )
    setup_blocks(pdf, setup, units)
    pdf.heading(gettext("Records"))
    pdf.facts([(gettext("Set-up"), str(setup.pk))])
    return pdf


def setup_blocks(pdf: PdfDocument, setup: Setup, units: System) -> None:
    """Add the blocks of a set-up to a sheet of its own or to another document."""
    outcome = setup.outcome
    pdf.safety_notes(
        [
            safety_note_text(one["text"], Source(**one["source"]))
            for one in finding_texts(outcome["safety_notes"], units)
        ],
        str(DEFERS),
    )
    drawn = drawn_of(setup)
    spacing = format_quantity(setup.spacing_m, "length", units)
    pdf.figure(gettext("Transducer spacing, face to face"), spacing, _mounting(setup))
    lengthwise = ngettext(
        "Pipe lengthwise, to scale, with {count} traverse and a spacing of {spacing}",
        "Pipe lengthwise, to scale, with {count} traverses and a spacing of {spacing}",
        setup.traverses,
    ).format(count=setup.traverses, spacing=spacing)
    across = (
        gettext("Pipe across, to scale, transducers on the same side")
        if outcome["sides"] == "same"
        else gettext("Pipe across, to scale, transducers on opposite sides")
    )
    pdf.drawings_in_row([(side_drawing(drawn, units), lengthwise, 64), (cross_drawing(drawn), across, 28)])
    pdf.heading(gettext("Expected values"))
    angles = outcome["angles"]
    pdf.facts(
        [
            (
                gettext("Sound speed of the medium"),
                stored_quantity_text(outcome["medium"]["sound_speed"], units, 1),
            ),
            (gettext("Transit time"), stored_quantity_text(outcome["transit_time"], units)),
            (
                gettext("Wave in the wall"),
                gettext("{wave_mode}, {angle} from the radius").format(
                    wave_mode=word_of(outcome["wave_mode_in_wall"]),
                    angle=stored_quantity_text(angles["wall"], units),
                ),
            ),
            (
                gettext("Angle in the medium"),
                gettext("{angle} from the radius").format(
                    angle=stored_quantity_text(angles["medium"], units)
                ),
            ),
            (gettext("Axial advance"), stored_quantity_text(outcome["axial_advance"], units)),
        ]
    )
    pdf.heading(gettext("Measuring location"))
    pdf.facts(place_rows(setup.measuring_point, units))
    pdf.heading(gettext("Pipe and medium"))
    pipe_table(pdf, setup.pipe_data, setup, units)
    findings_blocks(pdf, outcome["findings"], units)
    pdf.heading(gettext("Checklist on site"))
    pdf.checklist([str(one) for one in CHECKLIST])
    pdf.heading(gettext("Readings on site"))
    pdf.form(
        [
            [gettext("Wall at clock position"), "12", "1:30", "3", "4:30", "6", "7:30", "9", "10:30"],
            [gettext("Reading"), *("" for _position in range(8))],
            [gettext("Repeat reading"), *("" for _position in range(8))],
        ]
    )
    pdf.form(
        [
            [gettext("Circumference"), ""],
            [gettext("Mounted spacing"), ""],
            [gettext("Temperature and how measured"), ""],
            [gettext("Signal and sound speed shown"), ""],
            [gettext("Date, time, name"), ""],
        ]
    )


def _mounting(setup: Setup) -> str:
    """Traverses, sides and transducer pair; a negative spacing is explained."""
    text = (
        ngettext(
            "{count} traverse, transducers on the same side of the pipe; pair {serial}.",
            "{count} traverses, transducers on the same side of the pipe; pair {serial}.",
            setup.traverses,
        )
        if setup.outcome["sides"] == "same"
        else ngettext(
            "{count} traverse, transducers on opposite sides of the pipe; pair {serial}.",
            "{count} traverses, transducers on opposite sides of the pipe; pair {serial}.",
            setup.traverses,
        )
    ).format(count=setup.traverses, serial=setup.transducer_data.instrument.serial)
    if setup.spacing_m >= 0:
        return text
    return f"{text} {gettext('The spacing is negative: the transducers overlap along the pipe.')}"


def drawn_of(setup: Setup) -> Drawn:
    """Return the geometry of a stored set-up for its drawings."""
    return drawn_from(setup.outcome, setup.pipe_data.pipe_entry(), setup.transducer_data.face_offset_m)


def drawn_from(outcome: dict[str, Any], pipe: PipeEntry, face_offset: float) -> Drawn:
    """Return the geometry of a calculated set-up for its drawings."""
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
    return text if source.text == HAZARD_SOURCE.text else f"{text} ({citation(source)})"


def place_rows(point: MeasuringPoint, units: System) -> list[tuple[str, str]]:
    """Return the measuring location as recorded, to be compared with the site."""
    known = point.upstream_disturbance in straight_lengths()
    lengths = (point.upstream_straight_length_m, point.downstream_straight_length_m)
    before, after = (
        str(NOT_RECORDED) if one is None else straight_length_text(one, units) for one in lengths
    )
    return [
        *([(gettext("Description"), point.description)] if point.description else []),
        (
            gettext("Upstream disturbance"),
            word_of(point.upstream_disturbance) if known else str(NOT_RECORDED),
        ),
        (gettext("Upstream straight length"), before),
        (gettext("Downstream straight length"), after),
        (
            gettext("Orientation of the pipe"),
            word_of(point.orientation) if point.orientation else str(NOT_RECORDED),
        ),
        (gettext("Filling of the pipe"), str(FULL[point.full_pipe])),
        (
            gettext("Transducer position"),
            word_of(point.mounting) if point.mounting else str(NOT_RECORDED),
        ),
    ]


def findings_blocks(
    pdf: PdfDocument, findings: list[dict[str, Any]], units: System, zone: tzinfo = UTC
) -> None:
    """Add the findings, the most severe first."""
    if not findings:
        return
    pdf.heading(gettext("Findings"))
    order = {"error": 0, "warning": 1, "info": 2}
    for finding in sorted(finding_texts(findings, units, zone), key=lambda one: order[one["severity"]]):
        pdf.callout(heading(finding), finding["body"], finding["severity"])
