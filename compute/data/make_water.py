"""Make water.json from the reference equations: `python -m compute.data.make_water`.

Sound speed and density by IAPWS-95, viscosity by IAPWS R12-08 (with its critical term, as the reference library has it),
fitted over the liquid from 0 to 200 degC and from saturation (or 600 Pa) to 25 MPa by polynomials in temperature and
pressure. The largest errors on a cloud of other points are stored with the coefficients. Needs CoolProp, a development
package; nothing at run time does.
"""

from __future__ import annotations

import json
from pathlib import Path

import CoolProp
import numpy as np
from CoolProp.CoolProp import AbstractState
from numpy.polynomial import chebyshev, polynomial

LOW_K, HIGH_K = 273.15, 473.15
LOW_PA, HIGH_PA = 600.0, 25e6
DEGREE_T, DEGREE_P = 16, 7
# What is fitted of each property: its logarithm where relative error counts.
FORMS = {"sound_speed": "plain", "density": "plain", "dynamic_viscosity": "log"}


def reference(temperatures: np.ndarray, pressures: np.ndarray) -> dict[str, np.ndarray]:
    state = AbstractState("HEOS", "Water")
    state.specify_phase(CoolProp.iphase_liquid)
    rows = np.empty((len(temperatures), 3))
    for i, (t, p) in enumerate(zip(temperatures, pressures, strict=True)):
        state.update(CoolProp.PT_INPUTS, p, t)
        rows[i] = state.speed_sound(), state.rhomass(), state.viscosity()
    return dict(zip(FORMS, rows.T, strict=True))


def lowest_pressure(temperature: float) -> float:
    state = AbstractState("HEOS", "Water")
    state.update(CoolProp.QT_INPUTS, 0, max(temperature, 273.16))
    return max(LOW_PA, state.p() * (1 + 1e-9))


def grid(count_t: int, count_p: int) -> tuple[np.ndarray, np.ndarray]:
    """Chebyshev nodes in temperature, and in pressure from saturation up at each."""
    nodes_t = (np.cos(np.pi * (np.arange(count_t) + 0.5) / count_t) + 1) / 2
    nodes_p = (np.cos(np.pi * (np.arange(count_p) + 0.5) / count_p) + 1) / 2
    temperatures, pressures = [], []
    for t in LOW_K + nodes_t * (HIGH_K - LOW_K):
        low = lowest_pressure(t)
        temperatures += [t] * count_p
        pressures += list(low + nodes_p * (HIGH_PA - low))
    return np.array(temperatures), np.array(pressures)


def scaled(values: np.ndarray, low: float, high: float) -> np.ndarray:
    return (2 * values - low - high) / (high - low)


def fit(t: np.ndarray, p: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Coefficients [pressure power, temperature power] of plain powers of the scaled variables."""
    x, y = scaled(t, LOW_K, HIGH_K), scaled(p, LOW_PA, HIGH_PA)
    basis = chebyshev.chebvander2d(y, x, [DEGREE_P, DEGREE_T])
    solution = np.linalg.lstsq(basis, values, rcond=None)[0].reshape(DEGREE_P + 1, DEGREE_T + 1)
    in_t = np.array([np.pad(c := chebyshev.cheb2poly(row), (0, DEGREE_T + 1 - len(c))) for row in solution])
    return np.array([np.pad(c := chebyshev.cheb2poly(col), (0, DEGREE_P + 1 - len(c))) for col in in_t.T]).T


def main() -> None:
    t, p = grid(48, 16)
    rng = np.random.default_rng(95)
    t_check = rng.uniform(LOW_K, HIGH_K, 4000)
    low = np.array([lowest_pressure(x) for x in t_check])
    p_check = low + rng.uniform(0, 1, 4000) * (HIGH_PA - low)
    values, check = reference(t, p), reference(t_check, p_check)
    out: dict[str, object] = {
        "temperature_k": [LOW_K, HIGH_K],
        "pressure_pa": [LOW_PA, HIGH_PA],
        "made_with": f"CoolProp {CoolProp.__version__}, HEOS::Water",
        "properties": {},
    }
    for name, form in FORMS.items():
        of = np.log if form == "log" else np.asarray
        coefficients = fit(t, p, of(values[name]))
        again = polynomial.polyval2d(
            scaled(p_check, LOW_PA, HIGH_PA), scaled(t_check, LOW_K, HIGH_K), coefficients
        )
        error = np.abs(again - of(check[name]))
        if form == "plain" and name == "density":
            error = error / check[name]
        print(name, error.max())
        out["properties"][name] = {  # type: ignore[index]
            "form": form,
            "largest_error": float(error.max()),
            "coefficients": coefficients.tolist(),
        }
    (Path(__file__).parent / "water.json").write_text(json.dumps(out, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
