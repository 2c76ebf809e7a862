"""Water against published check values, tables and formulas; sources are in fixtures/published."""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path

import CoolProp
import numpy as np
import pytest
from CoolProp.CoolProp import AbstractState, PropsSI

from compute.library.media import medium_properties, saturation_pressure

PUBLISHED = Path(__file__).parents[2] / "fixtures" / "published"
ROWS = list(csv.DictReader((PUBLISHED / "water.csv").read_text(encoding="utf-8").splitlines()))
POLYNOMIALS = json.loads((PUBLISHED / "water_sound_speed_polynomials.json").read_text(encoding="utf-8"))
ATMOSPHERE = 101_325.0


def number(pattern: str, text: str) -> float:
    match = re.search(pattern, text)
    assert match, text
    return float(match[1])


def liquid_states(check: str, quantity: str) -> list[tuple[float, float, float]]:
    """Temperature, pressure and published value of rows that state temperature and density, where ours reach."""
    states = []
    for row in ROWS:
        if row["check"].startswith(check) and row["quantity"] == quantity:
            temperature, density = (
                number(r"T=([\d.]+) K", row["inputs"]),
                number(r"rho=([\d.]+)", row["inputs"]),
            )
            pressure = PropsSI("P", "T", temperature, "D", density, "Water")
            if temperature <= 473.15 and density > 800 and pressure <= 25e6:
                states.append((temperature, pressure, float(row["published"])))
    return states


@pytest.mark.parametrize(
    ("temperature", "pressure", "published"), liquid_states("IAPWS-95", "speed of sound")
)
def test_sound_speed_meets_the_check_values_of_iapws_95(
    temperature: float, pressure: float, published: float
) -> None:
    # IAPWS R6-95(2018) Table 7; tolerance: that of our coefficients, 1e-4 m/s.
    assert medium_properties("water", temperature, pressure).sound_speed == pytest.approx(published, abs=1e-4)


def test_the_check_values_of_iapws_95_in_reach_are_two() -> None:
    assert len(liquid_states("IAPWS-95", "speed of sound")) == 2


@pytest.mark.parametrize(
    ("temperature", "pressure", "published"), liquid_states("IAPWS R12-08", "dynamic viscosity")
)
def test_viscosity_meets_the_check_values_of_r12_08(
    temperature: float, pressure: float, published: float
) -> None:
    # IAPWS R12-08 Table 4, without the critical term, which is below 1e-6 there.
    viscosity = medium_properties("water", temperature, pressure).dynamic_viscosity
    assert viscosity * 1e6 == pytest.approx(published, rel=2e-6)


@pytest.mark.parametrize(
    "row",
    [r for r in ROWS if r["check"].startswith(("IAPWS-95", "IAPWS R12-08")) and r["quantity"] != "pressure"],
    ids=lambda r: r["quantity"] + " " + r["inputs"],
)
def test_the_reference_our_coefficients_come_from_meets_every_check_value(row: dict[str, str]) -> None:
    # All rows of IAPWS-95 Table 7 and R12-08 Table 4, gas and dense states too; tolerance: the digits printed, and for
    # viscosity the critical term the table leaves out.
    state = AbstractState("HEOS", "Water")
    state.specify_phase(CoolProp.iphase_gas)  # taken as one phase: no search for a second
    temperature, density = (number(pattern, row["inputs"]) for pattern in (r"T=([\d.]+) K", r"rho=([\d.]+)"))
    state.update(CoolProp.DmassT_INPUTS, density, temperature)
    if row["quantity"] == "speed of sound":
        assert state.speed_sound() == pytest.approx(float(row["published"]), rel=1e-8)
    else:
        assert state.viscosity() * 1e6 == pytest.approx(float(row["published"]), rel=2e-6)


@pytest.mark.parametrize(
    "row", [r for r in ROWS if r["check"].startswith("Perry")], ids=lambda r: r["inputs"] + r["quantity"]
)
def test_saturated_water_meets_the_handbook_table(row: dict[str, str]) -> None:
    # Perry 9th ed. Table 2-135: five digits of sound speed; its viscosity is of an older formulation, within 0.1 %.
    temperature = number(r"T=([\d.]+) K", row["inputs"])
    found = medium_properties(
        "water", temperature, float(saturation_pressure(max(temperature, 273.16))) * 1.000001
    )
    if row["quantity"] == "speed of sound":
        assert found.sound_speed == pytest.approx(float(row["published"]), abs=0.06)
    else:
        assert found.dynamic_viscosity * 1e6 == pytest.approx(float(row["published"]), rel=1.2e-3)


@pytest.mark.parametrize(
    ("name", "tolerance"),
    [("bilaniuk_wong_148", 0.08), ("marczak_1997", 0.08), ("del_grosso_mader_1972", 0.08)],
)
def test_sound_speed_at_one_atmosphere_meets_three_measured_polynomials(name: str, tolerance: float) -> None:
    # The authors state 0.01 to 0.03 m/s; IAPWS-95 states 0.005 % of the liquid at 1 atm, 0.08 m/s (both from memory).
    published = POLYNOMIALS[name]
    low, high = published["range_c"]
    celsius = np.linspace(low + 0.1, min(high, 99.0), 60)
    t = celsius * 1.00024 if published["scale"] == "T68" else celsius
    expected = np.polynomial.polynomial.polyval(t, published["coefficients"])
    found = medium_properties("water", celsius + 273.15, ATMOSPHERE).sound_speed
    assert np.max(np.abs(found - expected)) < tolerance


@pytest.mark.parametrize(
    "row", [r for r in ROWS if r["check"].startswith("Del Grosso")], ids=lambda r: r["inputs"]
)
def test_sound_speed_meets_quoted_points_of_del_grosso_and_mader(row: dict[str, str]) -> None:
    celsius = number(r"T=([\d.]+) C", row["inputs"]) / 1.00024
    assert medium_properties("water", celsius + 273.15, ATMOSPHERE).sound_speed == pytest.approx(
        float(row["published"]), abs=0.03
    )


def test_the_coefficients_keep_to_the_reference_equation_all_over_the_liquid() -> None:
    # The reference library solves IAPWS-95 and R12-08 point by point; limits are those the coefficients must keep.
    rng = np.random.default_rng(7)
    state = AbstractState("HEOS", "Water")
    state.specify_phase(CoolProp.iphase_liquid)
    for temperature, share in zip(rng.uniform(273.15, 473.15, 300), rng.uniform(0, 1, 300), strict=True):
        low = float(saturation_pressure(max(temperature, 273.16))) * 1.000001
        pressure = low + share * (25e6 - low)
        state.update(CoolProp.PT_INPUTS, pressure, temperature)
        found = medium_properties("water", float(temperature), pressure)
        assert found.sound_speed == pytest.approx(state.speed_sound(), abs=1e-4)
        assert found.density == pytest.approx(state.rhomass(), rel=1e-6)
        assert found.dynamic_viscosity == pytest.approx(state.viscosity(), rel=1e-6)


def test_the_vapour_pressure_meets_the_auxiliary_equation_of_wagner_and_pruss() -> None:
    # Wagner and Pruss 1993 (coefficients from memory), fitted to measurements apart from IAPWS-95; the two agree to
    # 0.01 % or so.
    powers = [1, 1.5, 3, 3.5, 4, 7.5]
    factors = [-7.85951783, 1.84408259, -11.7866497, 22.6807411, -15.9618719, 1.80122502]
    for temperature in np.linspace(273.16, 473.15, 40):
        q = 1 - temperature / 647.096
        terms = sum(a * q**n for a, n in zip(factors, powers, strict=True))
        expected = 22.064e6 * np.exp(647.096 / temperature * terms)
        assert saturation_pressure(float(temperature)) == pytest.approx(expected, rel=2e-4)


def test_density_at_one_atmosphere_meets_the_metrological_tables() -> None:
    # Tanaka et al. 2001 (from memory): 998.2067 at 20 degC, 997.047 at 25 degC.
    assert medium_properties("water", 293.15, ATMOSPHERE).density == pytest.approx(998.2067, abs=2e-3)
    assert medium_properties("water", 298.15, ATMOSPHERE).density == pytest.approx(997.047, abs=2e-3)
