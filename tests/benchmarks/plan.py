"""Cost and quality of a plan.

Made-up problems of 20 technicians, 40 kits and 5 days:

- `light`: 200 jobs, no ways between sites; a kit fits most jobs
- `overloaded`: 330 jobs on 120 sites in a square of 40 km, more work than there are hours
- `wide`: the same in a square of 80 km, where the bound, which knows of ways only the nearest, says less

The floor is the careful plan without a solver; the ceiling the bound that the same run proves.
"""

from __future__ import annotations

import math
import random
import time
from dataclasses import dataclass

from compute.planning.problem import DAY, Job, Kit, Problem, Qualified, Span, Technician
from compute.planning.search import find_plan
from tests.benchmarks.measuring import Figure, Figures

# Priority 1 to 5 in points; of our own choosing.
POINTS = {1: 100, 2: 70, 3: 50, 4: 35, 5: 25}
SLUGS = ("confined-space", "work-at-height", "hazardous-area")
SPEED_KM_A_MINUTE = 0.8


@dataclass(frozen=True)
class Size:
    """How large a problem is, and whether there are ways between its sites."""

    jobs: int
    technicians: int = 20
    kits: int = 40
    days: int = 5
    sites: int = 120
    km: float = 40.0


LIGHT, OVERLOADED, WIDE = Size(200, km=0.0), Size(330), Size(330, km=80.0)


def example_problem(size: Size, seed: int = 3) -> Problem:
    """A problem drawn from a fixed seed: visits of one to four hours within one to three days."""
    chance = random.Random(seed)
    spots = [(chance.uniform(0, size.km), chance.uniform(0, size.km)) for _ in range(size.sites)]
    travel = [[round(math.dist(a, b) / SPEED_KM_A_MINUTE) for b in spots] for a in spots]
    kits = tuple(_kit(at, size, chance) for at in range(size.kits))
    technicians = tuple(_technician(at, size, chance) for at in range(size.technicians))
    return Problem(tuple(_job(at, size, chance) for at in range(size.jobs)), technicians, kits, travel)


def _kit(at: int, size: Size, chance: random.Random) -> Kit:
    whole = Span(0, size.days * DAY)
    lent = chance.randrange(size.days) * DAY
    free = (whole,) if chance.random() < 0.8 else (Span(0, lent), Span(lent + DAY, whole.end))
    return Kit(f"kit-{at}", free, whole.end if chance.random() < 0.85 else chance.randint(1, size.days) * DAY)


def _technician(at: int, size: Size, chance: random.Random) -> Technician:
    shifts = tuple(Span(day * DAY + 480, day * DAY + 960) for day in range(size.days))
    whole = Span(0, size.days * DAY)
    qualified = tuple(Qualified(slug, whole) for slug in SLUGS if chance.random() < 0.6)
    away = chance.randrange(size.days) * DAY
    absences = (Span(away, away + DAY),) if chance.random() < 0.2 else ()
    return Technician(f"technician-{at}", chance.randrange(size.sites), shifts, qualified, absences)


def _job(at: int, size: Size, chance: random.Random) -> Job:
    day, days = chance.randrange(size.days), chance.randint(1, 3)
    window = Span(day * DAY + chance.choice((480, 480, 600)), min(day + days, size.days) * DAY)
    needs = frozenset(slug for slug in SLUGS if chance.random() < 0.15)
    family = chance.randrange(4)
    fitting = frozenset(f"kit-{kit}" for kit in range(size.kits) if kit % 4 == family or kit % 7 == family)
    minutes = chance.choice((60, 90, 120, 150, 180, 240))
    return Job(
        f"job-{at}",
        chance.randrange(size.sites),
        minutes,
        window,
        POINTS[chance.randint(1, 5)],
        needs,
        fitting,
    )


def of(size: Size, name: str, seconds: float) -> Figures:
    """One plan: the part of the bound reached or how long the proof took, and how it stands to the careful plan."""
    began = time.perf_counter()
    plan = find_plan(example_problem(size), seconds)
    taken = time.perf_counter() - began
    if size.km == 0:
        yield Figure(
            what=f"{name}: after which it was {plan.status}", value=taken, unit="s", target=3.0, size=size.jobs
        )  # fmt: skip
    reached, heuristic = plan.objective / plan.bound, plan.greedy_objective / plan.bound
    wanted = 0.95 if name == "overloaded" else None
    yield Figure(
        what=f"{name}: part of the bound after {seconds:g} s", value=reached, target=wanted, at_least=True, unit="",
        size=size.jobs, seconds=taken,
    )  # fmt: skip
    yield Figure(
        what=f"{name}: the same by the careful plan alone", value=heuristic, target=reached, unit="", size=size.jobs
    )  # fmt: skip


def figures(small: bool) -> Figures:
    if small:
        yield from of(Size(20, 3, 6, 2, 8, km=0.0), "light", 1.0)
        yield from of(Size(60, 4, 8, 2, 20), "overloaded", 1.0)
        return
    for name, size in {"light": LIGHT, "overloaded": OVERLOADED, "wide": WIDE}.items():
        yield from of(size, name, 30.0)
