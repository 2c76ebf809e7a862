"""Sanity checks of a log and its result. Each returns its findings, often none."""

from __future__ import annotations

from typing import Any

from compute.base.messages import Finding, Severity, field_name, finding, quantity
from compute.base.sources import HAGEN_POISEUILLE, Source
from compute.library.media import media
from compute.measuring.entries import MediumEntry
from compute.measuring.profile import LAMINAR_BELOW, TURBULENT_FROM
from compute.results.sound_speed import COVERAGE_PROBABILITY, SoundSpeedTest

# Values of common practice, without a source.
MIN_VELOCITY = 0.05
MAX_VELOCITY = 10.0
SOUND_SPEED_ERROR = 0.05
MIN_READINGS_REPEATABILITY = 60
UNSTEADY_RELATIVE = 0.10
REJECTED_WARNING_FRACTION = 0.01
METER_DATA = Source("the meter's own data", "published")


def velocity_sane(velocity: float, reynolds: float) -> list[Finding]:
    """Velocity and flow regime.

    Parameters
    ----------
    velocity : float [m/s]  mean over the bore, with its sign
    reynolds : float [-]

    Returns
    -------
    findings : list of Finding

    Source
    ------
    regimes : laminar to 2300, turbulent from 4000, from memory; velocity limits are common practice.
    """
    findings = []
    moving = quantity(velocity, "speed")
    if velocity < 0:
        findings.append(finding("reverse-flow", "warning", "readings.time_difference", velocity=moving))
    if abs(velocity) > MAX_VELOCITY:
        limit = quantity(MAX_VELOCITY, "speed")
        findings.append(finding("velocity-high", "warning", velocity=moving, at_most=limit))
    if abs(velocity) < MIN_VELOCITY:
        limit = quantity(MIN_VELOCITY, "speed")
        findings.append(finding("velocity-low", "warning", velocity=moving, at_least=limit))
    if reynolds <= LAMINAR_BELOW:
        findings.append(finding("flow-laminar", "info", source=HAGEN_POISEUILLE, reynolds=reynolds))
    elif reynolds < TURBULENT_FROM:
        findings.append(finding("flow-transitional", "warning", reynolds=reynolds))
    return findings


def sound_speed_fits(test: SoundSpeedTest, medium: MediumEntry | None = None) -> list[Finding]:
    """Measured sound speed against the medium's: consistent or not, never both.

    Parameters
    ----------
    test : SoundSpeedTest
    medium : MediumEntry or None  named in the finding

    Returns
    -------
    findings : list of Finding  one; none where the transit time is too short for any sound speed

    Source
    ------
    limit : see `compute.results.sound_speed`; an error from 5 %, common practice.
    """
    if test.measured is None:
        return []
    facts = {
        "measured": quantity(test.measured, "speed"),
        "expected": quantity(test.expected, "speed"),
        "difference": test.deviation,
        "limit": test.limit,
        "coverage_probability": COVERAGE_PROBABILITY,
        "main_input": field_name(test.main_input),
        **medium_parameters(medium),
    }
    if test.consistent:
        return [finding("sound-speed-consistent", "info", "medium.sound_speed", **facts)]
    severity: Severity = "error" if abs(test.deviation) > max(SOUND_SPEED_ERROR, test.limit) else "warning"
    return [finding("sound-speed-inconsistent", severity, "medium.sound_speed", **facts)]


def medium_title(name: str) -> str:
    """The title of a medium within a sentence.

    Parameters
    ----------
    name : str  of the library; another is its own title

    Returns
    -------
    title : str  a common noun in lower case

    Source
    ------
    library : titles of the media.
    """
    title = next((one.title for one in media() if one.name == name), name)
    return title[:1].lower() + title[1:] if title[1:2].islower() else title


def medium_parameters(medium: MediumEntry | None) -> dict[str, Any]:
    """A medium as parameters of a message.

    Parameters
    ----------
    medium : MediumEntry or None

    Returns
    -------
    parameters : dict  `medium`, its title, and `temperature`; None where not given

    Source
    ------
    library : titles of the media.
    """
    if medium is None or not medium.name:
        return {"medium": None, "temperature": None}
    return {"medium": medium_title(medium.name), "temperature": quantity(medium.temperature, "temperature")}


def signal_strong(signal: float | None, least: float | None) -> list[Finding]:
    """Signal-to-noise ratio against what the meter needs.

    Parameters
    ----------
    signal : float or None [dB]  median of the log
    least : float or None [dB]

    Returns
    -------
    findings : list of Finding

    Source
    ------
    limit : the meter's own data.
    """
    if signal is None or least is None or signal >= least:
        return []
    return [
        finding(
            "signal-weak",
            "warning",
            "readings",
            source=METER_DATA,
            signal=quantity(signal, "ratio_db"),
            at_least=quantity(least, "ratio_db"),
        )
    ]


def readings_sound(taken: int, rejected: int, impossible: int) -> list[Finding]:
    """Rejected rows, readings not possible with this set-up, too few readings.

    Parameters
    ----------
    taken : int  rows read
    rejected : int  rows that could not be read
    impossible : int  readings left out because their transit time is not possible

    Returns
    -------
    findings : list of Finding

    Source
    ------
    limits : common practice.
    """
    findings = []
    rows = taken + rejected
    if rejected:
        severity: Severity = "warning" if rejected > REJECTED_WARNING_FRACTION * rows else "info"
        findings.append(finding("rows-rejected", severity, "log", count=rejected, rows=rows))
    if impossible:
        findings.append(finding("readings-impossible", "warning", "log", count=impossible))
    used = taken - impossible
    if used < MIN_READINGS_REPEATABILITY:
        findings.append(
            finding("readings-few", "warning", "log", count=used, at_least=MIN_READINGS_REPEATABILITY)
        )
    return findings


def flow_steady(first_half: float, second_half: float, *, segments_marked: bool = False) -> list[Finding]:
    """Mean flow of the first half of a log against that of the second.

    Parameters
    ----------
    first_half : float [m3/s]
    second_half : float [m3/s]
    segments_marked : bool  whether steady segments of the log are marked already

    Returns
    -------
    findings : list of Finding

    Source
    ------
    limit : 10 %, common practice.
    """
    mean = abs(first_half + second_half) / 2
    change = second_half - first_half
    if abs(change) <= UNSTEADY_RELATIVE * mean:
        return []
    return [
        finding(
            "flow-unsteady",
            "warning",
            "log",
            first_half=quantity(first_half, "volume_flow"),
            second_half=quantity(second_half, "volume_flow"),
            relative_change=change / mean if mean else None,
            segments_marked=segments_marked,
        )
    ]
