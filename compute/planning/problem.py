"""Planning problem: jobs, technicians, kits, the minutes between sites, and a plan.

Times are whole minutes since any midnight; spans are half open. A job is done without interruption by one technician with one
kit. A technician leaves home and returns home within the shift. A kit stays with one technician for a whole day.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from compute.base.messages import Message

DAY = 24 * 60


@dataclass(frozen=True, slots=True, order=True)
class Span:
    """Span from minute `start` to minute `end`, the end excluded."""

    start: int
    end: int

    def __post_init__(self) -> None:
        if self.end < self.start:
            raise ValueError(f"A span ends ({self.end}) before it starts ({self.start}).")

    def meets(self, other: Span) -> bool:
        """Whether both spans share a minute."""
        return self.start < other.end and other.start < self.end


@dataclass(frozen=True, slots=True)
class Job:
    """Visit to a site: `minutes` of work within `window`, worth `value`, by a technician with all `qualifications`, with one
    of `kits`.
    """

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
    """Qualification and the span of its validity."""

    slug: str
    span: Span


@dataclass(frozen=True, slots=True)
class Technician:
    """Technician who leaves from site `home`, works in `shifts` but not in `absences`; a shift belongs to the day of its
    start.
    """

    id: str
    home: int
    shifts: tuple[Span, ...]
    qualified: tuple[Qualified, ...] = ()
    absences: tuple[Span, ...] = ()


@dataclass(frozen=True, slots=True)
class Kit:
    """Set of instruments: when it is free, and the first minute after the validity of its calibration."""

    id: str
    free: tuple[Span, ...]
    valid_until: int


@dataclass(frozen=True, slots=True)
class Assignment:
    """Technician, kit and start of a job."""

    job: str
    technician: str
    kit: str
    start: int


@dataclass(frozen=True)
class Problem:
    """Complete planning problem. `travel[a][b]` is the minutes from site a to site b.

    `kept` is an earlier plan; a job that is not kept unchanged costs `move_cost`. Jobs named in `fixed` (on site, past) stay
    unchanged under all conditions.
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
        """Return job id -> its kept assignment."""
        return {one.job: one for one in self.kept}


@dataclass(frozen=True, slots=True)
class Score:
    """Score of a plan: `value` of the jobs done, kept jobs `moved`, minutes of `travel`."""

    value: int
    moved: int
    travel: int

    def objective(self, move_cost: int) -> int:
        """Return the value to maximise; of equal plans the one with less travel is chosen."""
        return self.value - move_cost * self.moved

    def __add__(self, other: Score) -> Score:
        return Score(self.value + other.value, self.moved + other.moved, self.travel + other.travel)

    def __sub__(self, other: Score) -> Score:
        return Score(self.value - other.value, self.moved - other.moved, self.travel - other.travel)


@dataclass(frozen=True, slots=True)
class Unscheduled:
    """Unscheduled job and the reason: a stable code and a sentence."""

    job: str
    reason: Message
