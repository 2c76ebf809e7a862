"""Equations of state of the reference library, evaluated by the generators. Needs CoolProp."""

from __future__ import annotations

from functools import cache
from typing import Any

import CoolProp
from CoolProp.CoolProp import AbstractState


@cache
def _liquid_state(fluid: str) -> Any:
    state = AbstractState("HEOS", fluid)
    state.specify_phase(CoolProp.iphase_liquid)
    return state


@cache
def any_state(fluid: str) -> Any:
    """Return the equation of state of a fluid, in no particular state."""
    return AbstractState("HEOS", fluid)


def liquid(
    fluid: str, temperature: float, pressure: float, viscosity: bool = True
) -> tuple[float, float, float]:
    """Return sound speed, density and viscosity (not a number if not requested) of the liquid."""
    state = liquid_state(fluid, temperature, pressure)
    return state.speed_sound(), state.rhomass(), state.viscosity() if viscosity else float("nan")


def liquid_state(fluid: str, temperature: float, pressure: float) -> Any:
    """Return the equation of state of a liquid at a temperature and a pressure."""
    state = _liquid_state(fluid)
    state.update(CoolProp.PT_INPUTS, pressure, temperature)
    return state


@cache
def boiling_pressure(fluid: str, temperature: float) -> float:
    """Return the pressure at which the first bubble forms."""
    state = any_state(fluid)
    state.update(CoolProp.QT_INPUTS, 0, temperature)
    return float(state.p())
