"""Straight length as a correction and an uncertainty of the flow."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from compute.base.errors import OutOfRange
from compute.measuring.installation import (
    disturbed_half_width,
    installation_uncertainty,
    laminar_development,
)
from compute.measuring.location import Place, installation_at, straight_lengths, straight_share

BORE = 0.1


def behind(disturbance: str, share: float) -> Place:
    """Return a place with some share of the recommended straight length."""
    return Place(disturbance, share * straight_lengths()[disturbance].upstream_diameters * BORE, 1.0)


def test_the_half_width_is_that_of_the_publication_at_both_ends() -> None:
    # Synowiec 2021: 10.8 % close to the bend, 2 % from 8 diameters.
    assert disturbed_half_width(0.0) == pytest.approx(0.108)
    assert disturbed_half_width(1.0) == pytest.approx(0.02)


@pytest.mark.parametrize("disturbance", sorted(straight_lengths()))
@pytest.mark.parametrize("traverses", [1, 2, 3])
def test_a_straight_length_just_short_of_the_recommended_one_has_all_but_the_same_uncertainty(
    disturbance: str, traverses: int
) -> None:
    just, short = (installation_uncertainty(share, traverses, disturbance) for share in (1.0, 0.999))
    assert short == pytest.approx(just, rel=0.002)
    assert short > just > 0


@given(st.floats(0, 5), st.floats(0.01, 1), st.sampled_from(sorted(straight_lengths())), st.integers(1, 4))
def test_a_longer_straight_length_is_never_less_certain_and_an_unknown_one_is_the_least(
    share: float, more: float, disturbance: str, traverses: int
) -> None:
    found = installation_uncertainty(share, traverses, disturbance)
    assert installation_uncertainty(share + more, traverses, disturbance) < found
    assert found <= installation_uncertainty(None, traverses, disturbance)


def test_an_odd_number_of_traverses_is_less_certain_as_flow_across_the_pipe_does_not_cancel() -> None:
    one, two, three = (installation_uncertainty(0.5, count, "pump") for count in (1, 2, 3))
    # By hand: the transverse half is added in quadrature, for three traverses a third of that.
    assert one == pytest.approx(two * math.hypot(1, 0.5))
    assert three == pytest.approx(two * math.hypot(1, 0.5 / 3))


def test_a_share_below_zero_is_rejected() -> None:
    with pytest.raises(OutOfRange):
        disturbed_half_width(-0.1)


def test_one_bend_reads_low_and_the_flow_is_corrected_upward_by_half_of_the_error() -> None:
    at = installation_at(behind("single-bend", 0.5), BORE, 2, 1e5)
    assert at.factor == pytest.approx(1 + disturbed_half_width(0.5) / 2)
    # What is corrected and what is left span 0 to the whole error.
    assert at.standard_uncertainty * math.sqrt(3) == pytest.approx(at.bend)


@pytest.mark.parametrize("disturbance", ["pump", "tee", "two-bends-out-of-plane", "unknown"])
def test_a_disturbance_without_a_published_sign_corrects_nothing_in_turbulent_flow(disturbance: str) -> None:
    assert installation_at(behind(disturbance, 0.5), BORE, 2, 1e5).factor == 1.0


def test_a_length_without_a_disturbance_on_record_counts_against_the_longest_recommendation() -> None:
    assert straight_share(Place(upstream_straight_length=5.0), BORE) == pytest.approx(1.0)
    assert straight_share(Place("pump"), BORE) is None


def test_laminar_flow_at_the_recommended_length_is_corrected_by_half_of_its_development() -> None:
    # 8 diameters at Re 1600: length/(diameter x Re) = 0.005, where the meter reads 11.5 % low (see the published check).
    place = Place("pump", 8 * BORE, 1.0)
    at = installation_at(place, BORE, 2, 1600.0)
    assert at.development == pytest.approx((1 / 0.885 - 1) / 2, rel=0.02)
    assert at.standard_uncertainty > at.development / math.sqrt(3)
    # The interval (k = 2) holds fully developed flow and flow from a uniform inlet.
    assert 2 * at.standard_uncertainty > at.development


def test_developing_flow_fades_with_the_straight_length_and_with_turbulence() -> None:
    far = installation_at(Place("pump", 500 * BORE, 1.0), BORE, 2, 1600.0)
    assert far.development < 1e-4
    assert installation_at(Place("pump", 8 * BORE, 1.0), BORE, 2, 4000.0).development == 0.0


def test_without_a_length_on_record_laminar_flow_is_not_corrected_but_less_certain() -> None:
    unknown = installation_at(Place(), BORE, 2, 1600.0)
    assert unknown.factor == 1.0
    assert unknown.standard_uncertainty > installation_at(Place(), BORE, 2, 1e5).standard_uncertainty


@pytest.mark.parametrize("disturbance", ["single-bend", "pump"])
def test_the_effect_has_no_jump_in_the_reynolds_number(disturbance: str) -> None:
    place = behind(disturbance, 1.0)
    numbers = np.exp(np.arange(math.log(500), math.log(2e4), 0.005))
    found = [installation_at(place, BORE, 2, float(one)) for one in numbers]
    assert np.abs(np.diff([one.factor for one in found])).max() < 1e-3
    assert np.abs(np.diff([one.standard_uncertainty for one in found])).max() < 1e-3


def test_a_standing_medium_has_a_developed_profile() -> None:
    assert laminar_development(5.0, 0.0) == 1.0
    assert installation_at(Place("pump", 1.0, 1.0), BORE, 2, 0.0).development == 0.0
