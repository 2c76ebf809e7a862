"""Media: required inputs, rejections and findings."""

from __future__ import annotations

import json
from importlib.resources import files

import numpy as np
import pytest

from compute.base.errors import NotEnough, OutOfRange
from compute.library.liquids import DATA_FILES, Liquid, liquids
from compute.library.media import media, medium_properties, saturation_pressure

ATMOSPHERE = 101_325.0
SHARES = {"salinity": 35.0, "mass_fraction": 0.4, "api_gravity": 30.0}
ALL = pytest.mark.parametrize("liquid", liquids().values(), ids=lambda one: one.name)


def shares_of(liquid: Liquid) -> dict[str, float]:
    return {liquid.composition: SHARES[liquid.composition]} if liquid.composition else {}


def codes(name: str, temperature: float, pressure: float | None, **composition: float) -> dict[str, str]:
    found = medium_properties(name, temperature, pressure, composition)
    return {finding.code: finding.severity for finding in found.findings}


@ALL
def test_an_array_gives_the_values_of_each_temperature(liquid: Liquid) -> None:
    low, high = liquid.temperature_range
    temperatures = np.linspace(low, high, 23)
    together = medium_properties(liquid.name, temperatures, 9e6, shares_of(liquid))
    for i, temperature in enumerate(temperatures):
        alone = medium_properties(liquid.name, float(temperature), 9e6, shares_of(liquid))
        assert np.asarray(together.sound_speed)[i] == pytest.approx(alone.sound_speed, rel=1e-13)
        assert np.asarray(together.dynamic_viscosity)[i] == pytest.approx(alone.dynamic_viscosity, rel=1e-12)


@ALL
def test_viscosity_and_density_of_a_liquid_fall_with_temperature(liquid: Liquid) -> None:
    low, high = liquid.temperature_range
    # Water is densest at 4 degC, heavy water at 11 degC.
    start = max(low, liquid.freezing_temperature(0.0), 285.15 if low > 265 else 0.0)
    found = medium_properties(liquid.name, np.linspace(start, high, 60), 9e6, shares_of(liquid))
    assert np.all(np.diff(np.asarray(found.dynamic_viscosity)) < 0)
    assert np.all(np.diff(np.asarray(found.density)) < 0)


@ALL
def test_a_liquid_of_any_temperature_in_its_range_is_plausible(liquid: Liquid) -> None:
    found = medium_properties(
        liquid.name, np.linspace(*liquid.temperature_range, 30), None, shares_of(liquid)
    )
    assert np.all((np.asarray(found.sound_speed) > 100) & (np.asarray(found.sound_speed) < 2100))
    assert np.all((np.asarray(found.density) > 300) & (np.asarray(found.density) < 1700))
    assert np.all(np.asarray(found.dynamic_viscosity) > 2e-5)


@ALL
def test_a_liquid_has_its_source_and_uncertainty(liquid: Liquid) -> None:
    found = medium_properties(liquid.name, sum(liquid.temperature_range) / 2, None, shares_of(liquid))
    assert len(found.source.text) > 10
    assert 0 < found.sound_speed_uncertainty < 0.05
    assert 0 < found.density_uncertainty < 0.02
    assert 0 < found.viscosity_uncertainty <= 0.5


@pytest.mark.parametrize("file", DATA_FILES)
def test_coefficients_keep_far_closer_to_their_reference_than_it_is_sure(file: str) -> None:
    entries = json.loads((files("compute.library.data") / file).read_text(encoding="utf-8"))
    for entry in entries:
        for name, table in entry["properties"].items():
            assert table["largest_relative_error"] < entry["uncertainty"][name] / 8, (entry["name"], name)


def test_a_required_composition_must_be_entered() -> None:
    with pytest.raises(NotEnough) as caught:
        medium_properties("seawater", 290.0, ATMOSPHERE)
    assert caught.value.field == "medium.salinity"


@pytest.mark.parametrize(
    ("name", "composition", "field"),
    [
        ("seawater", {"salinity": 60.0}, "salinity"),
        ("ethylene-glycol-water", {"mass_fraction": 40.0}, "mass_fraction"),
        ("crude-oil", {"api_gravity": 80.0}, "api_gravity"),
        ("seawater", {"salinity": 35.0, "mass_fraction": 0.4}, "mass_fraction"),
        ("seawater", {"salinity": float("nan")}, "salinity"),
    ],
)
def test_a_composition_out_of_range_is_rejected(name: str, composition: dict[str, float], field: str) -> None:
    with pytest.raises(OutOfRange) as caught:
        medium_properties(name, 290.0, ATMOSPHERE, composition)
    assert caught.value.field == f"medium.{field}"


def test_the_list_names_the_composition_a_medium_needs() -> None:
    needs = {one.name: one.needs for one in media()}
    assert needs["seawater"] == ("temperature", "salinity")
    assert needs["crude-oil"] == ("temperature", "api_gravity")
    assert needs["ethanol"] == ("temperature",)


def test_seawater_without_salt_is_water() -> None:
    # Tolerance: the coefficients of seawater keep to 3e-6.
    fresh, sea = (
        medium_properties("water", 290.0, 5e5),
        medium_properties("seawater", 290.0, 5e5, {"salinity": 0}),
    )
    assert sea.sound_speed == pytest.approx(fresh.sound_speed, rel=3e-6)
    assert sea.density == pytest.approx(fresh.density, rel=2e-6)
    assert sea.dynamic_viscosity == pytest.approx(fresh.dynamic_viscosity, rel=2e-6)


def test_glycol_mixture_without_glycol_is_nearly_water() -> None:
    # The sound speed points begin at water; the coolant table's own water is within 2 % in viscosity.
    fresh, mixed = (
        medium_properties("water", 293.15, ATMOSPHERE),
        medium_properties("ethylene-glycol-water", 293.15, ATMOSPHERE, {"mass_fraction": 0}),
    )
    assert mixed.sound_speed == pytest.approx(fresh.sound_speed, rel=2e-3)
    assert mixed.dynamic_viscosity == pytest.approx(fresh.dynamic_viscosity, rel=0.02)


def test_seawater_is_liquid_a_little_below_zero() -> None:
    # Seawater of 35 g/kg freezes at -1.91 degC (Millero 1978).
    assert "medium-frozen" not in codes("seawater", 272.0, ATMOSPHERE, salinity=35.0)
    assert codes("seawater", 271.0, ATMOSPHERE, salinity=35.0)["medium-frozen"] == "error"
    assert codes("seawater", 272.0, ATMOSPHERE, salinity=5.0)["medium-frozen"] == "error"


def test_properties_of_a_frozen_medium_are_those_at_its_freezing_point() -> None:
    frozen = medium_properties("water", 268.0, ATMOSPHERE)
    assert frozen.sound_speed == medium_properties("water", 273.15, ATMOSPHERE).sound_speed


def test_a_spirit_boils_before_water_does() -> None:
    # Ethanol boils at 78.3 degC at one atmosphere (CRC Handbook, from memory).
    assert "medium-boiling" not in codes("ethanol", 350.0, ATMOSPHERE)
    assert codes("ethanol", 353.0, ATMOSPHERE)["medium-boiling"] == "error"
    assert saturation_pressure(351.45, "ethanol") == pytest.approx(ATMOSPHERE, rel=5e-3)


def test_slightly_outside_the_range_the_end_values_are_used_with_a_warning() -> None:
    assert codes("diesel", 357.0, ATMOSPHERE)["medium-outside-range"] == "warning"
    beyond, end = (medium_properties("diesel", t, ATMOSPHERE) for t in (357.0, 353.15))
    assert beyond.dynamic_viscosity == end.dynamic_viscosity


@pytest.mark.parametrize("temperature", [230.0, 390.0, float("nan")])
def test_a_state_far_outside_the_range_is_rejected(temperature: float) -> None:
    with pytest.raises(OutOfRange):
        medium_properties("diesel", temperature, ATMOSPHERE)


@pytest.mark.parametrize("pressure", [0.0, -1e5, 1e9, float("nan")])
def test_a_pressure_below_zero_or_above_the_range_is_rejected(pressure: float) -> None:
    with pytest.raises(OutOfRange) as caught:
        medium_properties("toluene", 300.0, pressure)
    assert caught.value.field == "medium.pressure"


def test_values_from_memory_are_marked() -> None:
    assert codes("diesel", 293.0, ATMOSPHERE) == {"medium-figures-uncertain": "warning"}
    assert codes("glycerol", 298.15, ATMOSPHERE) == {"medium-figures-uncertain": "info"}
    assert codes("toluene", 298.15, ATMOSPHERE) == {}


def test_the_uncertainty_of_values_from_memory_grows_away_from_their_temperature() -> None:
    near, far = (medium_properties("diesel", t, ATMOSPHERE).sound_speed_uncertainty for t in (293.15, 343.15))
    # Half of 60 m/s over the square root of 3, and 0.3 m/s a kelvin, of 1360 m/s.
    assert near == pytest.approx(30 / 3**0.5 / 1360, rel=1e-3)
    assert far == pytest.approx(np.hypot(30 / 3**0.5, 0.3 * 50) / 1360, rel=1e-3)
