"""Jobs, technicians and kits of the records as a planning problem, and an assignment back as records.

Minutes count from the midnight (office's time zone) before the first window opens. Missing data are assumed, with a finding: a
technician without working hours works Monday to Friday from 8 to 16 in the office's time zone; between locations without coordinates an
hour is allowed; a road is a third longer than the straight line, at 50 km/h on average. A kit is a meter with a transducer pair.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import cached_property
from math import ceil, floor
from uuid import UUID
from zoneinfo import ZoneInfo

from django.conf import settings

from compute.base.messages import Finding, finding
from compute.planning import problem as planning
from compute.planning.distance import distance_between
from compute.planning.problem import DAY, Assignment, Problem, Span
from surveys.calibration.due_list import due_rows, office_today
from surveys.dispatch.suitable_kits import fit_for_every_point
from surveys.models import Absence, Booking, Instrument, Job, Qualification, Site, TechnicianProfile, User
from surveys.models.instrument import Kind, State
from surveys.models.job import JobState

VALUE_OF_PRIORITY = {1: 200, 2: 120, 3: 70, 4: 40, 5: 20}
MOVE_COST = 5
USUAL_HOURS = ("08:00", "16:00")
METRES_A_MINUTE = 50_000 / 60
DETOUR = 4 / 3
UNKNOWN_TRAVEL_MINUTES = 60
MAX_NAMED = 10
Place = tuple[float, float] | None


@dataclass(frozen=True)
class Planner:
    """The records of a planning problem, and the conversion of its minutes and names."""

    jobs: Sequence[Job]
    technicians: Sequence[User]
    viewer: User
    now: datetime

    @cached_property
    def zone(self) -> ZoneInfo:
        """The office's time zone."""
        return ZoneInfo(settings.OFFICE_TIME_ZONE)

    @cached_property
    def origin(self) -> datetime:
        """Minute 0."""
        first = min(_window(job)[0] for job in self.jobs).astimezone(self.zone).date()
        return datetime.combine(first, time(0), self.zone)

    @cached_property
    def days(self) -> list[date]:
        """Every day of any window."""
        last = max(_window(job)[1] for job in self.jobs).astimezone(self.zone).date()
        first = self.origin.date()
        return [first + timedelta(days=n) for n in range((last - first).days + 1)]

    def minute(self, at: datetime, *, up: bool = False) -> int:
        """Return a time as a whole minute, rounded down or up."""
        minutes = (at - self.origin).total_seconds() / 60
        return ceil(minutes) if up else floor(minutes)

    def moment(self, minute: int) -> datetime:
        """Return a minute as a time."""
        return self.origin + timedelta(minutes=minute)

    @cached_property
    def kits(self) -> dict[str, tuple[Instrument, Instrument]]:
        """Kit name -> meter and pair, the pairs that suit most jobs first; no instrument is in two kits."""
        fleet = (
            Instrument.objects.visible_to(self.viewer)
            .filter(state=State.IN_SERVICE)
            .order_by("type_name", "serial", "id")
        )
        meters = [one for one in fleet if one.kind == Kind.METER]
        serves = Counter(pk for fit in self._pairs_fit.values() for pk in fit)
        pairs = [one for one in fleet if one.kind == Kind.TRANSDUCER_PAIR]
        pairs.sort(key=lambda one: -serves[one.pk])
        return {
            f"{meter.serial} + {pair.serial}": (meter, pair)
            for meter, pair in zip(meters, pairs, strict=False)
        }

    def problem(self, kept: Sequence[Assignment], fixed: Iterable[str]) -> Problem:
        """Return the planning problem; `kept` of an earlier plan, jobs `fixed` in it."""
        sites, travel = self._places()
        jobs = tuple(self._job(job, sites[job.site_id]) for job in self.jobs)
        people = tuple(self._technician(one, sites[one.pk]) for one in self.technicians)
        kits = tuple(self._kits())
        names = {one.id for one in jobs}, {one.id for one in people}, {one.id for one in kits}
        known = tuple(
            one for one in kept if one.job in names[0] and one.technician in names[1] and one.kit in names[2]
        )
        kept_jobs = {one.job for one in known}
        return Problem(jobs, people, kits, travel, known, frozenset(fixed) & kept_jobs, MOVE_COST)

    def _job(self, job: Job, site: int) -> planning.Job:
        start, end = _window(job)
        hours = job.expected_hours or (job.ends_at - job.starts_at).total_seconds() / 3600
        return planning.Job(
            str(job.pk),
            site,
            max(ceil(hours * 60), 1),
            Span(self.minute(start, up=True), max(self.minute(end), self.minute(start, up=True))),
            VALUE_OF_PRIORITY[job.priority],
            frozenset(job.required_qualifications),
            frozenset(self._fitting(job)),
        )

    @cached_property
    def _pairs_fit(self) -> dict[UUID, set[UUID]]:
        """Return job -> pairs suitable for all of its points, regardless of availability."""
        return {job.pk: fit_for_every_point(job, self.viewer, self.now) for job in self.jobs}

    def _fitting(self, job: Job) -> list[str]:
        return [name for name, (_, pair) in self.kits.items() if pair.pk in self._pairs_fit[job.pk]]

    def assumed(self) -> list[Finding]:
        """Return findings on data that were assumed because they are not recorded."""
        hourless = [one.username for one in self.technicians if not self._hours_stated(one)]
        nowhere = sorted({job.site.name for job in self.jobs if _at(job.site) is None})
        homeless = [one.username for one in self.technicians if self._home(one) is None]
        found = []
        if hourless:
            found.append(
                finding(
                    "working-hours-assumed",
                    "info",
                    names=hourless[:MAX_NAMED],
                    more=max(len(hourless) - MAX_NAMED, 0) or None,
                )
            )
        if nowhere or homeless:
            places = [*nowhere, *homeless]
            found.append(
                finding(
                    "way-assumed",
                    "info",
                    places=places[:MAX_NAMED],
                    more=max(len(places) - MAX_NAMED, 0) or None,
                    minutes=UNKNOWN_TRAVEL_MINUTES,
                )
            )
        return found

    def _hours_stated(self, one: User) -> bool:
        profile = self._profiles.get(one.pk)
        return bool(profile and profile.working_hours)

    def _home(self, one: User) -> Place:
        profile = self._profiles.get(one.pk)
        return _at(profile) if profile else None

    @cached_property
    def _profiles(self) -> dict[UUID, TechnicianProfile]:
        rows = TechnicianProfile.objects.filter(technician__in=[one.pk for one in self.technicians])
        return {row.technician_id: row for row in rows}

    @cached_property
    def _booked(self) -> dict[UUID, list[Span]]:
        """Return technician or instrument -> spans booked for other jobs."""
        end = self.moment(len(self.days) * DAY)
        rows = Booking.objects.filter(cancelled_at__isnull=True, starts_at__lt=end, ends_at__gt=self.origin)
        found = defaultdict(list)
        for row in rows.exclude(job__in=[job.pk for job in self.jobs]):
            held = row.technician_id or row.instrument_id
            if held is not None:
                found[held].append(Span(self.minute(row.starts_at), self.minute(row.ends_at, up=True)))
        return found

    def _technician(self, one: User, home: int) -> planning.Technician:
        away = Absence.objects.filter(technician=one, cancelled_at__isnull=True)
        absences = [Span(self.minute(row.starts_at), self.minute(row.ends_at, up=True)) for row in away]
        held = Qualification.objects.filter(technician=one, withdrawn_at__isnull=True)
        qualified = [
            planning.Qualified(
                row.slug,
                Span(
                    self._midnight(row.issued_on),
                    self._midnight(row.expires_on + timedelta(days=1)) if row.expires_on else 10**8,
                ),
            )
            for row in held
        ]
        return planning.Technician(
            str(one.pk),
            home,
            tuple(self._shifts(one)),
            tuple(qualified),
            tuple(absences + self._booked[one.pk]),
        )

    def _shifts(self, one: User) -> Iterable[Span]:
        profile = self._profiles.get(one.pk)
        hours: dict[str, Sequence[str]] = (
            profile.working_hours
            if profile and profile.working_hours
            else {str(day): USUAL_HOURS for day in range(5)}
        )
        zone = ZoneInfo(profile.time_zone) if profile and profile.working_hours else self.zone
        for day in self.days:
            if stated := hours.get(str(day.weekday())):
                start, end = (datetime.combine(day, time.fromisoformat(text), zone) for text in stated)
                if self.minute(end) > 0 and end > start:
                    yield Span(max(self.minute(start, up=True), 0), self.minute(end))

    def _kits(self) -> Iterable[planning.Kit]:
        instruments = [one for kit in self.kits.values() for one in kit]
        due = {row.instrument.pk: row.due_on for row in due_rows(instruments, office_today(self.now))}
        for name, (meter, pair) in self.kits.items():
            held = [*self._booked[meter.pk], *self._booked[pair.pk]]
            # A kit used on a day for another job is not available that day.
            free = [day for day in self.days if not any(span.meets(self._span_of(day)) for span in held)]
            ends = [due[one.pk] for one in (meter, pair)]
            if ends[0] is None:  # a meter without a certificate is not assigned
                continue
            last = min(end for end in ends if end is not None)
            yield planning.Kit(
                name,
                tuple(self._span_of(day) for day in free),
                max(self._midnight(last + timedelta(days=1)), 0),
            )

    def _span_of(self, day: date) -> Span:
        return Span(self._midnight(day), self._midnight(day + timedelta(days=1)))

    def _midnight(self, day: date) -> int:
        return self.minute(datetime.combine(day, time(0), self.zone))

    def _places(self) -> tuple[dict[UUID, int], list[list[int]]]:
        """Return site or technician -> index of its location, and the travel times between locations."""
        places: dict[UUID, Place] = {}
        for job in self.jobs:
            places[job.site_id] = _at(job.site)
        for one in self.technicians:
            places[one.pk] = self._home(one)
        stops = list(places.values())
        return {key: n for n, key in enumerate(places)}, [
            [0 if n == m else _way(a, b) for m, b in enumerate(stops)] for n, a in enumerate(stops)
        ]


def _window(job: Job) -> tuple[datetime, datetime]:
    return job.earliest_start or job.starts_at, job.latest_end or job.ends_at


def _at(place: Site | TechnicianProfile) -> Place:
    if place.latitude_deg is None or place.longitude_deg is None:
        return None
    return place.latitude_deg, place.longitude_deg


def _way(a: Place, b: Place) -> int:
    if a is None or b is None:
        return UNKNOWN_TRAVEL_MINUTES
    return ceil(distance_between(a, b) * DETOUR / METRES_A_MINUTE)


ON_SITE = frozenset({JobState.ON_SITE, JobState.IN_REVIEW, JobState.ISSUED})
