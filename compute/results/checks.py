"""Sanity checks of a log and its result. Each returns its findings, often none."""

from __future__ import annotations

from typing import Any

import numpy as np

from compute.base.messages import Finding, Severity, field_name, finding, quantity
from compute.base.sources import HAGEN_POISEUILLE, Source
from compute.library.media import media
from compute.measuring.beam import FloatArray
from compute.measuring.entries import MediumEntry
from compute.measuring.installation import SYNOWIEC, Installation
from compute.measuring.profile import LAMINAR_BELOW, TURBULENT_FROM
from compute.results.sound_speed import COVERAGE_PROBABILITY, SoundSpeedTest

# Values of common practice, without a source.
MIN_VELOCITY = 0.05
MAX_VELOCITY = 10.0
# No liquid is pumped through a pipe faster than this; a default value.
IMPOSSIBLE_VELOCITY = 30.0
SOUND_SPEED_ERROR = 0.05
MIN_READINGS_REPEATABILITY = 60
UNSTEADY_RELATIVE = 0.10
# Two levels: they explain this part of the variance of the flow (of normal noise 0.64, of an even drift 0.75, of a sine 0.81), each has
# this part of the readings or more, and the flow goes back at least once. Default values.
SWITCHING_VARIANCE = 0.88
SWITCHING_FRACTION = 0.05
SWITCHING_READINGS = 12
SWITCHES = 2
SWITCHING_SAMPLE = 4000
# Outliers matter where they change the flow by more than this part of its expanded uncertainty; a default value.
OUTLIERS_MATTER = 0.1
REJECTED_WARNING_FRACTION = 0.01
# Relative corrections of the flow for its place: from the first they are a finding, from the second a warning.
MIN_CORRECTION, CORRECTION_WARNING = 0.001, 0.01
# Length for 99 % of the centreline velocity over diameter and Reynolds number (Hornbeck 1964, from memory; ours is the same).
LAMINAR_ENTRANCE = 0.056
HORNBECK = Source(
    "Hornbeck 1964 as in Shah and London 1978, Laminar Flow Forced Convection in Ducts: entrance length 0.056 diameters x Re",
    "unverified",
)
METER_DATA = Source("the meter's own data", "published")


def velocity_sane(velocity: float, reynolds: float, expanded_uncertainty: float = 0.0) -> list[Finding]:
    """Velocity and flow regime.

    Parameters
    ----------
    velocity : float [m/s]  mean over the bore, with its sign
    reynolds : float [-]
    expanded_uncertainty : float [m/s]  of the velocity; a velocity within it of 0 has no direction

    Returns
    -------
    findings : list of Finding

    Source
    ------
    regimes : laminar to 2300, turbulent from 4000, from memory; velocity limits are common practice.
    """
    findings = []
    moving = quantity(velocity, "speed")
    if abs(velocity) < expanded_uncertainty:
        findings.append(
            finding(
                "flow-within-uncertainty-of-zero",
                "warning",
                "readings.time_difference",
                velocity=moving,
                uncertainty=quantity(expanded_uncertainty, "speed"),
            )
        )
    elif velocity < 0:
        findings.append(finding("reverse-flow", "warning", "readings.time_difference", velocity=moving))
    if abs(velocity) > IMPOSSIBLE_VELOCITY:
        limit = quantity(IMPOSSIBLE_VELOCITY, "speed")
        findings.append(finding("velocity-impossible", "error", velocity=moving, at_most=limit))
    elif abs(velocity) > MAX_VELOCITY:
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


def installation_corrections(
    installation: Installation, length: float, bore: float, reynolds: float
) -> list[Finding]:
    """Report corrections of the flow for one bend and for developing laminar flow.

    Parameters
    ----------
    installation : Installation
    length : float [m]  upstream straight length
    bore : float [m]
    reynolds : float [-]

    Returns
    -------
    findings : list of Finding

    Source
    ------
    corrections : see `compute.measuring.installation`.
    """
    findings = []
    if installation.development >= MIN_CORRECTION:
        findings.append(
            finding(
                "laminar-flow-developing",
                "warning" if installation.development >= CORRECTION_WARNING else "info",
                "measuring_point.upstream_straight_length",
                source=HORNBECK,
                length=quantity(length, "length"),
                diameters=length / bore,
                needed_diameters=LAMINAR_ENTRANCE * reynolds,
                low=2 * installation.development / (1 + 2 * installation.development),
                correction=installation.development,
            )
        )
    if installation.bend >= MIN_CORRECTION:
        findings.append(
            finding(
                "corrected-for-bend",
                "info",
                "measuring_point.upstream_straight_length",
                source=SYNOWIEC,
                low=2 * installation.bend,
                correction=installation.bend,
            )
        )
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


def flow_switching(flow: FloatArray, *, segments_marked: bool = False) -> list[Finding]:
    """Whether a flow changes between two levels again and again, as with a pump that switches on and off.

    Parameters
    ----------
    flow : (n,) [m3/s]  in sequence
    segments_marked : bool  whether steady segments of the log are marked already

    Returns
    -------
    findings : list of Finding

    Source
    ------
    levels : Otsu 1979, IEEE Trans. Syst. Man Cybern. 9:62 (division with the largest variance between the parts), from memory;
        limits: default values.
    """
    if len(flow) < SWITCHING_READINGS:
        return []
    # Whole cycles of the pump are in a sample of evenly spaced positions; its steps are counted in all readings.
    sample = np.sort(flow[np.linspace(0, len(flow) - 1, min(len(flow), SWITCHING_SAMPLE)).astype(np.intp)])
    left = np.arange(1, len(sample)) / len(sample)
    below = np.cumsum(sample)[:-1] / len(sample)
    mean, variance = float(sample.mean()), float(sample.var())
    if variance == 0:
        return []
    between = (mean * left - below) ** 2 / (left * (1 - left))
    at = int(between.argmax())
    low, high = float(below[at] / left[at]), float((mean - below[at]) / (1 - left[at]))
    if between[at] < SWITCHING_VARIANCE * variance:
        return []
    if not SWITCHING_FRACTION <= left[at] <= 1 - SWITCHING_FRACTION:
        return []
    if high - low <= UNSTEADY_RELATIVE * max(abs(low), abs(high)):
        return []
    switches = int(np.count_nonzero(np.diff(flow > (low + high) / 2)))
    if switches < SWITCHES:
        return []
    return [
        finding(
            "flow-switching",
            "warning",
            "log",
            low=quantity(low, "volume_flow"),
            high=quantity(high, "volume_flow"),
            low_fraction=float(left[at]),
            switches=switches,
            segments_marked=segments_marked,
        )
    ]


def outliers_found(
    counts: tuple[int, int],
    mean_with: float,
    mean_without: float,
    expanded_uncertainty: float,
    *,
    included: bool,
) -> list[Finding]:
    """Outliers of a log, and the flow with and without them where the difference matters.

    Parameters
    ----------
    counts : (int, int)  outliers, and readings of which they are
    mean_with : float [m3/s]  mean flow of all
    mean_without : float [m3/s]  mean flow without the outliers
    expanded_uncertainty : float [m3/s]
    included : bool  whether the outliers are used

    Returns
    -------
    findings : list of Finding

    Source
    ------
    limit : a tenth of the expanded uncertainty, a default value.
    """
    count, readings = counts
    if not count:
        return []
    matters = abs(mean_with - mean_without) > OUTLIERS_MATTER * expanded_uncertainty
    return [
        finding(
            "outliers-included" if included else "outliers-excluded",
            "warning" if matters else "info",
            "log",
            count=count,
            readings=readings,
            flow_with=quantity(mean_with, "volume_flow") if matters else None,
            flow_without=quantity(mean_without, "volume_flow") if matters else None,
        )
    ]
