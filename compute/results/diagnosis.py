"""Diagnosis: which single wrong entry would explain a transit time that does not fit.

Bayes' rule over the kinds of slip in `compute.results.entry_error_kinds`. A kind's weight is shared by the slips of that kind that can be.
With r the time measured less the time a set-up calls for and s its standard uncertainty, a slip from a list scores
weight x N(r; 0, s). A solved figure had to move by `move` and may by `reach` (one standard deviation); it spreads the
time by reach x |r/move|, so it scores weight x N(r; 0, S) with r as entered and S^2 = s^2 + (reach x r/move)^2: the
farther a figure may move, the less it says. Beside them stand "all is well" and "something else". Scores over their
sum are the probabilities.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from compute.base.errors import ComputeError, OutOfRange, UnknownName
from compute.base.figures import said
from compute.base.findings import Finding
from compute.base.marks import Told
from compute.library.pipe_sizes import PipeSize
from compute.measuring.beam import trace
from compute.measuring.entries import resolve_medium
from compute.measuring.flow import flow_from_times, times_from_mean_velocity
from compute.results import checks
from compute.results.entry_error_kinds import candidate_errors
from compute.results.entry_errors import CandidateError, Case, Figure, setup_of, transit_time_of
from compute.results.uncertainty import DEFAULT_UNCERTAINTIES, InputUncertainty, temperature_uncertainty

# How often each kind of slip happens against the others: default values.
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
# Standard deviation of the logarithm of the right wall over the one entered, for a schedule mixed up; a default value.
SCHEDULE_REACH = math.log(2.0)
# How much likelier than any other medium; default values.
COMMON_MEDIA = {"water": 20.0, "seawater": 3.0}
# A slip moves a figure by some five times its ordinary doubt; a default value.
ENTRY_ERROR_REACH = 5.0
# Where no ordinary doubt is listed [K, m, relative]; default values.
TEMPERATURE_REACH = {"measured": 15.0, "estimated": 25.0, "": 20.0}
SPACING_REACH = 0.010
SOUND_SPEED_REACH = 0.05
# Standard uncertainty of a medium's stated sound speed, relative; a default value.
STATED_SOUND_SPEED_UNCERTAINTY = 0.002
# A figure whose uncertainty is stated was looked at: other slips of it are that much rarer. A default value.
LOOKED_AT = 0.2
MIN_PROBABILITY = 0.001
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
class PossibleCause(Told):
    """A slip with its probability [-], and the change of the flow [-] if it is put right at the same times.

    `effect_on_flow` is relative: 0.05 where the flow put right is 5 % above the flow as entered; None where the entries
    give no flow at all.
    """

    candidate: CandidateError
    probability: float
    effect_on_flow: float | None
    said: str


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """Whether a measured sound speed [m/s] fits; if not, what would explain it, most plausible first.

    `other_cause_probability` is the probability left: with those of all possible causes, shown or not, it makes 1.
    `measured_sound_speed` is None where the time is too short for any.
    """

    consistent: bool
    measured_sound_speed: float | None
    expected_sound_speed: float
    relative_uncertainty: float
    possible_causes: tuple[PossibleCause, ...]
    other_cause_probability: float
    findings: tuple[Finding, ...]


def case_of_sound_speed(case: Case, measured_sound_speed: float) -> Case:
    """The case with the transit time behind a sound speed that the meter showed with these entries.

    Parameters
    ----------
    case : Case  its transit time is not used
    measured_sound_speed : float [m/s]

    Returns
    -------
    case : Case

    Raises
    ------
    OutOfRange  a sound speed the beam cannot have

    Source
    ------
    transit time : the inverse of `compute.measuring.flow.sound_speed_from_time`: the time in the medium at that speed.
    """
    setup = setup_of(case)
    fastest = 1 / float(trace(setup).axial_slowness)
    if not 0 < measured_sound_speed < fastest:
        raise OutOfRange(
            f"The measured sound speed is {said(measured_sound_speed, 'm/s', '.5g')}; it lies between 0 and the beam's axial speed of "
            f"{said(fastest, 'm/s', '.0f')}.",
            field="measured_sound_speed",
        )
    told = replace(setup, medium=replace(setup.medium, sound_speed=measured_sound_speed))
    return replace(case, transit_time=float(trace(told).transit_time))


def diagnose(case: Case, stated: Mapping[str, InputUncertainty] | None = None) -> Diagnosis:
    """Hold a transit time against the entries, and rank what single wrong entry would explain it.

    Parameters
    ----------
    case : Case
    stated : mapping of InputUncertainty, or None  by path of the input; ordinary doubts stand for what is not stated

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
                f"{name[:60]!r} is no input here; they are {', '.join(DIAGNOSED_INPUTS)}.",
                field=f"inputs.{name[:60]}",
            )
    path = trace(setup_of(case))
    spread = time_uncertainty(case, stated)
    # d ln(time)/d ln(sound speed) = tan^2(angle) - 1.
    by_speed = abs(1 - math.tan(float(path.angle_in_medium)) ** 2)
    relative = spread / float(path.time_in_medium) / max(by_speed, 1e-3)
    expected, measured = float(setup_of(case).medium.sound_speed), _measured(case)
    findings = [] if measured is None else checks.sound_speed_fits(measured, expected, relative)
    if measured is not None and not findings:
        return Diagnosis(True, measured, expected, relative, (), 1.0, ())
    possible_causes, rest = _ranked(case, stated, spread)
    return Diagnosis(False, measured, expected, relative, possible_causes, rest, tuple(findings))


def time_uncertainty(case: Case, stated: Mapping[str, InputUncertainty]) -> float:
    """Standard uncertainty of the transit time the entries call for, less that measured.

    Parameters
    ----------
    case : Case
    stated : mapping of InputUncertainty  by path of the input; ordinary doubts stand for what is not stated

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
    """The case with one input moved by its standard uncertainty, where the input occurs and can move."""
    value = _value(case, path)
    uncertainty = stated.get(path) or _ordinary(case, path)
    if value is None or uncertainty is None:
        return
    for sign in (1, -1):
        try:
            moved = _moved(case, path, value + sign * uncertainty.of(value))
            transit_time_of(moved)
        except ComputeError:
            continue
        yield moved
        return


def _medium_time_variance(case: Case, stated: InputUncertainty | None) -> float:
    """What the doubt of a library medium's sound speed adds; one stated by value is an input of its own."""
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


def _moved(case: Case, path: str, value: float) -> Case:
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
    """Possible causes, most probable first, and the probability that it is none of them."""
    miss = case.transit_time - transit_time_of(case)
    # The doubts are those of the set-up as it is: where its time is longer than entered, so are they.
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
    weight = WEIGHTS[candidate.kind] / candidate.siblings * _likeliness(candidate)
    if candidate.move is not None:
        reach = _reach(case, candidate, stated)
        return weight * _density(miss, math.hypot(spread, reach * miss / candidate.move))
    if candidate.field in stated:
        weight *= LOOKED_AT
    # A mixture of unknown share may take any time of its span: a rectangle's deviation is its width over sqrt(12).
    wide = math.hypot(spread, candidate.span / math.sqrt(12))
    return weight * _density(case.transit_time - transit_time_of(candidate.case), wide)


def _likeliness(candidate: CandidateError) -> float:
    """How likely a slip is among its siblings: a schedule near the one entered, and water, come up most."""
    entered, implied_value = candidate.entered.value, candidate.implied_value.value
    if candidate.kind == "other-schedule" and isinstance(entered, float) and isinstance(implied_value, float):
        return math.exp(-0.5 * (math.log(implied_value / entered) / SCHEDULE_REACH) ** 2)
    return COMMON_MEDIA.get(str(implied_value), 1.0) if candidate.kind == "medium" else 1.0


def _reach(case: Case, candidate: CandidateError, stated: Mapping[str, InputUncertainty]) -> float:
    """How far a figure may move, one standard deviation: the stated uncertainty, or a slip's reach."""
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
    """Slips that come to the same figure of the same field as one: the likeliest, with the scores of all."""
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
    put_right = _flow(case, candidate.case)
    effect = put_right / flow - 1 if flow and put_right is not None else None
    return PossibleCause(candidate, probability, effect, _detail(candidate, effect))


def _flow(entered: Case, supposed: Case) -> float | None:
    """Volume flow with the supposed entries, at the times entered and a time difference of about 1 m/s.

    The profile factor hardly depends on the velocity, so neither does the relation of two of these.
    """
    try:
        _, difference = times_from_mean_velocity(setup_of(entered), 1.0)
        setup = setup_of(supposed)
        late = supposed.spacing_off * float(trace(setup).axial_slowness)
        return float(flow_from_times(setup, entered.transit_time - late, difference).volume_flow)
    except OutOfRange:
        return None


def _detail(candidate: CandidateError, effect: float | None) -> str:
    if candidate.implied_value.kind == "length":
        note = (
            f"{candidate.note} It would be {_length(candidate.implied_value)}, {_entered(candidate.entered)}."
        )
    elif candidate.implied_value.kind == "temperature":
        note = f"{candidate.note} It would be {said(_number(candidate.implied_value), 'degC', '.1f')}."
    else:
        note = candidate.note
    if candidate.nearest_standard is not None and candidate.move is not None:
        note += f" The nearest standard size is {_standard(candidate.field, candidate.nearest_standard)}."
    return note if effect is None else f"{note} {_effect(effect)}"


def _effect(effect: float) -> str:
    if abs(effect) < 0.0005:
        return "Put right, the flow hardly changes."
    return f"Put right, the flow is {abs(effect):.1%} {'higher' if effect > 0 else 'lower'}."


def _standard(field: str, row: PipeSize) -> str:
    if field == "pipe.outer_diameter":
        return f"{row.size} ({row.standard}), {said(row.outer_diameter, 'mm', '.1f')}"
    return (
        f"{row.size} {row.schedule}".strip()
        + f" ({row.standard}), {said(row.wall_thickness or 0.0, 'mm', '.2f')}"
    )


def _length(figure: Figure) -> str:
    material = f" of {figure.material}" if figure.material else ""
    return f"{said(_number(figure), 'mm', '.2f')}{material}"


def _entered(figure: Figure) -> str:
    return "and none is entered" if figure.value is None else f"and {_length(figure)} is entered"


def _number(figure: Figure) -> float:
    return float(figure.value or 0.0)
