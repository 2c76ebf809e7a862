"""What a planning problem is made of: jobs, technicians, kits, the minutes between sites, and a plan.

Times are whole minutes since any midnight; spans are half open. A job is done in one go by one technician with one kit. A technician
sets out from home and is home again within the shift. A kit stays with one technician for a whole day.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from compute.base.messages import Message

DAY = 24 * 60


@dataclass(frozen=True, slots=True, order=True)
class Span:
    """From minute `start` up to minute `end`, which is not in it."""

    start: int
    end: int

    def __post_init__(self) -> None:
        if self.end < self.start:
            raise ValueError(f"A span ends ({self.end}) before it starts ({self.start}).")

    def meets(self, other: Span) -> bool:
        """Whether both have a minute in common."""
        return self.start < other.end and other.start < self.end


@dataclass(frozen=True, slots=True)
class Job:
    """A visit to a site: `minutes` of work within `window`, worth `value`, by somebody with all `qualifications`, with one of `kits`."""

    id: str
    site: int
    minutes: int
    window: Span
    value: int
    qualifications: frozenset[str]
    kits: frozenset[str]

    def __post_init__(self) -> None:
        if self.minutes <= 0 or self.value <= 0:
            raise ValueError(f"Job {self.id} needs minutes and a value above 0.")


@dataclass(frozen=True, slots=True)
class Qualified:
    """A qualification and a span in which it holds."""

    slug: str
    span: Span


@dataclass(frozen=True, slots=True)
class Technician:
    """Somebody who sets out from site `home`, works in `shifts` but not in `absences`; a shift belongs to the day it starts on."""

    id: str
    home: int
    shifts: tuple[Span, ...]
    qualified: tuple[Qualified, ...] = ()
    absences: tuple[Span, ...] = ()


@dataclass(frozen=True, slots=True)
class Kit:
    """Instruments that go out together: when they are free, and the first minute their calibration no longer holds."""

    id: str
    free: tuple[Span, ...]
    valid_until: int


@dataclass(frozen=True, slots=True)
class Assignment:
    """Who does a job, with what, from when."""

    job: str
    technician: str
    kit: str
    start: int


@dataclass(frozen=True)
class Problem:
    """All there is to plan. `travel[a][b]` is the minutes from site a to site b.

    `kept` is an earlier plan; a job that does not stay just as it was there costs `move_cost`. Jobs named in `fixed` (on site, past)
    stay as kept whatever else holds.
    """

    jobs: tuple[Job, ...]
    technicians: tuple[Technician, ...]
    kits: tuple[Kit, ...]
    travel: Sequence[Sequence[int]]
    kept: tuple[Assignment, ...] = ()
    fixed: frozenset[str] = frozenset()
    move_cost: int = 1

    def __post_init__(self) -> None:
        for kind, ones in (("job", self.jobs), ("technician", self.technicians), ("kit", self.kits)):
            if len({one.id for one in ones}) < len(ones):
                raise ValueError(f"A {kind} is named twice.")
        known = (
            {one.id for one in self.jobs},
            {one.id for one in self.technicians},
            {one.id for one in self.kits},
        )
        for one in self.kept:
            if one.job not in known[0] or one.technician not in known[1] or one.kit not in known[2]:
                raise ValueError(f"The kept assignment of job {one.job} names what is not in the problem.")
        if not self.fixed <= self.kept_by_job.keys():
            raise ValueError("A fixed job has no kept assignment.")

    @cached_property
    def kept_by_job(self) -> dict[str, Assignment]:
        """Job id -> its kept assignment."""
        return {one.job: one for one in self.kept}


@dataclass(frozen=True, slots=True)
class Score:
    """What a plan is worth: `value` of the jobs done, kept jobs `moved`, minutes of `travel`."""

    value: int
    moved: int
    travel: int

    def objective(self, move_cost: int) -> int:
        """What is made as large as can be; among equals the plan with less travel is taken."""
        return self.value - move_cost * self.moved

    def __add__(self, other: Score) -> Score:
        return Score(self.value + other.value, self.moved + other.moved, self.travel + other.travel)

    def __sub__(self, other: Score) -> Score:
        return Score(self.value - other.value, self.moved - other.moved, self.travel - other.travel)


@dataclass(frozen=True, slots=True)
class Unscheduled:
    """A job that is not scheduled, with the reason."""

    job: str
    reason: Message
