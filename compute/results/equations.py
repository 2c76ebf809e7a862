"""Equations of the method, as readers see them: name, formula, symbols, range and source, in the order of the calculation."""

from __future__ import annotations

from dataclasses import dataclass

from compute.base.messages import gettext_noop
from compute.base.sources import PRACTICE, SNELL, Source
from compute.measuring.profile import DIAMETER_EXCESS, DIAMETER_EXCESS_FALL
from compute.results.uncertainty import PROFILE

GEOMETRY = Source("geometry of a beam in plane layers", "derived")
COLEBROOK = Source("Colebrook 1939, J. Inst. Civ. Eng. 11:133", "unverified")
GUM = Source("JCGM 100:2008 (GUM), clauses 5.1.2, 5.2.2, G.4.1 and G.6.4", "unverified")
HAMPEL = Source("Hampel 1974, J. Am. Stat. Assoc. 69:383", "unverified")
MONTE_CARLO = Source("JCGM 101:2008, clauses 6.4 and 7", "unverified")
SOKAL = Source("Sokal 1996, Monte Carlo Methods in Statistical Mechanics, section 3", "unverified")


@dataclass(frozen=True, slots=True)
class Equation:
    """One equation: its name, the formula (`_` before a subscript), what its symbols mean and where it holds."""

    name: str
    formula: str
    symbols: str
    validity: str
    source: Source


EQUATIONS = (
    Equation(
        gettext_noop("Axial slowness of the beam"),
        "p = sin θ_w / c_w",
        gettext_noop("θ_w wedge angle from the pipe's radius; c_w sound speed of the wedge at its temperature"),
        gettext_noop("The same in every layer. A wave of sound speed c propagates where p·c < 1."),
        SNELL,
    ),
    Equation(
        gettext_noop("Slowness across a layer"),
        "q_i = √(1/c_i² − p²)",
        gettext_noop("c_i sound speed of the medium, the wall or the lining, of the wave used there"),
        gettext_noop("Longitudinal wave where it propagates, otherwise shear wave."),
        SNELL,
    ),
    Equation(
        gettext_noop("Bore"),
        "B = D − 2·t − 2·l",
        gettext_noop("D outer diameter; t wall thickness; l thickness of the lining"),
        gettext_noop("Round pipe, dimensions at the operating temperature."),
        GEOMETRY,
    ),
    Equation(
        gettext_noop("Spacing"),
        "s = N·B·p/q + 2·t·p/q_t + 2·l·p/q_l − 2·a",
        gettext_noop("N traverses; a face offset, from the beam's exit point to the front face; q_t, q_l of wall and lining"),
        gettext_noop("Plane layers, straight beam along a diameter."),
        GEOMETRY,
    ),
    Equation(
        gettext_noop("Sound speed of the medium"),
        "q = (t_m − p·(s + 2·a) − 2·t·q_t − 2·l·q_l − 2·τ_w) / (N·B),  c = 1/√(p² + q²)",
        gettext_noop("t_m mean transit time; s mounted spacing; τ_w delay of one wedge"),
        gettext_noop("Where no mounted spacing is recorded, s is the spacing for the measured sound speed."),
        GEOMETRY,
    ),
    Equation(
        gettext_noop("Time in the medium"),
        "T = N·B / (c²·q)",
        gettext_noop("the time that the flow carries the wave"),
        gettext_noop("Straight beam along a diameter."),
        GEOMETRY,
    ),
    Equation(
        gettext_noop("Velocity along the beam"),
        "v_b = (Δt − Δt_0) / (2·p·T)",
        gettext_noop("Δt time difference, upstream less downstream; Δt_0 zero error that is corrected"),
        gettext_noop("Terms of (v/c)² are left out: below 0.01 % up to 5 m/s in water."),
        GEOMETRY,
    ),
    Equation(
        gettext_noop("Reynolds number"),
        "Re = ρ·v·B / η",
        gettext_noop("v mean velocity; ρ density; η dynamic viscosity"),
        gettext_noop("Laminar up to 2300, turbulent from 4000."),
        PRACTICE,
    ),
    Equation(
        gettext_noop("Friction factor"),
        "1/√f = −2·log₁₀( ε/(3.7·B) + 2.51/(Re·√f) )",
        gettext_noop("ε roughness of the wetted surface"),
        gettext_noop("Turbulent flow."),
        COLEBROOK,
    ),
    Equation(
        gettext_noop("Profile factor"),
        f"k = 1 / (1 + a·√(f/8)),  a = {DIAMETER_EXCESS} − {DIAMETER_EXCESS_FALL}/√f;  k = 3/4",
        gettext_noop("the first in turbulent, the second in laminar flow; a from velocity profiles along a diameter"),
        gettext_noop("Fully developed profile. Between Re 2300 and 4000 the mean of both, weighted with the probability of turbulent flow."),
        PROFILE,
    ),
    Equation(
        gettext_noop("Volume flow"),
        "q_V = F·(π/4)·B²·k·v_b",
        gettext_noop("q_V mean over all readings used; F corrections for the calibration of the meter and for the straight length, 1 without"),
        gettext_noop("Full pipe; negative for reverse flow."),
        GEOMETRY,
    ),
    Equation(
        gettext_noop("Outliers"),
        "|x − m| > 6·1.48·MAD",
        gettext_noop("x reading; m median of the 21 readings around it; MAD median distance from such medians"),
        gettext_noop("More than 42 readings; for fewer, one median and a wider limit. Excluded readings are listed and can be included again."),
        HAMPEL,
    ),
    Equation(
        gettext_noop("Repeatability of the mean"),
        "u(Δt) = s·√(τ/n)",
        gettext_noop("s standard deviation of n readings about their trend; τ correlation time, in readings"),
        gettext_noop("n/τ is the effective number of readings, here 50 or more. For fewer: a mixture of models of the correlation."),
        SOKAL,
    ),
    Equation(
        gettext_noop("Combined standard uncertainty"),
        "u²(q_V) = Σ_i Σ_j (∂q_V/∂x_i) · (∂q_V/∂x_j) · r(x_i, x_j) · u(x_i) · u(x_j)",
        gettext_noop("x_i input quantities of the budget; r their correlation coefficients, 0 unless listed"),
        gettext_noop("Sensitivities by central differences. Effective degrees of freedom by Welch and Satterthwaite."),
        GUM,
    ),
    Equation(
        gettext_noop("Expanded uncertainty"),
        "U = k·u(q_V)",
        gettext_noop("k for a coverage probability of 95 %, from the distributions of the inputs and their degrees of freedom"),
        gettext_noop("Half the 95 % interval of a Monte Carlo calculation where the flow is not a straight function of its inputs."),
        MONTE_CARLO,
    ),
)  # fmt: skip
