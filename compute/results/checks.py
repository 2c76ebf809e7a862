"""Sanity checks of a log and what came out of it. Each returns the findings it has, often none."""

from __future__ import annotations

import numpy as np

from compute.base.figures import said
from compute.base.findings import Finding, Severity
from compute.base.sources import HAGEN_POISEUILLE, Source
from compute.measuring.profile import LAMINAR_BELOW, TURBULENT_FROM

# Figures of trade custom without a source.
MIN_VELOCITY = 0.05
MAX_VELOCITY = 10.0
SOUND_SPEED_WARNING = 0.01
SOUND_SPEED_ERROR = 0.05
MIN_READINGS_REPEATABILITY = 60
UNSTEADY_RELATIVE = 0.10
REFUSED_WARNING_SHARE = 0.01


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
    if velocity < 0:
        detail = "The flow is against the pipe's stated direction. If that cannot be, the cables of the transducers are swapped."
        findings.append(
            Finding("reverse-flow", "warning", detail, "readings.time_difference", velocity, 0.0, "speed")
        )
    if abs(velocity) > MAX_VELOCITY:
        detail = f"{said(abs(velocity), 'm/s', '.1f')} is faster than pipes are run. Check the outer diameter, the wall and the units."
        findings.append(Finding("velocity-high", "warning", detail, "", velocity, MAX_VELOCITY, "speed"))
    if abs(velocity) < MIN_VELOCITY:
        detail = (
            f"At {said(abs(velocity), 'mm/s', '.0f')} the zero of the meter matters as much as the flow. Check the zero with the flow shut, or "
            "take more traverses."
        )
        findings.append(Finding("velocity-low", "warning", detail, "", velocity, MIN_VELOCITY, "speed"))
    if reynolds <= LAMINAR_BELOW:
        detail = f"Reynolds number {reynolds:.0f}: laminar, the profile factor is 3/4 if the straight pipe is long enough for it."
        findings.append(
            Finding("flow-laminar", "info", detail, "", reynolds, LAMINAR_BELOW, source=HAGEN_POISEUILLE)
        )
    elif reynolds < TURBULENT_FROM:
        detail = f"Reynolds number {reynolds:.0f}: between laminar and turbulent the profile is not known, and the factor may be off by 10 %."
        findings.append(Finding("flow-transitional", "warning", detail, "", reynolds, TURBULENT_FROM))
    return findings


def sound_speed_fits(measured: float, expected: float, relative_uncertainty: float) -> list[Finding]:
    """Measured sound speed against the medium's.

    Parameters
    ----------
    measured : float [m/s]
    expected : float [m/s]
    relative_uncertainty : float [-]  standard, of the difference; twice that widens the limit

    Returns
    -------
    findings : list of Finding

    Source
    ------
    limits : 1 % and 5 %, common practice.
    """
    deviation = measured / expected - 1
    limit = max(SOUND_SPEED_WARNING, 2 * relative_uncertainty)
    if abs(deviation) <= limit:
        return []
    severity: Severity = "error" if abs(deviation) > max(SOUND_SPEED_ERROR, limit) else "warning"
    detail = (
        f"The measured sound speed of {said(measured, 'm/s', '.1f')} is {deviation:+.1%} off the "
        f"{said(expected, 'm/s', '.1f')} of the medium. Something "
        "entered is not so: outer diameter, wall, lining, medium, temperature, traverses or wedge."
    )
    return [
        Finding(
            "sound-speed-inconsistent", severity, detail, "medium.sound_speed", measured, expected, "speed"
        )
    ]


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
    detail = f"The signal of {signal:.1f} dB is below the {least:.1f} dB the meter needs. Clean the pipe, renew the couplant, check the spacing."
    return [
        Finding(
            "signal-weak",
            "warning",
            detail,
            "readings",
            signal,
            least,
            "ratio_db",
            Source("the meter's own data", "published"),
        )
    ]


def readings_sound(taken: int, rejected: int, impossible: int) -> list[Finding]:
    """Rows refused, readings this set-up cannot give, too few readings.

    Parameters
    ----------
    taken : int  rows read
    rejected : int  rows that could not be read
    impossible : int  readings left out because their transit time cannot be

    Returns
    -------
    findings : list of Finding

    Source
    ------
    limits : common practice.
    """
    findings = []
    if rejected:
        severity = "warning" if rejected > REFUSED_WARNING_SHARE * (taken + rejected) else "info"
        detail = f"{rejected} of {taken + rejected} rows of the log could not be read and are left out; the log lists them."
        findings.append(Finding("rows-rejected", severity, detail, "log", float(rejected), 0.0))  # type: ignore[arg-type]
    if impossible:
        detail = f"{impossible} readings have a transit time this set-up cannot give and are left out; check the pipe data and the signal."
        findings.append(Finding("readings-impossible", "warning", detail, "log", float(impossible), 0.0))
    used = taken - impossible
    if used < MIN_READINGS_REPEATABILITY:
        detail = f"Only {used} readings; log for some minutes to know the scatter."
        findings.append(
            Finding("readings-few", "warning", detail, "log", float(used), float(MIN_READINGS_REPEATABILITY))
        )
    return findings


def flow_steady(first_half: float, second_half: float) -> list[Finding]:
    """Mean flow of the first half of a log against that of the second.

    Parameters
    ----------
    first_half : float [m3/s]
    second_half : float [m3/s]

    Returns
    -------
    findings : list of Finding

    Source
    ------
    limit : 10 %, common practice.
    """
    mean = abs(first_half + second_half) / 2
    change = abs(second_half - first_half)
    if change <= UNSTEADY_RELATIVE * mean:
        return []
    detail = f"The mean flow changed by {change / mean if mean else float(np.inf):.0%} from the first half of the log to the second."
    return [Finding("flow-unsteady", "warning", detail, "log", second_half, first_half, "volume_flow")]
