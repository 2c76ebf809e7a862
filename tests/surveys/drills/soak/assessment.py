"""Assessment at the end of a soak: every acknowledged write present once, no corrupt data, no failure without a fault."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterator
from typing import Any

from tests.surveys.drills.history import wrong_sentences
from tests.surveys.drills.soak.caller import Attempt, Caller, Notes
from tests.surveys.drills.soak.parts import EXCUSES, Fault, Parts

# For each kind of write the query of its rows; exactly these must have been acknowledged.
ROWS = {
    "set-up": "SELECT id::text FROM surveys_setup",
    "survey": "SELECT id::text FROM surveys_survey",
    "log": "SELECT survey_id::text FROM surveys_log",
    "correction": "SELECT id::text FROM surveys_pipedata WHERE change = 'correction'",
    "report": "SELECT id::text FROM surveys_report",
    "job": "SELECT id::text FROM surveys_job WHERE title LIKE 'Draft %'",
    "plan": "SELECT id::text FROM surveys_dispatchplan",
}
FIGURES = {
    "log": "SELECT survey_id::text, sha256 FROM surveys_log",
    "report": "SELECT id::text, sha256 FROM surveys_report",
}
# After a part is ready again, a request that had begun before can still fail.
GRACE_SECONDS = 3.0


def faults_found(parts: Parts, notes: Notes, reader: Caller) -> Iterator[str]:
    """Return a sentence for each fault; empty if there is none."""
    yield from notes.faults
    for kind, query in ROWS.items():
        promised, there = set(notes.promised[kind]), {row[0] for row in parts.rows(query)}
        yield from (f"{kind} {one} was acknowledged and is missing" for one in sorted(promised - there))
        yield from (f"{kind} {one} is there and was never acknowledged" for one in sorted(there - promised))
    for kind, query in FIGURES.items():
        kept = dict(parts.rows(query))
        for one, about in notes.promised[kind].items():
            if kept.get(one) != about["sha256"]:
                yield f"{kind} {one} was acknowledged with SHA-256 {about['sha256']} and has {kept.get(one)}"
    yield from _files(notes, reader)
    yield from _runs(parts, notes)
    yield from _plans(parts, notes)
    for sentence, exceptions in wrong_sentences(parts.asked).items():
        yield f"not so {exceptions} times: {sentence}"
    twice = parts.asked("SELECT count(*) - count(DISTINCT before_id) FROM surveys_notice")
    if twice:
        yield f"{twice} times a client was notified again of the same result"
    for fault in parts.watched.faults:
        if fault.ready is None:
            yield f"the service was not ready again after {fault.part} had been killed"
    yield from (
        f"failed without excuse: {one.kind}, {one.answer}" for one in unexplained_failures(parts, notes)
    )


def _files(notes: Notes, reader: Caller) -> Iterator[str]:
    """Check the files as they are downloaded."""
    addresses = {"log": "/api/v1/surveys/{}/log/file/", "report": "/api/v1/reports/{}/file.pdf"}
    for kind, address in addresses.items():
        for one, about in notes.promised[kind].items():
            status, content = reader.read("check", address.format(one))
            if status != 200 or hashlib.sha256(content).hexdigest() != about["sha256"]:
                yield f"{kind} {one} is given out as something else ({status})"


def _runs(parts: Parts, notes: Notes) -> Iterator[str]:
    """Check that each correction has its reason and a finished recomputation."""
    of = dict(
        parts.rows(
            "SELECT pipe_data_id::text, id::text FROM surveys_recomputation WHERE pipe_data_id IS NOT NULL"
        )
    )
    reasons = dict(parts.rows("SELECT id::text, reason FROM surveys_pipedata"))
    for one, about in notes.promised["correction"].items():
        if of.get(one) != about["recomputation"]:
            yield f"correction {one} has the recomputation {of.get(one)}, not {about['recomputation']}"
        if reasons.get(one) != about["reason"]:
            yield f"correction {one} was made because “{about['reason']}” and says “{reasons.get(one)}”"
    often = Counter(reasons[one] for one in notes.promised["correction"] if one in reasons)
    yield from (f"“{reason}” was recorded {count} times" for reason, count in often.items() if count > 1)


def _plans(parts: Parts, notes: Notes) -> Iterator[str]:
    """Check that each plan was made, and each accepted plan booked, once."""
    for plan, state, error in parts.rows("SELECT id::text, state, error FROM surveys_dispatchplan"):
        if state != "finished":
            yield f"plan {plan} is {state}: {error}"
    booked = dict(
        parts.rows(
            "SELECT job_id::text, count(*) FROM surveys_booking WHERE cancelled_at IS NULL GROUP BY job_id"
        )
    )
    accepted = [held for about in notes.promised["acceptance"].values() for held in about["held"].items()]
    for job, wanted in accepted:
        if booked.get(job, 0) != wanted:
            yield f"job {job} was planned with {wanted} bookings and has {booked.get(job, 0)}"
    strays = set(booked) - {job for job, _ in accepted}
    yield from (f"job {job} is booked though no plan of it was accepted" for job in sorted(strays))
    titles = Counter(
        title for (title,) in parts.rows("SELECT title FROM surveys_job WHERE title LIKE 'Draft %'")
    )
    yield from (f"job “{title}” was made {count} times" for title, count in titles.items() if count > 1)


def unexplained_failures(parts: Parts, notes: Notes) -> list[Attempt]:
    """Return the requests that failed although all parts they need were up."""
    away = [span_of(fault) for fault in parts.watched.faults if fault.part in EXCUSES]
    failed = [one for one in notes.attempts if one.status == 0 or one.status >= 500]
    return [one for one in failed if not any(_touches(one, span) for span in away)]


def span_of(fault: Fault) -> tuple[float, float]:
    """Return the span from the kill until the service was ready again, with a margin."""
    return fault.killed, (fault.ready or float("inf")) + GRACE_SECONDS


def _touches(one: Attempt, span: tuple[float, float]) -> bool:
    return one.began <= span[1] and one.began + one.seconds >= span[0]


def during_a_fault(one: Attempt, faults: list[Fault]) -> bool:
    """Whether a request was running while a part was down."""
    return any(_touches(one, span_of(fault)) for fault in faults)


def figures(notes: Notes, faults: list[Fault], seconds: float) -> dict[str, Any]:
    """Return the requests by kind, and their durations with and without a fault."""
    measured: dict[str, Any] = {}
    for kind in sorted({one.kind for one in notes.attempts} - {"check"}):
        ones = [one for one in notes.attempts if one.kind == kind]
        answered = [one for one in ones if 0 < one.status < 500]
        measured[kind] = {
            "requests": len(ones),
            "a_second": round(len(ones) / seconds, 2),
            "failed": len(ones) - len(answered),
            "calm_ms": _spread([one.seconds for one in answered if not during_a_fault(one, faults)]),
            "fault_ms": _spread([one.seconds for one in answered if during_a_fault(one, faults)]),
        }
    return measured


def _spread(seconds: list[float]) -> dict[str, float] | None:
    if not seconds:
        return None
    ordered = sorted(seconds)
    return {
        name: round(ordered[min(int(len(ordered) * share), len(ordered) - 1)] * 1000)
        for name, share in (("p50", 0.5), ("p99", 0.99))
    }
