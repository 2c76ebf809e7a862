"""Downsampled series with every peak of the complete series."""

from __future__ import annotations

import random
from itertools import pairwise

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from surveys.logfiles.downsampling import downsampled, downsampled_blocks


def test_downsampling_keeps_the_peaks_and_the_ends() -> None:
    rng = random.Random(5)
    values = np.array([rng.gauss(0, 1) for _ in range(50_000)])
    values[31_234] = 99.0
    shown = downsampled(values, 400)
    assert len(shown) <= 402
    assert 31_234 in shown
    assert (shown[0], shown[-1]) == (0, 49_999)
    assert values.min() in values[shown]


@given(arrays(np.float64, st.integers(1, 300), elements=st.integers(-9, 9)), st.integers(2, 40))
def test_each_interval_shows_its_minimum_and_maximum(values: np.ndarray, points: int) -> None:
    shown = downsampled(values, points)
    expected = {0, len(values) - 1}
    if len(values) <= points:
        expected = set(range(len(values)))
    else:
        for part in np.split(
            np.arange(len(values)), np.linspace(0, len(values), points // 2 + 1).astype(int)[1:-1]
        ):
            expected |= {int(part[values[part].argmin()]), int(part[values[part].argmax()])}
    assert shown.tolist() == sorted(expected)


@given(
    arrays(np.float64, st.integers(1, 200), elements=st.integers(-9, 9) | st.just(np.nan)),
    st.integers(2, 40),
    st.lists(st.integers(0, 200), max_size=5),
)
def test_downsampling_by_blocks_agrees_with_downsampling_at_once(
    values: np.ndarray, points: int, cuts: list[int]
) -> None:
    edges = [0, *sorted(min(cut, len(values)) for cut in cuts), len(values)]
    times = np.arange(len(values)) * 10
    blocks = [(times[a:b], {"v": values[a:b]}) for a, b in pairwise(edges)]
    shown_times, shown = downsampled_blocks(blocks, len(values), points)["v"]
    whole = downsampled(values, points)
    assert shown_times.tolist() == (whole * 10).tolist()
    assert shown.tobytes() == values[whole].tobytes()


def test_an_interval_without_values_is_a_gap_and_hides_no_adjacent_peak() -> None:
    values = np.sin(np.arange(1000.0))
    values[200:400] = np.nan
    values[403] = 7.0
    shown = downsampled(values, 100)
    assert 403 in shown
    assert np.isnan(values[shown]).sum() >= 9
