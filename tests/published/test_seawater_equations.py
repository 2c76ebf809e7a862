"""Seawater against two published equations, written out here and first held to their own check values."""

from __future__ import annotations

from math import sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from compute.library.media import medium_properties

# UNESCO (Chen and Millero 1977) as in Fofonoff and Millard 1983, Unesco Tech. Pap. Mar. Sci. 44; IPTS-68, from memory.
WATER = (
    (1402.388, 5.03711, -5.80852e-2, 3.3420e-4, -1.47800e-6, 3.1464e-9),
    (0.153563, 6.8982e-4, -8.1788e-6, 1.3621e-7, -6.1185e-10),
    (3.1260e-5, -1.7107e-6, 2.5974e-8, -2.5335e-10, 1.0405e-12),
    (-9.7729e-9, 3.8504e-10, -2.3643e-12),
)
SALT = (
    (1.389, -1.262e-2, 7.164e-5, 2.006e-6, -3.21e-8),
    (9.4742e-5, -1.2580e-5, -6.4885e-8, 1.0507e-8, -2.0122e-10),
    (-3.9064e-7, 9.1041e-9, -1.6002e-10, 7.988e-12),
    (1.100e-10, 6.649e-12, -3.389e-13),
)
SALT_ROOT = ((-1.922e-2, -4.42e-5), (7.3637e-5, 1.7945e-7))
SALT_SQUARE = ((1.727e-3,), (-7.9836e-6,))


def powers(table: tuple[tuple[float, ...], ...], temperature: float, bar: float) -> float:
    return sum(c * temperature**j * bar**i for i, row in enumerate(table) for j, c in enumerate(row))


def unesco(salinity: float, temperature_68: float, bar: float) -> float:
    """Sound speed by practical salinity, temperature on IPTS-68 and pressure above the atmosphere."""
    t, p = temperature_68, bar
    return (
        powers(WATER, t, p)
        + powers(SALT, t, p) * salinity
        + powers(SALT_ROOT, t, p) * salinity * sqrt(salinity)
        + powers(SALT_SQUARE, t, p) * salinity**2
    )


def mackenzie(salinity: float, temperature: float, depth: float) -> float:
    """Mackenzie 1981, J. Acoust. Soc. Am. 70:807 (coefficients from memory): nine terms, stated to 0.07 m/s."""
    t, s, d = temperature, salinity - 35, depth
    return (
        1448.96 + 4.591 * t - 5.304e-2 * t**2 + 2.374e-4 * t**3 + 1.340 * s
        + 1.630e-2 * d + 1.675e-7 * d**2 - 1.025e-2 * t * s - 7.139e-13 * t * d**3
    )  # fmt: skip


def test_the_unesco_equation_meets_its_check_value() -> None:
    # Fofonoff and Millard 1983 p. 48: 1731.995 m/s at S = 40, T = 40 degC, 10 000 dbar.
    assert unesco(40, 40, 1000) == pytest.approx(1731.995, abs=1e-3)


def test_mackenzies_equation_meets_its_check_value() -> None:
    # 1550.744 m/s at 25 degC, 35, 1000 m.
    assert mackenzie(35, 25, 1000) == pytest.approx(1550.744, abs=1e-3)


@given(st.floats(0, 35), st.floats(5, 40))
def test_seawater_at_the_surface_meets_both_equations(celsius: float, practical: float) -> None:
    # Absolute salinity is practical x 35.16504/35 for standard seawater (TEOS-10); T68 = 1.00024 T90.
    absolute = practical * 35.16504 / 35
    found = medium_properties("seawater", celsius + 273.15, 101_325.0, {"salinity": absolute}).sound_speed
    assert found == pytest.approx(unesco(practical, celsius * 1.00024, 0.0), abs=0.2)
    if practical >= 30 and 2 <= celsius <= 30:
        assert found == pytest.approx(mackenzie(practical, celsius, 0.0), abs=0.2)


def test_brackish_water_lies_between_fresh_and_sea() -> None:
    fresh = medium_properties("water", 288.15, 101_325.0).sound_speed
    speeds = [
        medium_properties("seawater", 288.15, 101_325.0, {"salinity": s}).sound_speed
        for s in (0.0, 10.0, 35.0)
    ]
    assert speeds[0] == pytest.approx(fresh, abs=0.05)
    assert speeds == sorted(speeds)
