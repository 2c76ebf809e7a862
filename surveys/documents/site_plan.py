"""Plan of the sites as SVG, without a map: numbered spots to scale, north up."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape, quoteattr

from django.utils.translation import gettext, ngettext

from compute.base.svg import document, label, rule
from compute.base.units import System
from compute.planning.distance import EARTH_RADIUS
from surveys.core.messages.numbers import with_unit

WIDTH, MARGIN = 680.0, 44.0
PLOT_MIN, PLOT_MAX = 200.0, 460.0
SPOT = 13.0
INK, SOFT, FILL, ON_FILL = "#1d2733", "#4d5866", "#1f5f6b", "#ffffff"
METRES = {"metric": (1000.0, "km"), "us": (1609.344, "mi")}
# Smallest distance shown across the plan [m].
MIN_SPAN = 500.0
# Largest number of sites with their names drawn, and longest name in characters.
MAX_NAMED, MAX_NAME_LENGTH = 15, 26


@dataclass(frozen=True, slots=True)
class Place:
    """A site on the plan: number in the list, name, address of its page, coordinates in degrees."""

    number: int
    name: str
    address: str
    latitude: float
    longitude: float


def site_plan(places: Sequence[Place], units: System) -> str:
    """Return the plan of at least one place. Sites too close to be separate share a spot.

    Distances are those on the tangent plane of the globe in their middle: correct to 1 % over some hundred kilometres.
    """
    spots = _plane(places)
    east, north = ([at[n] for at in spots] for n in (0, 1))
    span = max(max(east) - min(east), MIN_SPAN), max(max(north) - min(north), MIN_SPAN)
    scale = min((WIDTH - 2 * MARGIN) / span[0], (PLOT_MAX - 2 * MARGIN) / span[1])
    height = max(span[1] * scale + 2 * MARGIN, PLOT_MIN)
    middle = (max(east) + min(east)) / 2, (max(north) + min(north)) / 2

    def place(at: tuple[float, float]) -> tuple[float, float]:
        return WIDTH / 2 + (at[0] - middle[0]) * scale, height / 2 - (at[1] - middle[1]) * scale

    parts = [_north(22), *_bar(scale, height, units)]
    for group, x, y in _together([(one, *place(at)) for one, at in zip(places, spots, strict=True)]):
        parts.append(_spot(group, x, y, named=len(places) <= MAX_NAMED))
    title = ngettext(
        "Location of {count} site, north up", "Locations of {count} sites, north up", len(places)
    )
    return document(WIDTH, height, title.format(count=len(places)), parts, "group")


def _plane(places: Sequence[Place]) -> list[tuple[float, float]]:
    """Metres east and north of the middle."""
    # Relative to the meridian of the first site, so that sites on both sides of the date line stay together.
    first = places[0].longitude
    turned = [(one.longitude - first + 180) % 360 - 180 for one in places]
    shrink = math.cos(math.radians(math.fsum(one.latitude for one in places) / len(places)))
    return [
        (math.radians(across) * EARTH_RADIUS * shrink, math.radians(one.latitude) * EARTH_RADIUS)
        for across, one in zip(turned, places, strict=True)
    ]


def _together(
    placed: Sequence[tuple[Place, float, float]],
) -> list[tuple[list[Place], float, float]]:
    """Sites by spot: one that would cover a spot already drawn joins it."""
    spots: list[tuple[list[Place], float, float]] = []
    for one, x, y in placed:
        near = next((group for group, u, v in spots if math.hypot(x - u, y - v) < 1.6 * SPOT), None)
        if near is None:
            spots.append(([one], x, y))
        else:
            near.append(one)
    return spots


def _spot(group: Sequence[Place], x: float, y: float, *, named: bool) -> str:
    """Return a spot with the numbers of its sites, linked to the first."""
    numbers = ", ".join(str(one.number) for one in group[:3]) + (" …" if len(group) > 3 else "")
    names = "; ".join(f"{one.number} {one.name}" for one in group)
    half = SPOT + 4.5 * (len(numbers) - 1)
    name_label = _name(group, x, y, half) if named else ""
    return (
        f"<a href={quoteattr(group[0].address)} aria-label={quoteattr(names)}><title>{escape(names)}</title>"
        f'<rect x="{x - half:.1f}" y="{y - SPOT:.1f}" width="{2 * half:.1f}" height="{2 * SPOT:.1f}" rx="{SPOT}" fill="{FILL}"/>'
        f"{label(x, y + 4.5, numbers, 'middle', ON_FILL, 13, 'bold')}{name_label}</a>"
    )


def _name(group: Sequence[Place], x: float, y: float, half: float) -> str:
    """The name of the spot's first site, on the side that has more room."""
    name = group[0].name
    text = (name if len(name) <= MAX_NAME_LENGTH else f"{name[: MAX_NAME_LENGTH - 1]}…") + (
        " …" if len(group) > 1 else ""
    )
    left = x > WIDTH / 2
    return label(x - half - 5 if left else x + half + 5, y + 4, text, "end" if left else "start", INK)


def _north(x: float) -> str:
    head = f"{x:.1f},14 {x - 5:.1f},28 {x + 5:.1f},28"
    return f'<polygon points="{head}" fill="{INK}"/>{label(x, 42, gettext("N"), "middle", INK)}'


def _bar(scale: float, height: float, units: System) -> list[str]:
    """A bar of a round length, at most a third of the plan wide."""
    metres, unit = METRES[units]
    most = WIDTH / 3 / scale / metres
    step = 10.0 ** math.floor(math.log10(most))
    length = step * next(factor for factor in (5, 2, 1) if step * factor <= most)
    y, x = height - 16, 16.0
    end = x + length * metres * scale
    ends = [rule(at, y - 4, at, y + 4, INK, 1.2) for at in (x, end)]
    return [
        rule(x, y, end, y, INK, 1.2),
        *ends,
        label(end + 8, y + 4, with_unit(f"{length:g}", unit), "start", SOFT),
    ]
