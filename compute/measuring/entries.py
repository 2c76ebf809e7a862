"""Entries of a pipe, a medium and a transducer pair, and their physical properties.

An entry holds SI values as entered: a library name or the user's own values. Resolving one looks names
up and returns the physical object together with a finding for everything that had to be assumed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from compute.base.errors import NotEnough, OutOfRange
from compute.base.memoization import memoized
from compute.base.messages import Finding, field_name, quantity
from compute.base.sources import Source
from compute.library.custom_medium import MediumTable, table_properties
from compute.library.materials import Solid, solid, speed_at
from compute.library.media import medium_properties
from compute.measuring import pipe_checks, setup_checks
from compute.measuring.beam import FloatArray, Layer, Medium, Pipe, Real, Setup, Transducers, WaveMode
from compute.measuring.conditions import Conditions, expanded_pipe, oval_findings, warm_wedge

STATED = Source("entered by the user", "published")


@dataclass(frozen=True, slots=True)
class MaterialEntry:
    """A material: a library `name`, or own sound speeds [m/s] and, if known, roughness when new [m] and expansion [1/K]."""

    name: str = ""
    longitudinal_sound_speed: float | None = None
    shear_sound_speed: float | None = None
    roughness: float | None = None
    thermal_expansion: float | None = None


@dataclass(frozen=True, slots=True)
class LiningEntry:
    """A lining: material and thickness [m]."""

    material: MaterialEntry
    thickness: float


@dataclass(frozen=True, slots=True)
class PipeEntry:
    """A pipe as entered: outer diameter, wall, roughness [m]; material; lining; a wave mode if set by hand.

    further_linings : inside the first, from the outside in
    dimensions_temperature [K] : when the dimensions were measured; None uses the dimensions unchanged
    max_outer_diameter, min_outer_diameter [m] : of an oval pipe, whose outer_diameter is the mean
    """

    outer_diameter: float
    wall_thickness: float
    material: MaterialEntry
    lining: LiningEntry | None = None
    roughness: float | None = None
    wave_mode: WaveMode | None = None
    further_linings: tuple[LiningEntry, ...] = ()
    dimensions_temperature: float | None = None
    max_outer_diameter: float | None = None
    min_outer_diameter: float | None = None

    @property
    def linings(self) -> tuple[LiningEntry, ...]:
        """Every lining, from the outside in."""
        return (*((self.lining,) if self.lining else ()), *self.further_linings)

    @property
    def bore(self) -> float:
        """Inner diameter left for the medium [m]."""
        return self.outer_diameter - 2 * (self.wall_thickness + sum(one.thickness for one in self.linings))

    def conditions(self, medium_temperature: Real | None) -> Conditions:
        """Temperatures and shape of the pipe."""
        return Conditions(
            medium_temperature,
            self.dimensions_temperature,
            self.max_outer_diameter,
            self.min_outer_diameter,
        )


@dataclass(frozen=True, slots=True)
class MediumEntry:
    """A medium as entered: a library `name` with its conditions, or the user's own values.

    temperature [K], pressure [Pa], salinity [g/kg], mass_fraction and api_gravity [-]; or sound_speed [m/s],
    density [kg/m3], dynamic_viscosity [Pa s]. `temperature_source` is `measured`, `estimated` or empty.
    """

    name: str = ""
    temperature: float | None = None
    temperature_source: str = ""
    pressure: float | None = None
    salinity: float | None = None
    mass_fraction: float | None = None
    api_gravity: float | None = None
    sound_speed: float | None = None
    density: float | None = None
    dynamic_viscosity: float | None = None

    @property
    def table(self) -> MediumTable | None:
        """The property table of the entry, if it has one."""
        return None

    @property
    def composition(self) -> dict[str, float]:
        """The composition entered for the medium."""
        entered = {
            "salinity": self.salinity,
            "mass_fraction": self.mass_fraction,
            "api_gravity": self.api_gravity,
        }
        return {name: value for name, value in entered.items() if value is not None}


@dataclass(frozen=True, slots=True)
class TransducerEntry:
    """A transducer pair as entered, with its limits of temperature [K] and the limits of its rail [m], if known.

    wedge_speed_per_kelvin [m/s/K] is the change of the wedge's sound speed from its wedge_reference_temperature [K].
    """

    transducers: Transducers
    min_temperature: float | None = None
    max_temperature: float | None = None
    wedge_speed_per_kelvin: float | None = None
    wedge_reference_temperature: float | None = None
    min_spacing: float | None = None
    max_spacing: float | None = None


@dataclass(frozen=True, slots=True)
class ResolvedPipe:
    """The physical pipe, its materials of the library (None for the user's own values), and the assumptions as findings.

    lining_solid : the innermost lining, which the medium wets
    """

    pipe: Pipe
    wall_solid: Solid | None
    lining_solid: Solid | None
    findings: tuple[Finding, ...] = ()
    outermost_lining_solid: Solid | None = None


@dataclass(frozen=True, slots=True)
class ResolvedMedium:
    """The physical medium, its relative standard uncertainties (None: not known) and its source."""

    medium: Medium
    source: Source
    sound_speed_uncertainty: float | None = None
    density_uncertainty: float | None = None
    viscosity_uncertainty: float | None = None
    findings: tuple[Finding, ...] = ()


def check_transducers(entry: TransducerEntry) -> None:
    """Reject a transducer pair with impossible values; a wedge's angle and speeds are checked with the beam.

    Parameters
    ----------
    entry : TransducerEntry

    Raises
    ------
    OutOfRange  a face offset or a wedge delay below 0

    Source
    ------
    geometry : the facing end lies beyond the exit point; a wave takes time.
    """
    for name, kind in (("face_offset", "length"), ("wedge_delay", "transit_time")):
        value = getattr(entry.transducers, name)
        if value < 0:
            raise OutOfRange(
                field=f"transducers.{name}", value=quantity(value, kind), at_least=quantity(0.0, kind)
            )


@memoized
def resolve_pipe(entry: PipeEntry, temperature: Real | None = None) -> ResolvedPipe:
    """Resolve a pipe as entered into layers of known sound speed, at its operating temperature.

    Parameters
    ----------
    entry : PipeEntry  lengths in [m]
    temperature : float, (n,) or None [K]  of the medium, for sound speeds of the solids and dimensions measured at another

    Returns
    -------
    resolved : ResolvedPipe

    Raises
    ------
    NotEnough    no roughness entered and none known of the wetted material; a further lining without the outermost

    Source
    ------
    library : each solid carries its own; a roughness taken from it is a finding.
    """
    if entry.further_linings and entry.lining is None:
        raise NotEnough(field="pipe.lining", variant="outermost-lining")
    wall, wall_solid = _layer(
        entry.material, entry.wall_thickness, entry.wave_mode, "pipe.material", temperature
    )
    face, wetted, where = entry.material, wall_solid, "pipe.material"
    linings: list[Layer] = []
    outermost: Solid | None = None
    for number, one in enumerate(entry.linings):
        face = one.material
        where = f"pipe.further_linings.{number - 1}.material" if number else "pipe.lining.material"
        lining, wetted = _layer(one.material, one.thickness, None, where, temperature)
        linings.append(lining)
        outermost = outermost if number else wetted
    findings: tuple[Finding, ...] = ()
    roughness = entry.roughness
    if roughness is None:
        roughness, findings = _roughness_when_new(face, wetted, where)
    conditions = entry.conditions(temperature)
    expansion = wall_solid.thermal_expansion if wall_solid else entry.material.thermal_expansion
    pipe, expanded = expanded_pipe(
        Pipe(entry.outer_diameter, wall, roughness, tuple(linings)), expansion, conditions
    )
    lining_solid = wetted if linings else None
    found = (*findings, *expanded, *oval_findings(conditions))
    return ResolvedPipe(pipe, wall_solid, lining_solid, found, outermost)


def _roughness_when_new(
    face: MaterialEntry, wetted: Solid | None, where: str
) -> tuple[float, tuple[Finding, ...]]:
    if face.roughness is not None:
        return face.roughness, tuple(pipe_checks.roughness_assumed(face.roughness, "", STATED))
    if wetted is None or wetted.roughness is None:
        raise NotEnough(field="pipe.roughness", variant="roughness", material=field_name(where))
    return wetted.roughness, tuple(
        pipe_checks.roughness_assumed(wetted.roughness, wetted.title, wetted.source_roughness)
    )


def _layer(
    material: MaterialEntry,
    thickness: float,
    wave_mode: WaveMode | None,
    where: str,
    temperature: Real | None,
) -> tuple[Layer, Solid | None]:
    if material.name:
        found = solid(material.name, field=where)
        longitudinal = speed_at(found.longitudinal_sound_speed, found.longitudinal_per_kelvin, temperature)
        shear = found.shear_sound_speed
        if shear is not None:
            shear = speed_at(shear, found.shear_per_kelvin, temperature)
        return Layer(thickness, longitudinal, shear, wave_mode), found
    if material.longitudinal_sound_speed is None:
        raise NotEnough(field=where, variant="material")
    return Layer(thickness, material.longitudinal_sound_speed, material.shear_sound_speed, wave_mode), None


def resolve_medium(entry: MediumEntry) -> ResolvedMedium:
    """Resolve a medium as entered into sound speed, density and viscosity.

    Parameters
    ----------
    entry : MediumEntry  SI

    Returns
    -------
    resolved : ResolvedMedium

    Raises
    ------
    NotEnough    a named medium without a temperature, or an incomplete set of own values

    Source
    ------
    library : each medium carries its own; own values are the user's.
    """
    # A table may belong to a record; only the caller knows its version.
    return _medium_by_temperature(entry) if entry.table is not None else _medium_without_table(entry)


@memoized
def _medium_without_table(entry: MediumEntry) -> ResolvedMedium:
    if entry.name:
        return _medium_by_temperature(entry)
    if entry.sound_speed is None or entry.density is None or entry.dynamic_viscosity is None:
        raise NotEnough(field="medium", variant="medium-properties")
    return ResolvedMedium(Medium(entry.sound_speed, entry.density, entry.dynamic_viscosity), STATED)


def _medium_by_temperature(entry: MediumEntry) -> ResolvedMedium:
    if entry.temperature is None:
        raise NotEnough(field="medium.temperature", variant="medium-temperature")
    table = entry.table
    if table is None:
        found = medium_properties(entry.name, entry.temperature, entry.pressure, entry.composition)
    else:
        for component in entry.composition:
            raise OutOfRange(field=f"medium.{component}", variant="not-of-this-medium", medium=table.name)
        found = table_properties(table, entry.temperature)
    findings = found.findings
    if entry.temperature_source == "estimated":
        findings += tuple(setup_checks.temperature_estimated(entry.temperature))
    return ResolvedMedium(
        Medium(found.sound_speed, found.density, found.dynamic_viscosity),
        found.source,
        float(found.sound_speed_uncertainty),
        float(found.density_uncertainty),
        float(found.viscosity_uncertainty),
        findings,
    )


def medium_at(entry: MediumEntry) -> Callable[[FloatArray], Medium]:
    """Return a medium as a function of its temperature; other values as entered.

    Parameters
    ----------
    entry : MediumEntry  with a temperature

    Returns
    -------
    medium_of : callable  (n,) temperatures [K] to Medium

    Source
    ------
    library : the medium carries its own.
    """

    def at(temperatures: FloatArray) -> Medium:
        moved = replace(entry, temperature=temperatures, temperature_source="")  # type: ignore[arg-type]
        return resolve_medium(moved).medium

    return at


@memoized
def resolve_transducers(
    entry: TransducerEntry, temperature: Real | None
) -> tuple[Transducers, tuple[Finding, ...]]:
    """Return a transducer pair with its wedge at the medium's temperature.

    Parameters
    ----------
    entry : TransducerEntry
    temperature : float, (n,) or None [K]  of the medium

    Returns
    -------
    transducers : Transducers
    findings : tuple of Finding

    Source
    ------
    wedge : see `compute.measuring.conditions.warm_wedge`.
    """
    check_transducers(entry)
    warm, findings = warm_wedge(
        entry.transducers, entry.wedge_speed_per_kelvin, entry.wedge_reference_temperature, temperature
    )
    return warm, tuple(findings)


def setup_at(
    pipe: PipeEntry, medium: MediumEntry, transducers: TransducerEntry, setup: Setup
) -> Callable[[FloatArray], Setup]:
    """Return a set-up as a function of the medium's temperature: medium, wedge, dimensions and sound speeds of the solids.

    Parameters
    ----------
    pipe : PipeEntry
    medium : MediumEntry  with a temperature
    transducers : TransducerEntry
    setup : Setup  resolved from these entries

    Returns
    -------
    setup_of : callable  (n,) temperatures [K] to Setup

    Source
    ------
    library : see `resolve_pipe`, `resolve_medium` and `resolve_transducers`.
    """
    medium_of = medium_at(medium)

    def at(temperatures: FloatArray) -> Setup:
        return replace(
            setup,
            pipe=resolve_pipe(pipe, temperatures).pipe,
            medium=medium_of(temperatures),
            transducers=resolve_transducers(transducers, temperatures)[0],
        )

    return at
