"""Distance between two places on the earth."""

from __future__ import annotations

from math import asin, cos, radians, sin, sqrt

# Mean radius of the earth, R1 of the reference ellipsoid GRS 80 (Moritz 1980, Geodetic Reference System 1980; from memory).
EARTH_RADIUS = 6_371_008.8


def distance_between(one: tuple[float, float], other: tuple[float, float]) -> float:
    """Distance as the crow flies over a round earth; a road is longer.

    Parameters
    ----------
    one : (latitude, longitude) [deg]
    other : (latitude, longitude) [deg]

    Returns
    -------
    distance : float [m]  within 0.6 % of that on the ellipsoid

    Source
    ------
    geometry : haversine formula, sin(d/2R)^2 = sin(dlat/2)^2 + cos(lat1) cos(lat2) sin(dlon/2)^2.
    """
    (lat_1, lon_1), (lat_2, lon_2) = (tuple(map(radians, place)) for place in (one, other))
    half = sin((lat_2 - lat_1) / 2) ** 2 + cos(lat_1) * cos(lat_2) * sin((lon_2 - lon_1) / 2) ** 2
    return 2 * EARTH_RADIUS * asin(sqrt(min(half, 1.0)))
