"""Materials of the library: properties and sources."""

from __future__ import annotations

import pytest

from compute.library.materials import Solid, solid, solids

ALL = pytest.mark.parametrize("one", solids(), ids=lambda one: one.name)
NEEDED = """
    carbon-steel galvanised-steel stainless-steel-304 stainless-steel-316 stainless-steel-347 cast-iron ductile-iron copper
    copper-rolled brass aluminium titanium lead borosilicate-glass pvc-u cpvc hdpe ldpe pp pvdf abs grp ptfe concrete
    asbestos-cement cement-mortar rubber-natural epoxy bitumen pmma nylon polystyrene peek"""


def test_the_materials_of_the_trade_are_there() -> None:
    assert set(NEEDED.split()) <= {one.name for one in solids()}


@ALL
def test_a_value_lies_within_the_range_of_its_sources(one: Solid) -> None:
    for value, limits in (
        (one.longitudinal_sound_speed, one.longitudinal_range),
        (one.shear_sound_speed, one.shear_range),
        (one.roughness, one.roughness_range),
    ):
        assert (value is None) == (limits is None)
        if value is not None and limits is not None:
            assert limits[0] <= value <= limits[1]


@ALL
def test_shear_and_longitudinal_speed_allow_an_elastic_solid(one: Solid) -> None:
    # Poisson's ratio (c2 - 2 s2) / (2 c2 - 2 s2) of an isotropic solid lies between 0 and 1/2.
    if one.shear_sound_speed is not None:
        c2, s2 = one.longitudinal_sound_speed**2, one.shear_sound_speed**2
        assert 0 < (c2 - 2 * s2) / (2 * c2 - 2 * s2) < 0.5


@ALL
def test_every_value_has_a_source(one: Solid) -> None:
    assert one.source_sound.text
    assert (one.roughness is None) == (one.source_roughness is None)
    assert (one.thermal_expansion is None) == (one.source_expansion is None)


def test_rubber_carries_no_shear_wave() -> None:
    assert solid("rubber-natural").shear_sound_speed is None


def test_the_sound_speed_of_solids_falls_with_temperature() -> None:
    known = {
        one.name: one.longitudinal_per_kelvin for one in solids() if one.longitudinal_per_kelvin is not None
    }
    assert {"peek", "hdpe", "pvc-u", "carbon-steel", "pmma"} <= set(known)
    assert all(slope < 0 for slope in known.values())


@pytest.mark.parametrize(
    ("name", "per_kelvin"),
    # Linear expansion near 20 degC (Kaye and Laby, from memory): 11-12, 16-17, 23 and 3.3 millionths.
    [("carbon-steel", 11.7e-6), ("copper", 16.7e-6), ("aluminium", 23e-6), ("borosilicate-glass", 3.3e-6)],
)
def test_expansion_is_that_of_the_handbooks(name: str, per_kelvin: float) -> None:
    assert solid(name).thermal_expansion == pytest.approx(per_kelvin, rel=0.05)
