"""The unit gate."""

from __future__ import annotations

import math
import subprocess
import sys
import time
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from compute.base.errors import ComputeError, NotEnough, NumberInvalid, UnitMissing, UnitUnknown
from compute.base.units import KINDS, express, parse_quantity, parse_series


@pytest.mark.parametrize(
    ("text", "kind", "si"),
    [
        # Exact by definition (NIST SP 811, from memory): inch 0.0254 m, US gallon 231 in3, psi 6894.757 Pa.
        ("219.1 mm", "length", 0.2191),
        ("8.625 in", "length", 0.219075),
        ("8 5/8 in", "length", 0.219075),
        ("5/8 in", "length", 0.015875),
        ("1 ft", "length", 0.3048),
        ("58 degC", "temperature", 331.15),
        ("136.4 degF", "temperature", 331.15),
        ("100 m3/h", "volume_flow", 100 / 3600),
        ("100 US gal/min", "volume_flow", 100 * 231 * 0.0254**3 / 60),
        ("14.5 psi", "pressure", 14.5 * 6894.757293168),
        ("6 bar", "pressure", 6e5),
        ("0.48 mPa.s", "dynamic_viscosity", 0.48e-3),
        ("170 ns", "time_difference", 170e-9),
        ("-3e-1 m/s", "speed", -0.3),
    ],
)
def test_quantities_come_in_as_people_write_them(text: str, kind: str, si: float) -> None:
    quantity = parse_quantity(text, kind)
    assert quantity.si == pytest.approx(si, rel=1e-12)
    assert quantity.text == text


def test_a_quantity_may_be_an_object() -> None:
    assert parse_quantity({"value": 8.625, "unit": "in"}, "length").si == 0.219075


@pytest.mark.parametrize("bare", [5, 5.0, "5", "8.625"])
def test_a_bare_number_is_rejected_with_a_list_of_units(bare: object) -> None:
    with pytest.raises(UnitMissing) as caught:
        parse_quantity(bare, "length", "pipe.outer_diameter")
    assert caught.value.message
    assert "mm" in caught.value.message.parameters["accepted"]
    assert (caught.value.code, caught.value.field) == ("unit-missing", "pipe.outer_diameter")


@pytest.mark.parametrize("text", ["5 degC", "5 furlong", "5 m m", "5 m*m", "5 MM"])
def test_a_unit_of_another_kind_or_none_is_rejected(text: str) -> None:
    with pytest.raises(UnitUnknown):
        parse_quantity(text, "length")


@pytest.mark.parametrize(
    "text",
    [
        "1,5 m", '6"', "1e999 m", "nan m", "inf m", "10**10**10 m", "1_000 m", "\uff11 m", "9" * 10_000 + " m", "1 / 0 in",
        "8 5/0 in", "__import__('os') m", "", " ", "m", "1" + " " * 5000 + "m", "0x10 m", "1e5e5 m", "--1 m",
    ],
)  # fmt: skip
def test_ambiguous_and_hostile_texts_are_rejected_at_once(text: str) -> None:
    parse_quantity("1 m", "length")  # the table is built on the first use
    started = time.perf_counter()
    with pytest.raises(ComputeError):
        parse_quantity(text, "length")
    assert time.perf_counter() - started < 0.5


@pytest.mark.parametrize(
    "raw",
    [
        True,
        None,
        [],
        {},
        {"value": "1", "unit": 3},
        {"value": True, "unit": "m"},
        {"value": 1, "unit": "m", "x": 1},
    ],
)
def test_a_text_that_is_not_a_quantity_is_rejected(raw: object) -> None:
    with pytest.raises(ComputeError):
        parse_quantity(raw, "length")


@given(
    st.floats(-1e6, 1e6, allow_nan=False), st.sampled_from(sorted(KINDS)), st.sampled_from(["metric", "us"])
)
def test_written_quantities_can_be_read_again(value: float, kind: str, system: str) -> None:
    out = express(value, kind, system)  # type: ignore[arg-type]
    assert parse_quantity(out, kind).si == pytest.approx(value, rel=1e-12, abs=1e-9)


@given(st.integers(1, 40), st.integers(1, 63))
def test_a_tape_fraction_is_equal_to_its_decimal(whole: int, sixtyfourths: int) -> None:
    fraction = Fraction(sixtyfourths, 64)
    tape = f"{whole} {fraction.numerator}/{fraction.denominator} in"
    assert parse_quantity(tape, "length").si == pytest.approx(
        float((whole + fraction) * Fraction(254, 10_000)), rel=1e-15
    )


def test_the_answers_units_are_those_of_the_contract() -> None:
    metric = {
        kind: express(1.0, kind, "metric")["unit"]
        for kind in ("length", "speed", "volume_flow", "temperature", "transit_time", "time_difference")
    }
    us = {kind: express(1.0, kind, "us")["unit"] for kind in metric}
    assert list(metric.values()) == ["mm", "m/s", "m3/h", "degC", "us", "ns"]
    assert list(us.values()) == ["in", "ft/s", "US gal/min", "degF", "us", "ns"]


def test_an_inch_comes_back_as_it_went_in() -> None:
    for text in ("8.625 in", "12.75 in", "0.406 in"):
        assert express(parse_quantity(text, "length").si, "length", "us")["value"] == pytest.approx(
            float(text.split()[0]), rel=4e-16
        )


def test_a_series_is_read_at_once_and_a_text_that_is_not_a_number_is_rejected() -> None:
    np.testing.assert_allclose(
        parse_series({"values": [1, 2.5], "unit": "us"}, "transit_time"), [1e-6, 2.5e-6]
    )
    for values in ([1, "2"], [True], [float("nan")], "12", [[1]], [10**400]):
        with pytest.raises((NumberInvalid, ComputeError)):
            parse_series({"values": values, "unit": "us"}, "transit_time")


@pytest.mark.parametrize(
    ("text", "kind", "si"),
    [
        # Hand values from the definitions of the units (NIST SP 811, from memory).
        ("8-5/8 in", "length", 8.625 * 0.0254),
        ("1 gpm", "volume_flow", 231 * 0.0254**3 / 60),  # US gallon = 231 cubic inches
        ("1 imp gal/min", "volume_flow", 4.54609e-3 / 60),  # imperial gallon = 4.54609 l
        ("1 ft3/s", "volume_flow", 0.3048**3),
        ("36 m³/h", "volume_flow", 0.01),
        ("-40 degF", "temperature", 233.15),  # -40 is the same on both scales
        ("9 degF", "temperature_difference", 5.0),
        ("812.3 µs", "transit_time", 812.3e-6),
        ("812.3 μs", "transit_time", 812.3e-6),
        ("1 atm", "pressure", 101_325.0),
        ("1 psi", "pressure", 0.45359237 * 9.80665 / 0.0254**2),  # pound-force over a square inch
        ("1 lb/ft3", "density", 0.45359237 / 0.3048**3),
        ("1 cP", "dynamic_viscosity", 0.001),
        ("1 MHz", "frequency", 1e6),
        ("45 deg", "angle", math.pi / 4),
        ("12e-6 1/K", "thermal_expansion", 12e-6),
        ("12 um/(m.K)", "thermal_expansion", 12e-6),
        ("1 ns/(ft/s)", "time_per_velocity", 1e-9 / 0.3048),
    ],
)
def test_units_of_every_kind_have_their_defined_size(text: str, kind: str, si: float) -> None:
    assert parse_quantity(text, kind).si == pytest.approx(si, rel=1e-14)


@pytest.mark.parametrize("kind", KINDS)
def test_every_spelling_is_read_and_the_si_unit_is_the_identity(kind: str) -> None:
    for spellings in KINDS[kind].units.values():
        first = parse_quantity(f"3.25 {spellings[0]}", kind).si
        assert [parse_quantity(f"3.25 {text}", kind).si for text in spellings] == [first] * len(spellings)
    assert parse_quantity(f"3.25 {KINDS[kind].si}", kind).si == 3.25


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("1,5 m", "decimal-comma"),
        ("1,000 mm", "decimal-comma"),
        ('1 1/2"', "inch-mark"),
        ("6'", "foot-mark"),
        ("1 000 mm", "several-numbers"),
        ("1.2.3 mm", "several-numbers"),
        ("8 9/8 in", "fraction"),
        ("1/129 in", "fraction"),
    ],
)
def test_ambiguous_text_is_rejected_with_its_reason(text: str, reason: str) -> None:
    with pytest.raises(NumberInvalid, match=reason):
        parse_quantity(text, "length")


def test_a_unit_of_another_kind_is_named_as_such() -> None:
    with pytest.raises(UnitUnknown) as caught:
        parse_quantity("58 mm", "temperature")
    assert caught.value.message
    assert caught.value.message.parameters == {
        "entered": "mm",
        "other_kind": {"term": "length"},
        "kind": {"term": "temperature"},
        "accepted": ["degC", "degF", "K"],
    }


def test_a_gauge_pressure_is_rejected_with_a_hint() -> None:
    with pytest.raises(UnitUnknown, match="unit-unknown/gauge-pressure"):
        parse_quantity("5 bar(g)", "pressure")


def test_a_value_that_overflows_in_si_is_rejected() -> None:
    with pytest.raises(NumberInvalid, match="number-invalid/too-large"):
        parse_quantity("1e308 km", "length")


@pytest.mark.parametrize("text", ["10**10**10 m", "1" * 10_000, "9" * 64, "1e999 m", "nan m", "\ud800 mm"])
def test_hostile_text_takes_under_ten_milliseconds_and_is_shortened_in_the_message(text: str) -> None:
    parse_quantity("1 m", "length")  # the table is built on the first use
    started = time.process_time()
    with pytest.raises(ComputeError) as caught:
        parse_quantity(text, "length")
    assert time.process_time() - started < 0.010
    assert len(str(caught.value).encode()) < 300


@given(st.floats(min_value=1e-3, max_value=1e4))
def test_the_same_length_in_several_units_agrees_to_a_part_in_a_million_million(inches: float) -> None:
    same = ((inches, "in"), (inches * 25.4, "mm"), (inches / 12, "ft"))
    lengths = [parse_quantity({"value": value, "unit": unit}, "length").si for value, unit in same]
    assert max(lengths) - min(lengths) <= 1e-12 * max(lengths)


@given(st.text(max_size=70))
def test_any_text_is_read_as_a_finite_number_or_rejected_with_a_known_code(text: str) -> None:
    try:
        outcome = "read" if math.isfinite(parse_quantity(text, "length").si) else "not finite"
    except ComputeError as rejection:
        outcome = rejection.code
    assert outcome in {"read", "unit-missing", "unit-unknown", "number-invalid"}


@pytest.mark.parametrize("bad", [True, "812.5", None, [1.0], math.nan, math.inf])
def test_a_series_names_the_position_of_a_value_that_is_not_finite(bad: object) -> None:
    with pytest.raises(NumberInvalid, match="position=1"):
        parse_series({"values": [812.5, bad], "unit": "us"}, "transit_time")


@pytest.mark.parametrize(
    ("raw", "error"),
    [
        ({"values": [], "unit": "us"}, NotEnough),
        ({"values": [1.0]}, UnitMissing),
        ({"values": [1.0], "unit": "mm"}, UnitUnknown),
        ([1.0], NumberInvalid),
    ],
)
def test_a_series_without_values_unit_or_shape_is_rejected(raw: object, error: type[ComputeError]) -> None:
    with pytest.raises(error):
        parse_series(raw, "transit_time")


def test_the_unit_library_is_not_loaded_before_a_unit_is_needed() -> None:
    code = "import sys, compute.base.units; sys.exit('pint' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
