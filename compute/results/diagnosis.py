"""Diagnosis: possible causes of a transit time that does not match the entries.

Bayes' rule over the kinds of entry error in `compute.results.entry_error_kinds`. The weight of a kind is shared by its possible
candidates. With r the measured time less the time of a set-up and s its standard uncertainty, a candidate from a list scores
weight x N(r; 0, s). A solved value differs by `move` and may differ by `reach` (one standard deviation); it spreads the
time by reach x |r/move|, so it scores weight x N(r; 0, S) with r as entered and S^2 = s^2 + (reach x r/move)^2: the
larger the possible change of a value, the less it explains. The list is completed by "no error" and "another cause". Scores over their
sum are the probabilities.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from compute.base.errors import ComputeError, OutOfRange, UnknownName
from compute.base.messages import Finding, Message, message, quantity, term
from compute.measuring.beam import trace
from compute.measuring.entries import resolve_medium
from compute.measuring.flow import flow_from_times, times_from_mean_velocity
from compute.results import checks
from compute.results.entry_error_kinds import candidate_errors
from compute.results.entry_errors import CandidateError, Case, Figure, setup_of, transit_time_of
from compute.results.uncertainty import DEFAULT_UNCERTAINTIES, InputUncertainty, temperature_uncertainty

# Relative frequency of each kind of error: default values.
WEIGHTS: Mapping[str, float] = {
    "nominal-diameter": 1.0,
    "other-size": 0.3,
    "outer-diameter": 0.2,
    "inches": 0.2,
    "other-schedule": 0.5,
    "wall": 0.5,
    "lining": 0.4,
    "lining-thickness": 0.3,
    "material": 0.2,
    "wave-mode": 0.05,
    "medium": 0.2,
    "composition": 0.4,
    "temperature": 0.4,
    "medium-sound-speed": 0.4,
    "traverses": 0.5,
    "wedge-delay": 0.1,
    "spacing": 0.2,
}
ALL_WELL = 1.0
OTHER_CAUSE_PRIOR = 0.1
OTHER_CAUSE_SPREAD = 0.3  # of the time in the medium
# Standard deviation of the logarithm of the correct wall over the one entered, for a wrong schedule; a default value.
SCHEDULE_REACH = math.log(2.0)
# Likelihood against any other medium; default values.
COMMON_MEDIA = {"water": 20.0, "seawater": 3.0}
# An entry error changes a value by about five times its default uncertainty; a default value.
ENTRY_ERROR_REACH = 5.0
# Where no default uncertainty is listed [K, m, relative]; default values.
TEMPERATURE_REACH = {"measured": 15.0, "estimated": 25.0, "": 20.0}
SPACING_REACH = 0.010
SOUND_SPEED_REACH = 0.05
# Standard uncertainty of an entered sound speed of a medium, relative; a default value.
STATED_SOUND_SPEED_UNCERTAINTY = 0.002
# A value with an entered uncertainty was checked: other errors of it are less frequent by this factor. A default value.
CHECKED_WEIGHT = 0.2
MIN_PROBABILITY = 0.001
# A change of the flow below this is reported as none.
NO_EFFECT = 0.0005
SAME_VALUE_TOLERANCE = 0.02
TRANSIT_TIME = "readings.transit_time"
DIAGNOSED_INPUTS = (
    "pipe.outer_diameter",
    "pipe.wall_thickness",
    "pipe.lining.thickness",
    "transducers.wedge_angle",
    "transducers.wedge_sound_speed",
    "transducers.wedge_delay",
    "medium.temperature",
    "medium.sound_speed",
    TRANSIT_TIME,
)


@dataclass(frozen=True, slots=True)
class PossibleCause:
    """A candidate error with its probability [-], and the change of the flow [-] at the same times if it is corrected.

    `effect_on_flow` is relative: 0.05 where the corrected flow is 5 % above the flow as entered; None where the entries
    give no flow.
    """

    candidate: CandidateError
    probability: float
    effect_on_flow: float | None
    message: Message


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """Whether a measured sound speed [m/s] is consistent; if not, the possible causes, the most probable first.

    `other_cause_probability` completes those of all possible causes, shown or not, to 1.
    `measured_sound_speed` is None where the time is too short.
    """

    consistent: bool
    measured_sound_speed: float | None
    expected_sound_speed: float
    relative_uncertainty: float
    possible_causes: tuple[PossibleCause, ...]
    other_cause_probability: float
    findings: tuple[Finding, ...]


def case_of_sound_speed(case: Case, measured_sound_speed: float) -> Case:
    """Return the case with the transit time of a sound speed that the meter showed with these entries.

    Parameters
    ----------
    case : Case  its transit time is not used
    measured_sound_speed : float [m/s]

    Returns
    -------
    case : Case

    Raises
    ------
    OutOfRange  a sound speed that is not possible with the beam

    Source
    ------
    transit time : the inverse of `compute.measuring.flow.sound_speed_from_time`: the time in the medium at that speed.
    """
    setup = setup_of(case)
    fastest = 1 / float(trace(setup).axial_slowness)
    if not 0 < measured_sound_speed < fastest:
        raise OutOfRange(
            field="measured_sound_speed",
            value=quantity(measured_sound_speed, "speed"),
            above=quantity(0.0, "speed"),
            below=quantity(fastest, "speed"),
        )
    told = replace(setup, medium=replace(setup.medium, sound_speed=measured_sound_speed))
    return replace(case, transit_time=float(trace(told).transit_time))


def diagnose(case: Case, stated: Mapping[str, InputUncertainty] | None = None) -> Diagnosis:
    """Compare a transit time with the entries, and rank the single wrong entries that may explain it.

    Parameters
    ----------
    case : Case
    stated : mapping of InputUncertainty, or None  by path of the input; default uncertainties for the others

    Returns
    -------
    diagnosis : Diagnosis

    Raises
    ------
    UnknownName  an input that no diagnosis uses

    Source
    ------
    method : Bayes' rule with normal errors; its weights and reaches are default values, see the module.
    limits : see `compute.results.checks.sound_speed_fits`.
    """
    stated = dict(stated or {})
    for name in stated:
        if name not in DIAGNOSED_INPUTS:
            raise UnknownName(
                field=f"inputs.{name[:60]}",
                variant="calculation-input",
                name=name[:60],
                known=list(DIAGNOSED_INPUTS),
            )
    path = trace(setup_of(case))
    spread = time_uncertainty(case, stated)
    # d ln(time)/d ln(sound speed) = tan^2(angle) - 1.
    by_speed = abs(1 - math.tan(float(path.angle_in_medium)) ** 2)
    relative = spread / float(path.time_in_medium) / max(by_speed, 1e-3)
    expected, measured = float(setup_of(case).medium.sound_speed), _measured(case)
    findings = [] if measured is None else checks.sound_speed_fits(measured, expected, relative, case.medium)
    if measured is not None and not findings:
        return Diagnosis(True, measured, expected, relative, (), 1.0, ())
    possible_causes, rest = _ranked(case, stated, spread)
    return Diagnosis(False, measured, expected, relative, possible_causes, rest, tuple(findings))


def time_uncertainty(case: Case, stated: Mapping[str, InputUncertainty]) -> float:
    """Return the standard uncertainty of the difference of the calculated and the measured transit time.

    Parameters
    ----------
    case : Case
    stated : mapping of InputUncertainty  by path of the input; default uncertainties for the others

    Returns
    -------
    uncertainty : float [s]

    Source
    ------
    JCGM 100:2008 (GUM) 5.1.2, sensitivities by the difference over one standard uncertainty.
    """
    base = transit_time_of(case)
    variance = (stated.get(TRANSIT_TIME) or DEFAULT_UNCERTAINTIES[TRANSIT_TIME]).of(case.transit_time) ** 2
    for path in DIAGNOSED_INPUTS[:-1]:
        for moved in _shifted_cases(case, path, stated):
            variance += (transit_time_of(moved) - base) ** 2
    return math.sqrt(variance + _medium_time_variance(case, stated.get("medium.sound_speed")))


def _shifted_cases(case: Case, path: str, stated: Mapping[str, InputUncertainty]) -> Iterator[Case]:
    """Return the case with one input changed by its standard uncertainty, where the input occurs and can change."""
    value = _value(case, path)
    uncertainty = stated.get(path) or _ordinary(case, path)
    if value is None or uncertainty is None:
        return
    for sign in (1, -1):
        try:
            moved = _with_change(case, path, value + sign * uncertainty.of(value))
            transit_time_of(moved)
        except ComputeError:
            continue
        yield moved
        return


def _medium_time_variance(case: Case, stated: InputUncertainty | None) -> float:
    """Return the variance from the sound speed of a library medium; an entered sound speed is a separate input."""
    resolved = resolve_medium(case.medium)
    if resolved.sound_speed_uncertainty is None:
        return 0.0
    speed = float(resolved.medium.sound_speed)
    relative = stated.of(speed) / speed if stated else resolved.sound_speed_uncertainty
    path = trace(setup_of(case))
    return float(relative * path.time_in_medium * (1 - math.tan(path.angle_in_medium) ** 2)) ** 2


def _ordinary(case: Case, path: str) -> InputUncertainty | None:
    if path == "medium.temperature":
        return temperature_uncertainty(case.medium.temperature_source)
    if path == "medium.sound_speed":
        return InputUncertainty(STATED_SOUND_SPEED_UNCERTAINTY, relative=True)
    return DEFAULT_UNCERTAINTIES.get(path)


def _value(case: Case, path: str) -> float | None:
    part, name = path.split(".", 1)
    if path == "pipe.lining.thickness":
        return case.pipe.lining.thickness if case.pipe.lining else None
    if path == "medium.temperature" and not case.medium.name:
        return None
    value = getattr(getattr(case, part), name)
    return None if value is None else float(value)


def _with_change(case: Case, path: str, value: float) -> Case:
    part, name = path.split(".", 1)
    if path == "pipe.lining.thickness" and case.pipe.lining is not None:
        return replace(case, pipe=replace(case.pipe, lining=replace(case.pipe.lining, thickness=value)))
    return replace(case, **{part: replace(getattr(case, part), **{name: value})})


def _measured(case: Case) -> float | None:
    try:
        return float(flow_from_times(setup_of(case), case.transit_time, 0.0).measured_sound_speed)
    except OutOfRange:
        return None


def _ranked(
    case: Case, stated: Mapping[str, InputUncertainty], spread: float
) -> tuple[tuple[PossibleCause, ...], float]:
    """Return possible causes, the most probable first, and the probability of another cause."""
    miss = case.transit_time - transit_time_of(case)
    # The uncertainty is that of the unchanged set-up: it grows with the time.
    spread *= max(1.0, case.transit_time / transit_time_of(case))
    else_spread = OTHER_CAUSE_SPREAD * float(trace(setup_of(case)).time_in_medium)
    rest = ALL_WELL * _density(miss, spread) + OTHER_CAUSE_PRIOR * _density(miss, else_spread)
    scored = [
        (_score(case, candidate, stated, spread, miss), candidate) for candidate in candidate_errors(case)
    ]
    total = rest + sum(score for score, _ in scored)
    if total == 0.0:
        return (), 1.0
    ranked = sorted(_merged(scored), key=lambda pair: -pair[0])
    flow = _flow(case, case)
    shown = tuple(
        _explained(case, candidate, score / total, flow)
        for score, candidate in ranked
        if score / total >= MIN_PROBABILITY
    )
    return shown, rest / total


def _score(
    case: Case, candidate: CandidateError, stated: Mapping[str, InputUncertainty], spread: float, miss: float
) -> float:
    weight = WEIGHTS[candidate.kind] / candidate.siblings * _likelihood(candidate)
    if candidate.move is not None:
        reach = _reach(case, candidate, stated)
        return weight * _density(miss, math.hypot(spread, reach * miss / candidate.move))
    if candidate.field in stated:
        weight *= CHECKED_WEIGHT
    # A mixture of unknown composition may have any time of its span: a rectangle's deviation is its width over sqrt(12).
    wide = math.hypot(spread, candidate.span / math.sqrt(12))
    return weight * _density(case.transit_time - transit_time_of(candidate.case), wide)


def _likelihood(candidate: CandidateError) -> float:
    """Return the likelihood of a candidate among its siblings: a schedule near the entered one, and water, are the most likely."""
    entered, implied_value = candidate.entered.value, candidate.implied_value.value
    if candidate.kind == "other-schedule" and isinstance(entered, float) and isinstance(implied_value, float):
        return math.exp(-0.5 * (math.log(implied_value / entered) / SCHEDULE_REACH) ** 2)
    return COMMON_MEDIA.get(str(implied_value), 1.0) if candidate.kind == "medium" else 1.0


def _reach(case: Case, candidate: CandidateError, stated: Mapping[str, InputUncertainty]) -> float:
    """Return the possible change of a value, one standard deviation: the entered uncertainty, or the reach of the candidate."""
    entered = candidate.entered.value if isinstance(candidate.entered.value, float) else 0.0
    if candidate.field in stated:
        return stated[candidate.field].of(entered)
    if candidate.reach is not None:
        return candidate.reach
    own = {
        "medium.temperature": TEMPERATURE_REACH[case.medium.temperature_source],
        "medium.sound_speed": SOUND_SPEED_REACH * entered,
        "spacing": SPACING_REACH,
    }
    return (
        own[candidate.field]
        if candidate.field in own
        else ENTRY_ERROR_REACH * DEFAULT_UNCERTAINTIES[candidate.field].of(entered)
    )


def _density(miss: float, spread: float) -> float:
    return math.exp(-0.5 * (miss / spread) ** 2) / spread


def _merged(scored: list[tuple[float, CandidateError]]) -> list[tuple[float, CandidateError]]:
    """Merge candidates with the same value of the same field: the most likely one, with the scores of all."""
    kept: list[tuple[float, CandidateError]] = []
    for score, candidate in sorted(scored, key=lambda pair: -pair[0]):
        twin = next((index for index, (_, other) in enumerate(kept) if _same(candidate, other)), None)
        if twin is None:
            kept.append((score, candidate))
        else:
            kept[twin] = (kept[twin][0] + score, kept[twin][1])
    return kept


def _same(one: CandidateError, other: CandidateError) -> bool:
    a, b = one.implied_value.value, other.implied_value.value
    if one.field != other.field or one.implied_value.material != other.implied_value.material:
        return False
    if isinstance(a, float) and isinstance(b, float):
        return abs(a - b) <= SAME_VALUE_TOLERANCE * abs(b)
    return a == b


def _explained(
    case: Case, candidate: CandidateError, probability: float, flow: float | None
) -> PossibleCause:
    corrected = _flow(case, candidate.case)
    effect = corrected / flow - 1 if flow and corrected is not None else None
    found = message(
        candidate.message,
        **{
            "entered": _parameter(candidate.entered),
            "implied": _parameter(candidate.implied_value),
            "probability": probability,
            "effect_on_flow": effect,
            "flow_change": _direction(effect),
            **candidate.facts,
        },
    )
    return PossibleCause(candidate, probability, effect, found)


def _direction(effect: float | None) -> dict[str, str] | None:
    if effect is None:
        return None
    if abs(effect) < NO_EFFECT:
        return term("unchanged")
    return term("higher" if effect > 0 else "lower")


def _parameter(figure: Figure) -> Any:
    if isinstance(figure.value, float):
        return quantity(figure.value, figure.kind)
    return figure.value


def _flow(entered: Case, supposed: Case) -> float | None:
    """Return the volume flow with the changed entries, at the entered times and a time difference of about 1 m/s.

    The profile factor depends little on the velocity, and so does the ratio of two of these flows.
    """
    try:
        _, difference = times_from_mean_velocity(setup_of(entered), 1.0)
        setup = setup_of(supposed)
        late = supposed.spacing_off * float(trace(setup).axial_slowness)
        return float(flow_from_times(setup, entered.transit_time - late, difference).volume_flow)
    except OutOfRange:
        return None
