"""A medium by a user's own table."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from compute.base.errors import NotEnough, OutOfRange
from compute.base.sources import Source
from compute.library.custom_medium import MediumTable, table_properties
from compute.library.media import medium_properties

ROWS = np.array([293.15, 313.15, 333.15, 353.15])


def table_of(name: str, pressure: float = 2e6) -> MediumTable:
    """A table of a library medium, as a data sheet would have it."""
    found = medium_properties(name, ROWS, pressure)
    return MediumTable(
        "own", pressure, ROWS, np.asarray(found.sound_speed), np.asarray(found.density), np.asarray(found.dynamic_viscosity),
        0.002, 0.001, 0.05, Source("data sheet", "published"),
    )  # fmt: skip


@pytest.mark.parametrize("name", ["water", "toluene", "lubricating-oil", "n-hexane"])
def test_a_table_with_rows_20_k_apart_reproduces_its_liquid(name: str) -> None:
    # Sound speed and density within 0.1 % and viscosity within 2 % of the equation, midway between rows.
    table = table_of(name)
    for temperature in (303.15, 323.15, 343.15):
        found = table_properties(table, temperature)
        expected = medium_properties(name, temperature, table.pressure)
        assert found.sound_speed == pytest.approx(expected.sound_speed, rel=1e-3)
        assert found.density == pytest.approx(expected.density, rel=1e-3)
        assert found.dynamic_viscosity == pytest.approx(expected.dynamic_viscosity, rel=0.02)


def test_at_its_rows_a_table_gives_its_rows() -> None:
    table = table_of("diesel")
    found = table_properties(table, ROWS)
    assert np.allclose(found.sound_speed, table.sound_speed, rtol=1e-12)
    assert np.allclose(found.dynamic_viscosity, table.dynamic_viscosity, rtol=1e-12)


def test_a_thin_liquid_is_read_by_the_reciprocal_of_temperature() -> None:
    # By hand: midway in 1/T the logarithm of the kinematic viscosity is the mean of its neighbours'.
    thin = replace(table_of("n-pentane"), dynamic_viscosity=np.array([2.0, 1.8, 1.6, 1.5]) * 1e-4)
    middle = 2 / (1 / 293.15 + 1 / 313.15)
    found = table_properties(thin, middle)
    expected = np.sqrt(
        thin.dynamic_viscosity[0] / thin.density[0] * thin.dynamic_viscosity[1] / thin.density[1]
    )
    assert found.dynamic_viscosity / found.density == pytest.approx(expected, rel=1e-9)


def test_monotone_rows_never_overshoot() -> None:
    steps = replace(table_of("water"), sound_speed=np.array([1500.0, 1500.0, 1400.0, 1400.0]))
    found = np.asarray(table_properties(steps, np.linspace(293.15, 353.15, 400)).sound_speed)
    assert found.max() <= 1500
    assert found.min() >= 1400
    assert np.all(np.diff(found) <= 0)


def test_an_array_gives_the_values_of_each_temperature() -> None:
    table, temperatures = table_of("milk"), np.array([300.0, 311.0, 350.0])
    together = table_properties(table, temperatures)
    for i, temperature in enumerate(temperatures):
        alone = table_properties(table, float(temperature))
        assert np.asarray(together.dynamic_viscosity)[i] == alone.dynamic_viscosity


def test_slightly_outside_the_table_is_a_warning_and_far_outside_is_rejected() -> None:
    table = table_of("water")
    [finding] = table_properties(table, 290.0).findings
    assert (finding.code, finding.severity) == ("medium-outside-range", "warning")
    assert finding.parameters
    assert finding.parameters["limit"]["si"] == 293.15
    for temperature in (270.0, 400.0, float("nan")):
        with pytest.raises(OutOfRange):
            table_properties(table, temperature)


def test_a_table_of_one_row_or_of_uneven_columns_is_not_enough() -> None:
    table = table_of("water")
    one = {
        name: getattr(table, name)[:1]
        for name in ("temperature", "sound_speed", "density", "dynamic_viscosity")
    }
    with pytest.raises(NotEnough):
        table_properties(replace(table, **one), 293.15)
    with pytest.raises(NotEnough):
        table_properties(replace(table, density=table.density[:2]), 300.0)


@pytest.mark.parametrize(
    "rows", [np.array([293.15, 293.15, 333.15, 353.15]), np.array([293.15, 313.15, 303.15, 353.15]), -ROWS]
)
def test_a_table_out_of_order_or_below_zero_is_rejected(rows: np.ndarray) -> None:
    with pytest.raises(OutOfRange):
        table_properties(replace(table_of("water"), temperature=rows), 300.0)


def test_an_oil_known_at_two_temperatures_lies_between_on_the_chart_of_astm_d341() -> None:
    # An ISO VG 46 oil, 46 mm2/s at 40 degC and 6.8 mm2/s at 100 degC (from memory). By hand at 70 degC:
    # W = log10 log10(v + 0.7) is 0.22254 and -0.05796; log10 T is 2.49575, 2.57188 and between them 2.53548;
    # W = 0.22254 - 0.28050 x 0.03973/0.07613 = 0.07615, so v = 10^(10^0.07615) - 0.7 = 14.85 mm2/s.
    rows, density = np.array([313.15, 373.15]), np.array([860.0, 820.0])
    oil = replace(
        table_of("lubricating-oil"),
        temperature=rows,
        sound_speed=np.array([1400.0, 1200.0]),
        density=density,
        dynamic_viscosity=density * np.array([46e-6, 6.8e-6]),
    )
    found = table_properties(oil, 343.15)
    assert found.dynamic_viscosity / found.density == pytest.approx(14.85e-6, rel=1e-3)
    warmer = table_properties(oil, np.linspace(313.15, 373.15, 200))
    assert np.all(np.diff(np.asarray(warmer.dynamic_viscosity) / np.asarray(warmer.density)) < 0)
