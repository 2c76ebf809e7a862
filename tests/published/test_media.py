"""Media other than water against published values, tables and another program; sources are in fixtures/published."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import CoolProp
import pytest

from compute.library.liquids import liquids
from compute.library.media import medium_properties

PUBLISHED = Path(__file__).parents[2] / "fixtures" / "published"
ATMOSPHERE = 101_325.0
SEA_SALT = {"salinity": 35.16504}


def rows_of(file: str) -> list[dict[str, str]]:
    return list(csv.DictReader((PUBLISHED / file).read_text(encoding="utf-8").splitlines()))


SEAWATER, LIQUIDS = rows_of("seawater.csv"), rows_of("liquids.csv")
# The library's water part (IAPWS-09) and ours (IAPWS-95) differ by up to 0.022 m/s at 0 degC; UNESCO and Mackenzie
# state 0.05 to 0.2 m/s against measurements, and practical salinity stands for absolute.
SEAWATER_TOLERANCES = {
    "TEOS-10 library, in-situ": 0.03,
    "TEOS-10 library, surface": 0.03,
    "UNESCO equation": 0.2,
    "Mackenzie 1981": 0.2,
}


@pytest.mark.parametrize(
    "row", SEAWATER, ids=lambda r: " ".join([r["check"], r["absolute_salinity_g_kg"], r["temperature_c"]])
)
def test_sound_speed_of_seawater_meets_published_values(row: dict[str, str]) -> None:
    pressure = ATMOSPHERE + 1e4 * float(row["sea_pressure_dbar"])
    kelvin, salt = float(row["temperature_c"]) + 273.15, {"salinity": float(row["absolute_salinity_g_kg"])}
    found = medium_properties("seawater", kelvin, min(pressure, 10e6), salt)
    # 1000 dbar is 0.1 MPa beyond our range: 1.65 m/s a MPa (Mackenzie: 0.0163 m/s a metre).
    beyond = 1.65e-6 * max(pressure - 10e6, 0.0)
    expected = float(row["sound_speed_m_s"]) - beyond
    assert found.sound_speed == pytest.approx(expected, abs=SEAWATER_TOLERANCES[row["check"]])


def test_seawater_meets_the_check_values_of_its_release() -> None:
    # IAPWS R13-08, Table 8a (from memory): 0 degC, 101325 Pa, 35.16504 g/kg. Tolerance: that of our coefficients.
    found = medium_properties("seawater", 273.15, ATMOSPHERE, SEA_SALT)
    assert found.sound_speed == pytest.approx(1449.00246362, abs=5e-3)
    assert found.density == pytest.approx(1028.10719995, rel=1.5e-6)


def test_the_freezing_point_of_seawater_agrees_with_the_unesco_formula() -> None:
    # Millero 1978 (UNESCO 1983), practical salinity 35 at the surface, by hand: -1.9223 degC, stated to 0.004 K.
    s = 35.0
    expected = -0.0575 * s + 1.710523e-3 * s**1.5 - 2.154996e-4 * s**2
    assert liquids()["seawater"].freezing_temperature(35.16504) - 273.15 == pytest.approx(expected, abs=6e-3)


def test_viscosity_of_seawater_meets_a_library_with_another_water() -> None:
    # CoolProp's seawater (MIT table): same salt factor, another water viscosity; each states 1.5 %.
    for celsius in (5.0, 20.0, 35.0):
        expected = CoolProp.CoolProp.PropsSI("V", "T", celsius + 273.15, "P", 2e5, "INCOMP::MITSW[0.035]")
        found = medium_properties("seawater", celsius + 273.15, 2e5, {"salinity": 35.0})
        assert found.dynamic_viscosity == pytest.approx(expected, rel=0.015)


@pytest.mark.parametrize("row", LIQUIDS, ids=lambda r: r["name"] + r["mass_fraction"] + r["viscosity_mpa_s"])
def test_a_liquid_agrees_with_handbook_values_at_room_temperature(row: dict[str, str]) -> None:
    # Sound speed within the range of the sources, widened by 0.5 %; density 0.5 %; viscosity 4 %, as handbooks scatter.
    composition = {"mass_fraction": float(row["mass_fraction"])} if row["mass_fraction"] else {}
    found = medium_properties(row["name"], float(row["temperature_c"]) + 273.15, ATMOSPHERE, composition)
    if row["sound_low_m_s"]:
        assert float(row["sound_low_m_s"]) * 0.995 < found.sound_speed < float(row["sound_high_m_s"]) * 1.005
    if row["density_kg_m3"]:
        assert found.density == pytest.approx(float(row["density_kg_m3"]), rel=0.005)
    if row["viscosity_mpa_s"]:
        assert found.dynamic_viscosity * 1e3 == pytest.approx(float(row["viscosity_mpa_s"]), rel=0.04)


@pytest.mark.parametrize(
    ("name", "celsius", "pressure", "density"),
    [("r134a", 25.0, 665.4e3, 1206.7), ("ammonia", 20.0, 857.5e3, 610.2), ("r32", 25.0, 1689.6e3, 961.0)],
)
def test_boiling_point_and_density_of_a_refrigerant_agree_with_tables(
    name: str, celsius: float, pressure: float, density: float
) -> None:
    # Saturation tables of refrigerants (ASHRAE Handbook Fundamentals, from memory).
    found = medium_properties(name, celsius + 273.15, None)
    assert found.pressure == pytest.approx(pressure, rel=2e-3)
    assert found.density == pytest.approx(density, rel=1e-3)


def test_crude_oil_meets_the_formulas_worked_by_hand() -> None:
    # Batzle and Wang 1992 at 30 deg API, 60 degC, 10 MPa, step by step: specific density 0.876161; sound speed
    # 1494.30 - 222 + 46.4 + 6.81; density 0.876161 + 0.027529 x 0.074988 + 0.00349 = 0.881715, over
    # 0.972 + 3.81e-4 x 77.78^1.175 = 1.035487.
    found = medium_properties("crude-oil", 333.15, 10e6, {"api_gravity": 30.0})
    assert found.sound_speed == pytest.approx(1325.51, abs=0.05)
    assert found.density == pytest.approx(851.5, abs=0.1)


def test_crude_oil_without_pressure_has_the_viscosity_of_beggs_and_robinson() -> None:
    # Beggs and Robinson 1975 in its own form: v = 10^x - 1, x = 10^(3.0324 - 0.02023 API) F^-1.163 (from memory). The
    # two differ by how the density stands in for the API gravity.
    fahrenheit = 140.0
    x = 10 ** (3.0324 - 0.02023 * 30.0) * fahrenheit**-1.163
    found = medium_properties("crude-oil", 333.15, ATMOSPHERE, {"api_gravity": 30.0})
    assert found.dynamic_viscosity * 1e3 == pytest.approx(10**x - 1, rel=0.05)


def test_viscosity_between_two_points_follows_astm_d341() -> None:
    # Mineral oil of VG 68 has a viscosity index near 95 and about 24 mm2/s at 65 degC; by hand from 68 mm2/s at 40 degC
    # and 8.7 at 100 degC: log10 log10(v + 0.7) is a straight line in log10 T.
    z40, z100 = (math.log10(math.log10(v + 0.7)) for v in (68.0, 8.7))
    share = math.log10(338.15 / 313.15) / math.log10(373.15 / 313.15)
    expected = 10**10 ** (z40 + share * (z100 - z40)) - 0.7
    found = medium_properties("lubricating-oil", 338.15, ATMOSPHERE)
    assert found.dynamic_viscosity / found.density * 1e6 == pytest.approx(expected, rel=1e-6)


def test_glycerol_between_its_points_is_as_viscous_as_measured() -> None:
    # CRC Handbook: 934 mPa s at 25 degC (from memory); the uncertainty stated is 10 %.
    assert medium_properties("glycerol", 298.15, ATMOSPHERE).dynamic_viscosity == pytest.approx(
        0.934, rel=0.1
    )
