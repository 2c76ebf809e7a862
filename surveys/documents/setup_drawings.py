"""Drawings of a set-up with their words in the reader's language and units."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from compute.base.units import System
from compute.measuring.drawing import CrossLabels, Drawn, SideLabels, cross_section, side_view
from surveys.documents.formatting import format_quantity


def side_drawing(drawn: Drawn, units: System) -> str:
    """The pipe lengthwise with the beam and the spacing, as SVG."""
    spacing = format_quantity(drawn.spacing, "length", units)
    title = ngettext(
        "Pipe lengthwise, to scale: {count} traverse, spacing {spacing}",
        "Pipe lengthwise, to scale: {count} traverses, spacing {spacing}",
        drawn.traverses,
    )
    labels = SideLabels(
        title=title.format(count=drawn.traverses, spacing=spacing),
        spacing=_("spacing {spacing}").format(spacing=spacing),
        diameter=_("outer diameter {diameter}").format(
            diameter=format_quantity(drawn.outer_diameter, "length", units)
        ),
        axis=_("pipe axis"),
        flow=_("flow"),
    )
    return side_view(drawn, labels)


def cross_drawing(drawn: Drawn) -> str:
    """The pipe across with the positions of the transducers, as SVG."""
    same_side = drawn.traverses % 2 == 0
    title = (
        _("Pipe across, to scale: transducers on the same side")
        if same_side
        else _("Pipe across, to scale: transducers on opposite sides")
    )
    return cross_section(drawn, same_side, CrossLabels(title, _("top")))
