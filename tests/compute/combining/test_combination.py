"""Combined results: shared uncertainty adds or cancels, independent uncertainty adds as squares."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from compute.base.errors import NotEnough, OutOfRange
from compute.combining.combination import Combined, combine, combine_as
from compute.combining.components import OWNERS, Component, Owner, Part, part_of_result
from compute.results.reduction import Readings, Reduction, reduce_log
from compute.results.uncertainty import DEFAULT_UNCERTAINTIES, FACTORS, OFFSETS
from compute.statistics.gum import BudgetRow, Input, coverage_factor, propagate
from tests.benchmarks.recompute import OCCASION, PAIR, PIPE, WATER, example_log

uncertainties = st.floats(-10, 10)
values = st.floats(-100, 100)


def part(value: float, coefficient: float = 1.0, **contributions: float) -> Part:
    return Part(value, tuple(Component(key, u) for key, u in contributions.items()), coefficient)


def codes(combined: Combined) -> set[str]:
    return {finding.code for finding in combined.findings}


def test_two_branches_on_one_meter_by_hand() -> None:
    # Shared 1 + 2 = 3 add before squaring; own 2 and 2 as squares: sqrt(9 + 4 + 4) = sqrt(17); shared share 9/17.
    total = combine_as("sum", [part(50, meter=1, a=2), part(100, meter=2, b=2)])
    assert total.value == 150
    assert total.combined_standard_uncertainty == pytest.approx(math.sqrt(17))
    assert total.shared_variance_fraction == pytest.approx(9 / 17)


def test_supply_less_return_by_hand() -> None:
    # What is shared cancels: 3 - 2.9 = 0.1; own 0.3 and 0.4: sqrt(0.01 + 0.09 + 0.16).
    net = combine_as("difference", [part(100, meter=3, a=0.3), part(96, meter=2.9, b=0.4)])
    assert net.value == 4
    assert net.combined_standard_uncertainty == pytest.approx(math.sqrt(0.26))
    [meter] = [row for row in net.budget if row.key == "meter"]
    assert meter.contribution == pytest.approx(0.1)
    assert meter.contribution_if_independent == pytest.approx(math.hypot(3, 2.9))
    assert meter.parts == (0, 1)


def test_the_mean_of_parallel_runs_by_hand() -> None:
    # Own doubts of 2 shrink by the root of 4, the shared one of 1 does not: sqrt(1 + 1).
    runs = [part(10.0 + i, meter=1, **{f"own{i}": 2}) for i in range(4)]
    mean = combine_as("mean", runs)
    assert mean.value == 11.5
    assert mean.combined_standard_uncertainty == pytest.approx(math.sqrt(2))


@given(own=st.lists(uncertainties, min_size=1, max_size=6))
def test_independent_parts_add_as_squares(own: list[float]) -> None:
    total = combine([part(1.0, **{f"k{i}": u}) for i, u in enumerate(own)])
    assert total.combined_standard_uncertainty == pytest.approx(math.hypot(*own), abs=1e-12)
    assert total.shared_variance_fraction == 0


@given(shared=st.lists(uncertainties, min_size=1, max_size=6))
def test_fully_correlated_parts_add_linearly(shared: list[float]) -> None:
    total = combine([part(1.0, same=u) for u in shared])
    assert total.combined_standard_uncertainty == pytest.approx(abs(sum(shared)), abs=1e-12)


@given(value=values, u=uncertainties, v=uncertainties)
def test_the_difference_of_a_result_with_itself_is_certain(value: float, u: float, v: float) -> None:
    one = part(value, a=u, b=v)
    net = combine_as("difference", [one, one])
    assert (net.value, net.combined_standard_uncertainty, net.expanded_uncertainty) == (0, 0, 0)


parts = st.lists(
    st.builds(
        lambda value, coefficient, us: part(value, coefficient, **us),
        values,
        st.floats(-2, 2),
        st.dictionaries(st.sampled_from("abcd"), uncertainties, max_size=4),
    ),
    min_size=1,
    max_size=5,
)


@given(some=parts, order=st.randoms())
def test_the_order_of_the_parts_does_not_matter(some: list[Part], order: object) -> None:
    mixed = list(some)
    order.shuffle(mixed)  # type: ignore[attr-defined]
    one, other = combine(some), combine(mixed)
    assert other.value == one.value
    assert other.combined_standard_uncertainty == one.combined_standard_uncertainty
    assert other.expanded_uncertainty == one.expanded_uncertainty


@given(some=parts, factor=st.floats(0.01, 100))
def test_everything_scales_with_the_unit(some: list[Part], factor: float) -> None:
    scaled = [
        replace(
            p,
            value=p.value * factor,
            components=tuple(replace(c, contribution=c.contribution * factor) for c in p.components),
        )
        for p in some
    ]
    one, other = combine(some), combine(scaled)
    assert other.value == pytest.approx(one.value * factor, abs=1e-9)
    assert other.expanded_uncertainty == pytest.approx(one.expanded_uncertainty * factor, abs=1e-9)


@given(some=parts)
def test_the_variance_fractions_of_a_budget_sum_to_one(some: list[Part]) -> None:
    combined = combine(some)
    total = sum(row.variance_fraction for row in combined.budget)
    assert total == pytest.approx(1.0 if combined.combined_standard_uncertainty else 0.0)


def test_a_single_part_keeps_its_degrees_of_freedom() -> None:
    # Welch-Satterthwaite by hand: u^4/(u1^4/4 + u2^4/9) with u1 = 1, u2 = 2: 25/(1/4 + 16/9).
    one = Part(7.0, (Component("a", 1.0, 4), Component("b", -2.0, 9)))
    found = combine([one])
    assert found.effective_degrees_of_freedom == pytest.approx(25 / (1 / 4 + 16 / 9))
    assert found.coverage_factor == coverage_factor(0.95, found.effective_degrees_of_freedom)


def test_one_input_with_two_degrees_of_freedom_uses_the_smaller_with_a_finding() -> None:
    combined = combine([Part(1.0, (Component("a", 1.0, 4),)), Part(1.0, (Component("a", 1.0, 20),))])
    assert combined.effective_degrees_of_freedom == pytest.approx(4)
    assert "correlated-degrees-of-freedom" in codes(combined)


def test_a_common_scatter_replaces_those_of_the_parts() -> None:
    own = [
        Part(5.0, (Component(f"scatter{i}", 3.0, 10, scatter=True), Component("m", 1.0))) for i in range(2)
    ]
    together = combine_as("sum", own, scatter=Component("scatter of the sum", 0.5, 30, scatter=True))
    assert together.combined_standard_uncertainty == pytest.approx(math.hypot(2.0, 0.5))
    assert {row.key: row.parts for row in together.budget} == {"m": (0, 1), "scatter of the sum": ()}


def test_a_difference_within_its_uncertainty_is_not_significant() -> None:
    net = combine_as("difference", [part(10.0, a=1.0), part(9.0, b=1.0)])
    assert codes(net) == {"difference-not-significant", "relative-uncertainty-meaningless"}


def test_a_difference_well_above_its_uncertainty_has_no_finding() -> None:
    assert codes(combine_as("difference", [part(10.0, a=1.0), part(5.0, b=1.0)])) == set()


def test_a_difference_of_zero_has_no_relative_uncertainty() -> None:
    net = combine_as("difference", [part(10.0, a=1.0), part(10.0, b=1.0)])
    assert net.relative_expanded_uncertainty == math.inf
    assert "relative-uncertainty-meaningless" in codes(net)


@pytest.mark.parametrize(("kind", "count"), [("sum", 1), ("mean", 0), ("difference", 3)])
def test_too_few_or_too_many_parts_are_rejected(kind: str, count: int) -> None:
    with pytest.raises(NotEnough, match="not-enough-data/parts"):
        combine_as(kind, [part(1.0, a=1.0)] * count)  # type: ignore[arg-type]


def test_an_input_twice_in_one_part_is_rejected() -> None:
    with pytest.raises(OutOfRange, match="repeated-input"):
        combine([Part(1.0, (Component("a", 1.0), Component("a", 2.0)))])


def test_values_that_are_not_numbers_are_rejected() -> None:
    with pytest.raises(OutOfRange, match="out-of-range/component"):
        Component("a", math.inf)
    with pytest.raises(OutOfRange, match="out-of-range/part"):
        Part(math.nan, ())
    with pytest.raises(OutOfRange, match="degrees-of-freedom"):
        Component("a", 1.0, 0.0)


def rows() -> tuple[BudgetRow, ...]:
    result = propagate(
        lambda x: x["pipe.wall_thickness"] * -2.0 + x["repeatability"],
        [Input("pipe.wall_thickness", 8.0, 0.1), Input("repeatability", 0.0, 0.3, 12)],
    )
    return result.budget


def test_a_result_becomes_a_part_with_signs_and_owners() -> None:
    found = part_of_result(5.0, rows(), {"pipe": "P-1", "run": "S-7"}, name="supply")
    components = {c.key: c for c in found.components}
    assert components["pipe.wall_thickness@pipe:P-1"].contribution == pytest.approx(-0.2)
    scatter = components["repeatability@run:S-7"]
    assert scatter.scatter
    assert (scatter.contribution, scatter.degrees_of_freedom) == (pytest.approx(0.3), 12)


def test_a_single_result_keeps_its_uncertainty_as_a_part() -> None:
    found = combine([part_of_result(5.0, rows(), {"pipe": "P-1", "run": "S-7"})])
    assert found.combined_standard_uncertainty == pytest.approx(math.hypot(0.2, 0.3))


def test_an_owner_that_is_needed_must_be_named() -> None:
    with pytest.raises(NotEnough, match="not-enough-data/owner") as caught:
        part_of_result(5.0, rows(), {"run": "S-7"})
    assert caught.value.message is not None
    assert caught.value.message.parameters["owner"] == "pipe"


def reduced(velocity: float) -> Reduction:
    log = example_log(400)
    return reduce_log(
        PIPE, WATER, PAIR, 2, [Readings(log.transit_time, velocity / 1.2 * log.time_difference)], OCCASION
    )


def test_every_input_of_a_flow_has_an_owner() -> None:
    inputs = {row.input for row in reduced(1.2).uncertainty.budget}
    assert inputs | set(DEFAULT_UNCERTAINTIES) <= set(OWNERS)
    assert {*FACTORS, *OFFSETS} <= set(OWNERS)


def owners(run: str, mounting: str = "") -> dict[Owner, str]:
    return {
        "pipe": "P",
        "meter": "M",
        "pair": "T",
        "mounting": f"{mounting or run}",
        "medium": "W",
        "point": "A",
        "run": run,
    }


def test_a_reduced_log_as_the_only_part_keeps_its_uncertainty() -> None:
    found = reduced(1.2)
    alone = combine([part_of_result(found.volume_flow, found.uncertainty.budget, owners("1"))])
    assert alone.combined_standard_uncertainty == pytest.approx(
        found.uncertainty.combined_standard_uncertainty, rel=1e-12
    )
    # A combined value takes Student's t, a result the convolution of its inputs' shapes: rectangular ones make it narrower.
    assert alone.coverage_factor == pytest.approx(
        coverage_factor(0.95, found.uncertainty.effective_degrees_of_freedom), rel=1e-9
    )
    assert 1.0 <= alone.coverage_factor / found.uncertainty.coverage_factor < 1.05


def test_two_branches_measured_with_one_meter_have_zeros_of_their_own() -> None:
    # Two mountings, each with a zero of u = 0.3 ns: the difference has 0.3 ns x sqrt(2), less with the same mounting.
    zero = Input("meter.zero", 0.0, 0.3e-9)
    [row] = propagate(lambda x: 2.2e5 * x["meter.zero"], [zero]).budget
    branches = [part_of_result(0.04, [row], {"meter": "M", "mounting": mounting}) for mounting in ("1", "2")]
    one_sensor_set = [part_of_result(0.04, [row], {"meter": "M", "mounting": "1"}) for _ in range(2)]
    own = combine_as("difference", branches).combined_standard_uncertainty
    assert own == pytest.approx(2.2e5 * 0.3e-9 * math.sqrt(2))
    assert combine_as("difference", one_sensor_set).combined_standard_uncertainty == pytest.approx(
        0, abs=1e-15
    )


def test_a_change_of_flow_seen_by_one_mounting_is_surer_than_either_flow() -> None:
    # All but the scatters is shared, and leaves of each contribution what the flow moved by: a twentieth of it or less.
    before, after = reduced(1.2), reduced(1.26)
    ends = [
        part_of_result(one.volume_flow, one.uncertainty.budget, owners(run, "once"))
        for one, run in ((after, "2"), (before, "1"))
    ]
    change = combine_as("difference", ends)
    assert change.value == pytest.approx(0.05 * before.volume_flow, rel=0.01)
    shared = [row for row in change.budget if len(row.parts) == 2]
    assert len(shared) >= 10
    assert all(abs(row.contribution) <= 0.05 * row.contribution_if_independent for row in shared)
    own = [row.contribution for row in change.budget if len(row.parts) == 1]
    assert len(own) == 2
    assert change.combined_standard_uncertainty == pytest.approx(math.hypot(*own), rel=0.02)
