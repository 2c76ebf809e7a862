"""GUM example H.2 from its five raw observations: three results from one set of correlated inputs."""

from __future__ import annotations

import numpy as np
import pytest

from compute.statistics.gum import Correlation, Input, Model, correlation_matrix, propagate, sensitivities

# JCGM 100:2008 table H.2 (from memory): V [V], I [A], phi [rad], observed together five times.
OBSERVED = {
    "V": np.array([5.007, 4.994, 5.005, 4.990, 4.999]),
    "I": np.array([19.663, 19.639, 19.640, 19.685, 19.678]) * 1e-3,
    "phi": np.array([1.0456, 1.0438, 1.0468, 1.0428, 1.0433]),
}
MODELS: dict[str, Model] = {
    "R": lambda x: x["V"] / x["I"] * np.cos(x["phi"]),
    "X": lambda x: x["V"] / x["I"] * np.sin(x["phi"]),
    "Z": lambda x: x["V"] / x["I"],
}


def observed_inputs() -> list[Input]:
    return [
        Input(name, float(x.mean()), float(x.std(ddof=1)) / 5**0.5, degrees_of_freedom=4)
        for name, x in OBSERVED.items()
    ]


def observed_correlations() -> list[Correlation]:
    r = np.corrcoef(list(OBSERVED.values()))
    return [("V", "I", float(r[0, 1])), ("V", "phi", float(r[0, 2])), ("I", "phi", float(r[1, 2]))]


def test_the_observations_are_correlated_as_printed() -> None:
    # Table H.2: r(V, I) = -0.36, r(V, phi) = 0.86, r(I, phi) = -0.65.
    printed = [-0.36, 0.86, -0.65]
    assert [r for _, _, r in observed_correlations()] == pytest.approx(printed, abs=0.006)


@pytest.mark.parametrize(
    ("name", "value", "uncertainty"),
    # Table H.3 in ohm, to its last printed digit.
    [("R", 127.732, 0.071), ("X", 219.847, 0.295), ("Z", 254.260, 0.236)],
)
def test_resistance_reactance_and_impedance_are_as_printed(
    name: str, value: float, uncertainty: float
) -> None:
    result = propagate(MODELS[name], observed_inputs(), observed_correlations())
    assert result.value == pytest.approx(value, abs=0.001)
    assert result.combined_standard_uncertainty == pytest.approx(uncertainty, abs=0.001)


def test_results_that_share_their_inputs_are_correlated_as_printed() -> None:
    # Table H.3: r(R, X) = -0.588, r(R, Z) = -0.485, r(X, Z) = 0.993.
    inputs = observed_inputs()
    matrix = correlation_matrix(["V", "I", "phi"], observed_correlations())
    uncertainties = [item.standard_uncertainty for item in inputs]
    parts = np.array([sensitivities(model, inputs)[1] * uncertainties for model in MODELS.values()])
    covariance = parts @ matrix @ parts.T
    deviation = np.sqrt(np.diag(covariance))
    r = covariance / np.outer(deviation, deviation)
    assert [r[0, 1], r[0, 2], r[1, 2]] == pytest.approx([-0.588, -0.485, 0.993], abs=0.001)


def test_inputs_observed_together_keep_their_degrees_of_freedom() -> None:
    # Five joint observations leave four degrees of freedom whatever the correlations (GUM H.2.4, approach 2).
    result = propagate(MODELS["Z"], observed_inputs(), observed_correlations())
    assert result.effective_degrees_of_freedom == pytest.approx(4)
