"""A fleet in numbers, made in the database itself: rows copied from those of one survey that the services made.

The survey's reading blocks and file are not copied: nothing here reads logs.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db import connection, models

from surveys.models import (
    Calibration,
    Client,
    Instrument,
    Log,
    MeasuringPoint,
    Pipe,
    PipeData,
    Result,
    Site,
    Survey,
    SurveyData,
    TransducerData,
    User,
)
from tests.surveys.drills.seed import populated

SURVEYS_A_POINT = 50
POINTS_A_SITE = 10
START_MS = 1_760_000_000_000
# Half a year's surveys of a fleet, a quarter of its 100,000, were made since (surveys are a minute apart here).
CALIBRATED, DUE = "2025-11-30", "2026-11-30"
CLIENTS = 50
METERS, PAIRS, GAUGES, TECHNICIANS = 200, 200, 100, 100
(
    CLIENT,
    SITE,
    PIPE,
    PIPE_DATA,
    POINT,
    SURVEY,
    SURVEY_DATA,
    LOG,
    RESULT,
    METER,
    PAIR,
    GAUGE,
    PAIR_DATA,
    CERTIFICATE,
    TECHNICIAN,
) = range(1, 16)


def identity(kind: int, number: int) -> UUID:
    """Return the id of the nth row of a kind, as the database makes it: version 7, in order."""
    return UUID(f"{START_MS + number:012x}7{kind:03x}8{number:015x}")


@dataclass
class Fleet:
    """Records in the database, with more on request."""

    people: Any
    kit: Any
    survey: Survey
    surveys: int = 0
    equipped: bool = False

    def equip(self) -> None:
        """Create the instruments of a fleet with certificates, and its technicians; later surveys are spread over them."""
        kit = self.kit
        copy(User, self.survey.technician_id, TECHNICIAN, 0, TECHNICIANS - 1, username="text:n")
        for like, kind, count in (
            (kit.meter, METER, METERS),
            (kit.pair, PAIR, PAIRS),
            (kit.gauge, GAUGE, GAUGES),
        ):
            copy(Instrument, like.pk, kind, 0, count - 1, serial="text:n")
            certificate = like.calibrations.get().pk
            days = {"calibrated_on": f"'{CALIBRATED}'", "due_on": f"'{DUE}'", "instrument_id": f"id:{kind}:n"}
            copy(Calibration, certificate, CERTIFICATE + kind, 0, count - 1, **days)
        data_id = kit.pair.transducer_data.get().pk
        turned = "wedge_angle_rad + (n - 100) * 0.0005"
        copy(
            TransducerData,
            data_id,
            PAIR_DATA,
            0,
            PAIRS - 1,
            instrument_id=f"id:{PAIR}:n",
            wedge_angle_rad=turned,
        )
        self.equipped = True

    def grow(self, surveys: int, documents: bool, replaced: int = 0) -> None:
        """Create surveys up to a number, each with its data, log and result; `replaced` older results each.

        Without `documents` results have no findings and no budget, which are most of their bytes.
        """
        first, last = self.surveys, surveys - 1
        stated, log = self.survey.stated, Log.objects.get(survey=self.survey)
        self._places(-(-first // SURVEYS_A_POINT), last // SURVEYS_A_POINT)
        who = {"technician_id": f"id:{TECHNICIAN}:(n %% {TECHNICIANS})"} if self.equipped else {}
        place = f"id:{POINT}:(n / {SURVEYS_A_POINT})"
        whose = f"id:{CLIENT}:((n / {SURVEYS_A_POINT * POINTS_A_SITE}) %% {CLIENTS})"
        copy(
            Survey, self.survey.pk, SURVEY, first, last,
            measuring_point_id=place, client_id=whose, started_at="time:n", **who,
        )  # fmt: skip
        same = {"survey_id": f"id:{SURVEY}:n"}
        copy(SurveyData, stated.pk, SURVEY_DATA, first, last, **same, started_at="time:n")
        copy(Log, log.pk, LOG, first, last, **same)
        used = [f"id:{METER}:(n %% {METERS})", f"id:{PAIR}:(n %% {PAIRS})"] if self.equipped else []
        relate(SurveyData.instruments.through, "surveydata_id", stated.pk, SURVEY_DATA, first, last, used)
        for turn in range(replaced + 1):
            self._results(first, last, turn, replaced + 1, documents)
        self.surveys = surveys

    def _results(self, first: int, last: int, turn: int, each: int, documents: bool) -> None:
        """One result of each survey, of so many; the last turn's are current."""
        like, current = Result.objects.get(survey=self.survey), turn == each - 1
        copy(
            Result, like.pk, RESULT, first, last, stride=each, offset=turn,
            survey_id=f"id:{SURVEY}:n", log_id=f"id:{LOG}:n", survey_data_id=f"id:{SURVEY_DATA}:n",
            replaces_id=f"id:{RESULT}:n * {each} + {turn - 1}" if turn else "NULL",
            computed_at=f"time:n * {each} + {turn}", replaced_at="NULL" if current else f"time:n * {each} + {turn} + 1",
            volume_flow_m3_s="volume_flow_m3_s * (1 + (n %% 97) * 0.0005)",
            **({} if documents and current else {"findings": "'[]'", "budget": "'[]'"}),
        )  # fmt: skip

    def _places(self, first: int, last: int) -> None:
        if first > last:
            return
        point = self.survey.measuring_point
        pipe, data = point.pipe, PipeData.objects.get(pipe=point.pipe)
        sites = (-(-first // POINTS_A_SITE), last // POINTS_A_SITE)
        if sites[0] <= sites[1]:
            copy(Site, pipe.site_id, SITE, *sites, client_id=f"id:{CLIENT}:(n %% {CLIENTS})", name="text:n")
        copy(Pipe, pipe.pk, PIPE, first, last, site_id=f"id:{SITE}:(n / {POINTS_A_SITE})", name="text:n")
        copy(PipeData, data.pk, PIPE_DATA, first, last, pipe_id=f"id:{PIPE}:n")
        copy(MeasuringPoint, point.pk, POINT, first, last, pipe_id=f"id:{PIPE}:n")


def create_fleet() -> Fleet:
    """Create one survey by the services, with its users and kit, in an empty database."""
    scene, people = populated()
    survey = scene.survey()
    copy(Client, scene.pipe.site.client_id, CLIENT, 0, CLIENTS - 1, name="text:n")
    # The one whose people sign in has a fiftieth of the sites.
    User.objects.filter(username="client").update(client=identity(CLIENT, 0))
    return Fleet(people, scene.kit, Survey.objects.get(pk=survey.pk))


def copy(
    model: type[models.Model],
    like: Any,
    kind: int,
    first: int,
    last: int,
    *,
    stride: int = 1,
    offset: int = 0,
    **columns: str,
) -> None:
    """Copies of a row with the ids of their kind; of a column given an expression of `n`: `id:KIND:OF`, `time:OF`, `text:OF` or SQL."""
    fields = {field.column: field.column for field in model._meta.concrete_fields}
    own = f"n * {stride} + {offset}"
    fields |= {column: _sql(spec) for column, spec in columns.items()} | {"id": _identity(kind, own)}
    table = connection.ops.quote_name(model._meta.db_table)
    names = ", ".join(connection.ops.quote_name(name) for name in fields)
    key = model._meta.pk.get_db_prep_value(like, connection)  # type: ignore[union-attr]
    _run(
        f"INSERT INTO {table} ({names}) SELECT {', '.join(fields.values())} FROM {_numbers(first, last)}, {table} WHERE id = %s",
        [key],
    )


def relate(through: Any, column: str, like: Any, kind: int, first: int, last: int, others: list[str]) -> None:
    """Create the rows of a many-to-many relation for the copies of a row: those of the row, or to others given as ids by
    `n`.
    """
    other = next(
        field.column
        for field in through._meta.concrete_fields
        if field.is_relation and field.column != column
    )
    table, own = through._meta.db_table, _identity(kind, "n")
    key = UUID(str(like)).hex if connection.vendor == "sqlite" else like
    into = f"INSERT INTO {table} ({column}, {other}) SELECT {own}"
    for one in others:
        _run(f"{into}, {_sql(one)} FROM {_numbers(first, last)}", [])
    if not others:
        _run(f"{into}, {other} FROM {_numbers(first, last)}, {table} WHERE {column} = %s", [key])


def analyze_tables() -> None:
    """Update the statistics of PostgreSQL, as it does itself in time; SQLite is never asked to."""
    if connection.vendor == "postgresql":
        _run("ANALYZE", [])


def _sql(spec: str) -> str:
    what, _, rest = spec.partition(":")
    if what == "id":
        kind, _, number = rest.partition(":")
        return _identity(int(kind), number)
    if what == "time":
        seconds = f"1760000000 + 60 * ({rest})"
        if connection.vendor == "sqlite":
            return f"strftime('%%Y-%%m-%%d %%H:%%M:%%S', {seconds}, 'unixepoch')"
        return f"to_timestamp({seconds})"
    if what == "text":
        return f"CAST({rest} AS text)"
    return spec


def _identity(kind: int, number: str) -> str:
    if connection.vendor == "sqlite":
        return f"printf('%%012x7{kind:03x}8%%015x', {START_MS} + {number}, {number})"
    hexes = [
        f"lpad(to_hex(({START_MS} + {number})::bigint), 12, '0')",
        f"lpad(to_hex(({number})::bigint), 15, '0')",
    ]
    return f"({hexes[0]} || '7{kind:03x}8' || {hexes[1]})::uuid"


def _numbers(first: int, last: int) -> str:
    if connection.vendor == "sqlite":
        counted = f"WITH RECURSIVE c(n) AS (SELECT {first} UNION ALL SELECT n + 1 FROM c WHERE n < {last}) SELECT n FROM c"
        return f"({counted}) AS numbers"
    return f"generate_series({first}, {last}) AS numbers(n)"


def _run(sql: str, values: list[Any]) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql, values)
