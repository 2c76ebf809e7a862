"""Interval review, and its straight line, against published values."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from compute.calibration.intervals import AsFoundResult, Bounds, staircase
from compute.calibration.reliability import (
    Observed,
    interval_for_target,
    reliability_interval,
    share_interval,
)
from compute.statistics.straight_line import fit_line

# NIST Statistical Reference Datasets, Norris: calibration of ozone monitors, y and x (from memory; the certified values come out).
NORRIS = """0.1 0.2  338.8 337.4  118.1 118.2  888.0 884.6  9.2 10.1  228.1 226.5  668.5 666.3  998.5 996.3  449.1 448.6  778.9 777.0
559.2 558.2  0.3 0.4  0.1 0.6  778.1 775.5  668.8 666.9  339.3 338.0  448.9 447.5  10.8 11.6  557.7 556.0  228.3 228.1
998.0 995.8  888.8 887.6  119.6 120.2  0.3 0.3  0.6 0.3  557.6 556.8  339.3 339.1  888.0 887.2  998.5 999.0  778.9 779.0
10.2 11.1  117.6 118.3  228.9 229.2  668.4 669.1  449.2 448.9  0.2 0.5"""


def test_the_line_through_the_ozone_monitors_of_nist() -> None:
    y, x = np.array(NORRIS.split(), dtype=float).reshape(-1, 2).T
    line = fit_line(x.tolist(), y.tolist())
    # NIST StRD Norris, certified values.
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-12)
    assert float(line.at(0.0)) == pytest.approx(-0.262323073774029, rel=1e-10)
    assert line.slope_uncertainty == pytest.approx(0.429796848199937e-3, rel=1e-11)
    assert float(line.uncertainty_at(0.0)) == pytest.approx(0.232818234301152, rel=1e-11)
    assert line.scatter == pytest.approx(0.884796396144373, rel=1e-11)
    assert line.degrees_of_freedom == 34


def test_the_calibration_of_a_thermometer_of_gum_h3() -> None:
    # JCGM 100:2008 H.3 (readings from memory): y1 = -0.1712(29) degC, y2 = 0.00218(67), s = 0.0035 degC; at 30 degC a correction of
    # -0.1494 degC with u = 0.0041 degC.
    readings = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
    corrections = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]
    line = fit_line(readings, corrections)
    assert float(line.at(20.0)) == pytest.approx(-0.1712, abs=5e-5)
    assert float(line.uncertainty_at(20.0)) == pytest.approx(0.0029, abs=5e-5)
    assert line.slope == pytest.approx(0.00218, abs=5e-6)
    assert line.slope_uncertainty == pytest.approx(0.00067, abs=5e-6)
    assert line.scatter == pytest.approx(0.0035, abs=5e-5)
    assert float(line.at(30.0)) == pytest.approx(-0.1494, abs=5e-5)
    assert float(line.uncertainty_at(30.0)) == pytest.approx(0.0041, abs=5e-5)


def test_the_next_point_is_predicted_as_a_second_program_does() -> None:
    # scipy.stats.linregress for the line; the prediction variance by its textbook formula s^2 (1 + 1/n + (x - mean)^2/Sxx).
    x, y = [0.0, 360.0, 730.0, 1090.0, 1500.0], [0.1, 0.25, 0.22, 0.41, 0.5]
    found, expected = fit_line(x, y), stats.linregress(x, y)
    residual = np.array(y) - expected.intercept - expected.slope * np.array(x)
    s2 = residual @ residual / 3
    spread = s2 * (1 + 1 / 5 + (2000 - np.mean(x)) ** 2 / np.sum((x - np.mean(x)) ** 2))
    assert float(found.at(2000.0)) == pytest.approx(expected.intercept + 2000 * expected.slope, rel=1e-12)
    assert float(found.uncertainty_of_next(2000.0)) == pytest.approx(np.sqrt(spread), rel=1e-12)


@pytest.mark.parametrize(("target", "months"), [(0.95, 3.787), (0.90, 7.780)])
def test_the_exponential_example_with_85_in_100_at_12_months(target: float, months: float) -> None:
    # new = old x ln(target)/ln(observed) (NCSL RP-1, from memory): 12 ln 0.95 / ln 0.85 = 3.787, 12 ln 0.90 / ln 0.85 = 7.780.
    assert interval_for_target(12.0, 0.85, target) == pytest.approx(months, abs=5e-4)
    proposed = reliability_interval(Observed(85, 100), 360.0, target, Bounds(30.0, 1000.0))
    assert proposed.interval == pytest.approx(30 * months, abs=0.02)


def test_the_exact_limits_of_four_failures_in_twenty() -> None:
    # NIST/SEMATECH e-Handbook 7.2.4.1 (from memory): 4 defectives in 20, two-sided 90 %: 0.071354 to 0.401029.
    lower, upper = share_interval(Observed(4, 20), 0.90)
    assert lower == pytest.approx(0.071354, abs=1.5e-6)
    assert upper == pytest.approx(0.401029, abs=1.5e-6)


@pytest.mark.parametrize(
    ("inside", "results", "lower", "upper"),
    [
        # Exact 95 % limits of a binomial share, as tabulated since Clopper and Pearson 1934 (from memory), in per cent.
        (0, 10, 0.0, 30.85),
        (1, 10, 0.25, 44.50),
        (5, 10, 18.71, 81.29),
        (10, 10, 69.15, 100.0),
    ],
)
def test_the_tabulated_limits_of_ten_results(inside: int, results: int, lower: float, upper: float) -> None:
    found = share_interval(Observed(inside, results))
    assert found == pytest.approx((lower / 100, upper / 100), abs=6e-5)


@pytest.mark.parametrize("inside", [0, 3, 17, 20])
def test_the_exact_limits_are_those_of_a_second_program(inside: int) -> None:
    expected = stats.binomtest(inside, 20).proportion_ci(0.95, method="exact")
    assert share_interval(Observed(inside, 20)) == pytest.approx((expected.low, expected.high), abs=1e-12)


@pytest.mark.parametrize(("share", "days"), [(0.7, 450), (0.8, 450), (0.9, 360), (1.0, 360), (1.1, 180)])
def test_the_staircase_steps_at_80_per_cent_and_at_the_limit(share: float, days: int) -> None:
    # ILAC-G24:2007 Method 1 (80 %, from memory); factors 1.25 and 0.5 are our own choice: 360 x 1.25 = 450, 360 x 0.5 = 180.
    assert staircase([AsFoundResult(0.0, share)], 360.0, Bounds(30.0, 1000.0)).days == days
