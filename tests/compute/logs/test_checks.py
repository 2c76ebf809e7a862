"""Checks of a log: when each has a finding and when it has none. The limits are common practice."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from compute.base.messages import Finding
from compute.base.unit_table import unit_named
from compute.logs.checks import SECOND, LogCheck

START = 1_791_279_000 * SECOND  # 2026-10-06 09:30:00 UTC
Columns = Mapping[str, np.ndarray]


def steady(count: int) -> dict[str, np.ndarray]:
    """Columns of a sound log: DN 200, water, about 1.3 m/s."""
    wave = 1 + 0.01 * np.sin(np.arange(count) / 7)
    return {
        "transit_time": np.full(count, 311e-6),
        "time_difference": 170e-9 * wave,
        "flow_velocity": 1.3 * wave,
        "volume_flow": 0.042 * wave,
        "sound_speed": np.full(count, 1480.0),
        "signal_to_noise": np.full(count, 42.0),
        "medium_temperature": np.full(count, 313.15),
    }


def found(
    seconds: list[float] | np.ndarray, columns: Columns | None = None, piece: int = 10**9
) -> list[Finding]:
    """Findings of a log fed in pieces."""
    times = START + np.round(np.asarray(seconds) * SECOND).astype(np.int64)
    columns = columns or steady(len(times))
    check = LogCheck()
    for n in range(0, len(times), piece):
        check.feed(times[n : n + piece], {name: values[n : n + piece] for name, values in columns.items()})
    return check.findings()


def parameter(finding: Finding, name: str) -> Any:
    assert finding.message
    return finding.message.parameters[name]


def codes(findings: list[Finding]) -> list[str]:
    return [finding.code for finding in findings]


def test_a_sound_log_has_no_findings() -> None:
    assert found(np.arange(20_000)) == []
    assert found(np.arange(5000) + np.random.default_rng(1).uniform(-0.2, 0.2, 5000)) == []
    assert found([0.0]) == []


def test_readings_missing_for_a_while_are_a_gap_with_its_time_and_length() -> None:
    [finding] = found([*range(100), *range(220, 300)])
    assert (finding.code, finding.severity, parameter(finding, "count")) == ("log-gaps", "info", 1)
    assert parameter(finding, "total") == {"si": 121.0, "kind": "duration"}
    assert parameter(finding, "times") == [{"at": "2026-10-06T09:31:39+00:00"}]


def test_a_step_of_whole_hours_ahead_is_the_clock_and_not_a_gap() -> None:
    assert codes(found([*range(100), *range(3700, 3800)])) == ["log-clock-ahead"]
    assert codes(found([*range(100), *range(3760, 3800)])) == ["log-gaps"]


def test_a_step_back_is_the_clock_and_not_a_row_out_of_order() -> None:
    assert codes(found([*range(4000), *range(400, 800)])) == ["log-clock-back"]
    [finding] = found([0, 1, 2, 4, 3, 5, 6, 7, 8])
    assert (finding.code, parameter(finding, "count")) == ("log-out-of-order", 1)


def test_a_single_stray_row_is_out_of_order_and_makes_no_gap() -> None:
    assert codes(found([0, 1, 2, 3, 9000, 5, 6, 7, 8])) == ["log-out-of-order"]
    assert codes(found([0, 1, 2, 3, -9000, 5, 6, 7, 8])) == ["log-out-of-order"]


def test_repeated_rows_and_repeated_times_are_distinguished() -> None:
    seconds = [0, 1, 1, 2, 3, 3, 4]
    columns = {"flow_velocity": np.array([1.0, 1.1, 1.1, 1.2, 1.3, 1.4, 1.5])}
    findings = found(seconds, columns)
    assert codes(findings) == ["log-rows-repeated", "log-times-repeated"]
    assert [parameter(finding, "count") for finding in findings] == [1, 1]


def test_a_missing_value_is_like_another_missing_value() -> None:
    columns = {"flow_velocity": np.ones(4), "signal_to_noise": np.array([40.0, np.nan, np.nan, 40.0])}
    assert codes(found([0, 1, 1, 2], columns)) == ["log-rows-repeated"]


@given(
    st.lists(
        st.sampled_from([1, 1, 1, 1, 0, 2, 30, 3600, 3601, -1, -3, -70, -4000]), min_size=3, max_size=20
    ),
    st.integers(1, 20),
)
def test_findings_do_not_depend_on_how_the_log_is_cut(steps: list[int], piece: int) -> None:
    # The usual interval is that of the first piece, so the first readings are in order.
    # Irregularities are apart: which of two such rows is the stray one depends on the rows around them.
    seconds = np.cumsum([*([1] * 40), *(s for step in steps for s in (step, 1, 1, 1, 1, 1))])
    columns = {"flow_velocity": np.ones(len(seconds))}
    whole, parts = found(seconds, columns), found(seconds, columns, 20 + piece)
    assert [f.message for f in parts] == [f.message for f in whole]


@pytest.mark.parametrize(
    ("name", "factor", "field"),
    [
        ("transit_time", 1e-3, "log.transit_time"),  # ms in a column declared as us
        ("transit_time", 1e3, "log.transit_time"),
        ("time_difference", 1e3, "log.time_difference"),  # ns in a column declared as us
        ("sound_speed", 1e-3, "log.sound_speed"),
        ("sound_speed", 1 / 0.0254, "log.sound_speed"),
        ("flow_velocity", 1e3, "log.flow_velocity"),
        ("volume_flow", 1e4, "log.volume_flow"),
        ("volume_flow", 1e-4, "log.volume_flow"),
    ],
)
def test_a_column_that_is_not_possible_in_its_unit_is_an_error(name: str, factor: float, field: str) -> None:
    columns = steady(300)
    columns[name] = columns[name] * factor
    findings = found(np.arange(300), columns)
    assert ("log-unit-implausible", "error", field) in [(f.code, f.severity, f.field) for f in findings]


def test_a_single_spike_does_not_indicate_a_unit() -> None:
    columns = steady(300)
    columns["sound_speed"][150] = 1e6
    columns["transit_time"][150] = 0.311
    assert found(np.arange(300), columns) == []


@pytest.mark.parametrize(
    ("name", "factor"),
    [("transit_time", 1e3), ("sound_speed", 3.28084), ("volume_flow", 3.6), ("flow_velocity", 1 / 25.4)],
)
@pytest.mark.parametrize("count", [400, 100_000])
def test_a_unit_changed_during_the_log_is_found(name: str, factor: float, count: int) -> None:
    columns = steady(count)
    columns[name][count // 2 :] *= factor
    findings = found(np.arange(count), columns, 65_536)
    stepped = [f for f in findings if f.code == "log-unit-changes"]
    assert stepped
    assert any(
        parameter(f, "factor") == pytest.approx(factor, rel=0.02)
        or parameter(f, "factor") == pytest.approx(1 / factor, rel=0.02)
        for f in stepped
    )


def test_a_real_change_of_the_flow_is_not_a_change_of_unit() -> None:
    columns = steady(1000)
    for name in ("time_difference", "flow_velocity", "volume_flow"):
        columns[name][500:] *= 3.6
    assert found(np.arange(1000), columns) == []


def test_columns_in_other_units_are_converted_before_they_are_checked() -> None:
    check = LogCheck(
        {
            "transit_time": unit_named("us", "transit_time"),
            "medium_temperature": unit_named("degC", "temperature"),
        }
    )
    times = START + np.arange(100) * SECOND
    check.feed(times, {"transit_time": np.full(100, 311.0), "medium_temperature": np.full(100, 40.0)})
    assert check.findings() == []
