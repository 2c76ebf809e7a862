"""The plan of sites is to scale, north is up, and it holds together wherever on the globe they are."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from compute.planning.distance import distance_between
from surveys.documents.site_plan import PLOT_MAX, WIDTH, Place, site_plan

KM_A_MILE = 1.609344  # by definition: 1 mi = 1609.344 m (international mile)


def place(number: int, latitude: float, longitude: float, name: str = "Works") -> Place:
    return Place(number, name, f"/sites/{number}/", latitude, longitude)


def spots(svg: str) -> list[tuple[float, float]]:
    """The middle of each spot."""
    found = re.findall(r'<rect x="(\S+)" y="(\S+)" width="(\S+)" height="(\S+)"', svg)
    return [(float(x) + float(w) / 2, float(y) + float(h) / 2) for x, y, w, h in found]


def bar(svg: str) -> tuple[float, float, str]:
    """Length of the scale bar as drawn and as labelled, with its unit."""
    x1, x2 = (float(one) for one in re.findall(r'<line x1="(\S+)" y1="\S+" x2="(\S+)"', svg)[0])
    length, unit = re.findall(r">([\d.]+)\xa0(km|mi)<", svg)[0]
    return x2 - x1, float(length), unit


@pytest.mark.parametrize(("units", "kilometres"), [("metric", 1.0), ("us", KM_A_MILE)])
def test_distances_on_the_plan_are_those_over_the_globe(units: str, kilometres: float) -> None:
    scene, there = place(1, 56.0, 10.0), place(2, 55.6, 10.5)
    svg = site_plan([scene, there], units)  # type: ignore[arg-type]
    (x1, y1), (x2, y2) = spots(svg)
    drawn, labelled, _ = bar(svg)
    measured = math.hypot(x2 - x1, y2 - y1) / drawn * labelled * kilometres * 1000
    # The haversine formula, calculated independently.
    assert measured == pytest.approx(distance_between((56.0, 10.0), (55.6, 10.5)), rel=0.01)
    assert x2 > x1
    assert y2 > y1  # south is down


def test_sites_on_both_sides_of_the_date_line_are_neighbours() -> None:
    (x1, _), (x2, _) = spots(site_plan([place(1, -17.0, 179.9), place(2, -17.0, -179.9)], "metric"))
    assert 0 < x2 - x1 < WIDTH


def test_sites_close_together_share_a_point_that_names_both() -> None:
    svg = site_plan([place(1, 56, 10, "East"), place(2, 56.00001, 10, "West"), place(3, 57, 11)], "metric")
    assert len(spots(svg)) == 2
    assert "1 East; 2 West" in svg


def test_a_name_is_text_whatever_is_in_it() -> None:
    svg = site_plan([place(1, 56, 10, '"><script>'), place(2, 57, 10)], "metric")
    assert "<script>" not in svg


@given(
    st.lists(
        st.tuples(st.floats(-89, 89), st.floats(-180, 180)),
        min_size=1,
        max_size=20,
    )
)
def test_every_spot_lies_within_the_drawing(places: list[tuple[float, float]]) -> None:
    svg = site_plan([place(n, *at) for n, at in enumerate(places, start=1)], "metric")
    assert all(0 <= x <= WIDTH and 0 <= y <= PLOT_MAX for x, y in spots(svg))
    assert svg.count("<a ") == len(spots(svg))
