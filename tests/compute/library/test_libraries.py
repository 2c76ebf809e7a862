"""Looking up pipe sizes, materials and media."""

from __future__ import annotations

import numpy as np
import pytest

from compute.base.errors import OutOfRange, UnknownName
from compute.library.materials import solid, solids
from compute.library.media import media, medium_properties
from compute.library.pipe_sizes import find_sizes, sizes_by_outer_diameter


@pytest.mark.parametrize("size", ["NPS 8", "nps8", "DN 200", "dn200", "8 in"])
def test_a_size_has_several_names(size: str) -> None:
    [row] = find_sizes(size, "Sch 40", "asme b36.10m")
    assert row.size == "NPS 8"


@pytest.mark.parametrize("size", ["NPS 2 1/2", "nps 2.5", "NPS 2-1/2", "DN 65"])
def test_a_fractional_size_has_several_names(size: str) -> None:
    assert "NPS 2 1/2" in {row.size for row in find_sizes(size)}


def test_an_unknown_size_comes_with_near_ones() -> None:
    with pytest.raises(UnknownName, match="NPS") as caught:
        find_sizes("NPS 7")
    assert caught.value.suggestions
    assert caught.value.field == "size"


def test_a_very_long_size_is_rejected_quickly_with_a_short_message() -> None:
    with pytest.raises(UnknownName) as caught:
        find_sizes("9" * 100_000)
    assert len(str(caught.value)) < 400


def test_sizes_near_a_diameter_come_nearest_first() -> None:
    rows = sizes_by_outer_diameter(0.2191, 0.0005)
    assert abs(rows[0].outer_diameter - 0.2191) <= abs(rows[-1].outer_diameter - 0.2191)


def test_a_material_is_found_regardless_of_case_and_unknown_ones_come_with_near_ones() -> None:
    assert solid("Carbon-Steel").shear_sound_speed == 3235
    with pytest.raises(UnknownName, match="carbon-steel"):
        solid("carbonsteel")


def test_every_material_has_its_sources_and_its_speeds_within_their_ranges() -> None:
    for one in solids():
        low, high = one.longitudinal_range
        assert low <= one.longitudinal_sound_speed <= high, one.name
        assert one.source_sound.text, one.name
        assert one.shear_sound_speed is None or one.shear_sound_speed < one.longitudinal_sound_speed


def test_an_unknown_medium_names_the_nearest_media() -> None:
    with pytest.raises(UnknownName, match="water"):
        medium_properties("watter", 300.0, None)


def test_every_medium_of_the_list_answers_in_the_middle_of_its_range() -> None:
    for one in media():
        middle = sum(one.temperature_range) / 2
        shares = {"salinity": 20.0, "mass_fraction": 0.4, "api_gravity": 30.0}
        composition = {name: shares[name] for name in one.needs if name in shares}
        assert medium_properties(one.name, middle, None, composition).source == one.source


def test_boiling_is_a_stop_with_the_pressure_that_would_do() -> None:
    found = medium_properties("water", 393.15, 101_325.0)
    [finding] = [f for f in found.findings if f.code == "medium-boiling"]
    assert finding.severity == "error"
    # Steam tables: water boils at 198.5 kPa at 120 degC (from memory).
    assert finding.parameters
    assert finding.parameters["boiling"]["si"] == pytest.approx(198.5e3, rel=2e-3)


def test_freezing_is_a_stop() -> None:
    assert [
        f.severity for f in medium_properties("water", 271.0, 2e5).findings if f.code == "medium-frozen"
    ] == ["error"]


def test_an_assumed_pressure_is_a_note_and_keeps_hot_water_liquid() -> None:
    cold, hot = (medium_properties("water", t, None) for t in (290.0, 420.0))
    assert [f.code for f in cold.findings] == ["pressure-assumed"]
    assert [f.code for f in hot.findings] == ["pressure-assumed"]
    assert hot.pressure > 4e5


@pytest.mark.parametrize(
    ("temperature", "pressure", "field"),
    [(700.0, None, "temperature"), (200.0, 1e5, "temperature"), (300.0, 1e9, "pressure")],
)
def test_a_medium_far_outside_its_range_is_rejected(
    temperature: float, pressure: float | None, field: str
) -> None:
    with pytest.raises(OutOfRange) as caught:
        medium_properties("water", temperature, pressure)
    assert caught.value.field == f"medium.{field}"


def test_a_composition_of_water_is_rejected() -> None:
    with pytest.raises(OutOfRange) as caught:
        medium_properties("water", 300.0, None, {"salinity": 0.035})
    assert caught.value.field == "medium.salinity"


def test_an_array_of_temperatures_gives_the_values_of_each_temperature() -> None:
    temperatures = np.linspace(275.0, 370.0, 20_000)
    together = medium_properties("water", temperatures, 2e5)
    for i in (0, 8191, 8192, 19_999):
        alone = medium_properties("water", float(temperatures[i]), 2e5)
        assert np.asarray(together.sound_speed)[i] == pytest.approx(alone.sound_speed, rel=1e-14)
        assert np.asarray(together.dynamic_viscosity)[i] == pytest.approx(alone.dynamic_viscosity, rel=1e-13)
