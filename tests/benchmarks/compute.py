"""Cost of calculation: a set-up through the API, ten thousand pipes at once, a million trials."""

from __future__ import annotations

from dataclasses import replace
from itertools import count
from typing import Any

import numpy as np

from compute.measuring.beam import Setup
from compute.measuring.flow import flow_from_times, times_from_mean_velocity
from compute.measuring.spacing import calculate_spacing
from compute.results.survey import calculate_setup
from compute.results.uncertainty import DEFAULT_UNCERTAINTIES, Measurement, flow_monte_carlo, flow_uncertainty
from compute.statistics.monte_carlo import BLOCK
from surveys.models import Role, Scope, User
from surveys.services.people.tokens import SIGN_IN_LIFE, token_make
from tests.benchmarks.bare import InProcess
from tests.benchmarks.measuring import Figures, cpu, many, ratio
from tests.compute.cases import PAIR, PIPE, STATED, WATER

BODY = {
    "pipe": {"outer_diameter": "219.1 mm", "wall_thickness": "8 mm", "material": "carbon-steel"},
    "medium": {"name": "water", "temperature": "58 degC", "pressure": "6 bar"},
    "transducers": {
        "frequency": "1 MHz", "wedge_sound_speed": "2720 m/s", "wedge_angle": "42 deg",
        "face_offset": "14 mm", "wedge_delay": "9.8 us",
    },
    "traverses": 2,
}  # fmt: skip


def figures(small: bool) -> Figures:
    yield from spacing(*(3, 1) if small else (100, 15))
    yield from bulk(*(100, 1) if small else (10_000, 25))
    yield from trials(*(2_000, 1) if small else (1_000_000, 7))


def spacing(requests: int, repeats: int) -> Figures:
    """Request set-ups of the whole service by token, each with another wall, so that a cache has no effect."""
    user = User.objects.create(username="benchmark", role=Role.OFFICE)
    _, token = token_make(user=user, name="benchmark", scope=Scope.COMPUTE, life=SIGN_IN_LIFE)
    service, floor = InProcess(service=True), InProcess(service=False)
    walls, floor_walls = count(), count(10_000_000)

    def ours() -> None:
        body = BODY | {"pipe": BODY["pipe"] | {"wall_thickness": f"{8 + next(walls) * 1e-7:.7f} mm"}}  # type: ignore[operator]
        service.post("/api/v1/compute/spacing/", body, HTTP_AUTHORIZATION=f"Token {token}")

    def empty() -> None:
        floor.post("/empty/", BODY)

    def calculated() -> None:
        empty()
        calculate_setup(
            replace(PIPE, wall_thickness=0.008 + next(floor_walls) * 1e-10), WATER, PAIR, traverses=2
        )

    yield ratio(
        "spacing through the API to an empty DRF view and the physics worked out",
        many(ours, requests), many(calculated, requests), repeats=repeats, clock=cpu, target=2.0, size=requests,
    )  # fmt: skip
    yield ratio(
        "the same to an empty DRF view alone",
        many(ours, requests), many(empty, requests), repeats=repeats, clock=cpu, size=requests,
    )  # fmt: skip


def pipes(number: int) -> Setup:
    """Return set-ups of many steel pipes in one: arrays of diameter, wall and sound speed of the medium."""
    outer, wall = np.linspace(0.1, 0.9, number), np.linspace(0.004, 0.012, number)
    pipe = replace(STATED.pipe, outer_diameter=outer, wall=replace(STATED.pipe.wall, thickness=wall))
    return replace(
        STATED, pipe=pipe, medium=replace(STATED.medium, sound_speed=np.linspace(1400, 1550, number))
    )


def bulk(number: int, repeats: int) -> Figures:
    """Set up many pipes in one call with checks, against the same ray in bare numpy."""
    setup = pipes(number)

    def ours() -> Any:
        return calculate_spacing(setup).spacing

    def floor() -> Any:
        return bare_spacing(setup)

    assert np.allclose(np.asarray(ours()), floor(), rtol=1e-12)
    yield ratio(
        "pipes set up in one call to the ray in bare numpy",
        many(ours, 10), many(floor, 10), repeats=repeats, clock=cpu, target=2.0, size=number,
    )  # fmt: skip


def bare_spacing(setup: Setup) -> Any:
    """Calculate a shear wave through a steel wall and two traverses in plain numpy: spacing, times, angles."""
    pipe, medium, pair = setup.pipe, setup.medium, setup.transducers
    slowness = np.sin(pair.wedge_angle) / pair.wedge_sound_speed
    bore = pipe.outer_diameter - 2 * pipe.wall.thickness
    in_wall = np.arcsin(slowness * pipe.wall.shear_sound_speed)  # type: ignore[operator]
    in_medium = np.arcsin(slowness * medium.sound_speed)
    advance = 2 * bore * np.tan(in_medium) + 2 * pipe.wall.thickness * np.tan(in_wall)
    time = 2 * bore / (medium.sound_speed * np.cos(in_medium))
    solid = 2 * pipe.wall.thickness / (pipe.wall.shear_sound_speed * np.cos(in_wall)) + 2 * pair.wedge_delay  # type: ignore[operator]
    _ = time + solid, 2 * time * slowness
    return advance - 2 * pair.face_offset


def trials(number: int, repeats: int) -> Figures:
    """Propagate the uncertainties of a survey by trials, against drawing as many numbers and calculating the flow of each."""
    transit, difference = times_from_mean_velocity(STATED, 1.2)
    measured = Measurement(STATED, float(transit), float(difference))
    uncertainties = {
        name: one for name, one in DEFAULT_UNCERTAINTIES.items() if not name.startswith("pipe.lining.")
    }
    linear = flow_uncertainty(measured, uncertainties)

    def ours() -> None:
        flow_monte_carlo(measured, uncertainties, linear, number, seed=1)

    def floor() -> None:
        generator, values = np.random.default_rng(1), np.empty(number)
        for start in range(0, number, BLOCK):
            size = min(BLOCK, number - start)
            drawn = [generator.standard_normal(size) for _ in uncertainties]
            times = float(transit) * (1 + 1e-5 * drawn[0]), float(difference) * (1 + 1e-3 * drawn[1])
            values[start : start + size] = flow_from_times(STATED, *times).volume_flow
        values.sort()

    yield ratio(
        f"Monte Carlo of {len(uncertainties)} doubts to the trials, the flow formula and a sort",
        ours, floor, repeats=repeats, clock=cpu, target=2.0, size=number,
    )  # fmt: skip
