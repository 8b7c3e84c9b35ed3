"""Notes that set what age, falls or an open discomfort rule out: stopped line by line, with the reason.

The rule is warehouse/body.py's, asked for the day of the note. A head coach may overrule it by name, in the
note's `overruled_by`; the event log keeps that. What was stopped is in the ledger, so that a rebuild stops
the same notes, whatever the rule has become since.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import polars as pl

from ingest.formats.format import Lines
from ingest.job import Job
from ingest.refusals import refusal
from ingest.rows import Row, SessionRows
from warehouse import journal
from warehouse.body import (
    AGE,
    BODY_NOTES,
    FALLS_NOT_ASKED,
    FELL,
    Body,
    Exercise,
    Objection,
    nudge_check,
)
from warehouse.errors import Refusal

RULED_OUT = "ruled_out"
_SCHEMA = {
    "student": pl.String(), "at": pl.Datetime("us"), "day": pl.Date(), "kind": pl.String(),
    "code": pl.String(), "grade": pl.Int32(),
}  # fmt: skip
_KNOWN = (*_SCHEMA, "session", "loose")


class BodyCheck:
    """Stops such notes before they land; knows what is noted of a body so far, in the order of deliveries."""

    def __init__(self, job: Job) -> None:
        self.job = job
        self._noted: dict[str, list[Row]] | None = None

    def of_session(self, rows: SessionRows, content: str, *, again: bool = False) -> SessionRows:
        """A session without the notes that are stopped, which are refused; `again`: as when it first came."""
        session = rows.header.session
        kept, stopped = self._parted(rows.rows["academy.note"], content, session, again=again)
        return replace(rows, rows=rows.rows | {"academy.note": kept}, refused=[*rows.refused, *stopped])

    def of_file(self, lines: Lines, content: str) -> Lines:
        """A file of notes without those that are stopped."""
        kept, stopped = self._parted(list(lines.rows.values()), content, None)
        return Lines({row["note"]: row for row in kept}, [*lines.refused, *stopped])

    def _parted(
        self, notes: Sequence[Row], content: str, session: str | None, *, again: bool = False
    ) -> tuple[list[Row], list[Refusal]]:
        job = self.job
        if job.replayed is not None or again:
            entry = {} if again else job.replayed or {}
            then = job.ledger.ruled_out.get(content, []) if again else entry.get(RULED_OUT, [])
            there = {note["note"] for note in notes}  # a forgotten student's are not any more
            stopped = {row["note"]: Refusal(**row["refusal"]) for row in then if row["note"] in there}
        else:
            said = self._said(notes, session)
            found = ((note, self._refusal(note, said)) for note in notes)
            stopped = {note["note"]: refused for note, refused in found if refused is not None}
            job.ruled_out[content] = [
                {"note": note, "refusal": refused.facts()} for note, refused in stopped.items()
            ]
            self._remember(said, session)
        return [note for note in notes if note["note"] not in stopped], list(stopped.values())

    def _known(self) -> dict[str, list[Row]]:
        """Student → every line about their body that has landed, or will with this load."""
        if self._noted is None:
            rows = self.job.writer.sql(
                f'SELECT student, "at", day, kind, code, grade, session, loose FROM academy.note '
                f"WHERE kind IN {BODY_NOTES}"
            )
            self._noted = {}
            for row in rows.iter_rows(named=True):
                self._noted.setdefault(row["student"], []).append(row)
        return self._noted

    def _said(self, notes: Iterable[Row], session: str | None) -> dict[str, list[Row]]:
        """Student → every line about their body, these notes' included."""
        said: dict[str, list[Row]] = {}
        for note in notes:
            student = note["student"]
            if student not in said:
                before = self._known().get(student, [])
                said[student] = [row for row in before if session is None or not _of(row, session)]
            if note["kind"] in BODY_NOTES:
                said[student].append({name: note.get(name) for name in _KNOWN} | {"loose": session is None})
        return said

    def _remember(self, said: Mapping[str, list[Row]], session: str | None) -> None:
        known = self._known()
        for student, rows in known.items():
            known[student] = [row for row in rows if session is None or not _of(row, session)]
        known |= said

    def _refusal(self, note: Row, said: Mapping[str, list[Row]]) -> Refusal | None:
        """Why a note is stopped; None when it is not, or when a head coach overrules."""
        exercise = self._exercise(note)
        if exercise is None:
            return None
        academy, lines = self.job.academy, said[note["student"]]
        body = Body.by_notes(
            academy.people[note["student"]].born, note["day"],
            pl.DataFrame([{name: row[name] for name in _SCHEMA} for row in lines], schema=_SCHEMA),
            academy.settings.eyes_closed_from_age, until=note["at"],
        )  # fmt: skip
        objections = body.objections(exercise)
        if not objections:
            return None
        if note.get("overruled_by") is not None:
            self._record(note, exercise, objections)
            return None
        safe = body.safe_choice(exercise, academy.drills.values())
        return refusal(
            RULED_OUT, _what(note, exercise, objections[0]), _todo(objections[0], safe),
            session=note["session"], file=note.get("file"), line=note.get("line"),
            column="unit" if exercise.eyes_closed and note["kind"] == "steadiness" else "code",
        )  # fmt: skip

    def _exercise(self, note: Row) -> Exercise | None:
        """What a note sets, or reports of a coach; None for other notes, and for practice already done."""
        if note["kind"] == "steadiness":
            return nudge_check(note["unit"])
        if note["kind"] in ("drill", "plan"):
            return self.job.academy.drills.get(note["code"])
        return None

    def _record(self, note: Row, exercise: Exercise, objections: Iterable[Objection]) -> None:
        known = self.job.writer.sql("SELECT count(*) FROM academy.note WHERE note = ?", [note["note"]])
        if known.item() == 0:
            why = [objection.why for objection in objections]
            journal.record(
                self.job.home, "overruled", by=note["overruled_by"], student=note["student"], why=why,
                what=exercise.code, note=note["note"], author=note["author"],
            )  # fmt: skip


def _of(row: Row, session: str) -> bool:
    """Whether a line came in this session's folder, so that the session's next version replaces it."""
    return row["session"] == session and not row["loose"]


def _what(note: Row, exercise: Exercise, objection: Objection) -> str:
    named, student, day = f"{exercise.name} ({exercise.code})", note["student"], note["day"]
    if note["kind"] == "steadiness":
        named = f"{exercise.name} with eyes {note['unit']}"
    if objection.why == AGE:
        return (
            f"{named} is for ages {objection.from_age} and over, which {student} is not known to be on {day}"
        )
    if objection.why == FELL:
        return f"{named} is not for {student}, who has fallen in the year before {day}"
    if objection.why == FALLS_NOT_ASKED:
        return f"{named} is not for {student} until they have said whether they fell in the year before {day}"
    area = objection.area or "place that hurts"
    return f"{named} may load the {area} of {student}, whose discomfort is still open"


def _todo(objection: Objection, safe: Exercise | None) -> str:
    if safe is None:
        choice = "nothing in drills.csv is safe for them today, so set rest"
    elif safe.code == nudge_check("open").code:
        choice = "do the check with eyes open"
    else:
        choice = f"set {safe.name} ({safe.code}) instead"
    if objection.why == FALLS_NOT_ASKED:
        choice = f"ask them and add a falls line with grade 0 (no) or 1 (yes), {choice}"
    return f"{choice}, or add overruled_by with the code of the head coach who answers for it"


def kept_in_ledger(ruled_out: Mapping[str, Sequence[Mapping[str, Any]]], content: str) -> dict[str, Any]:
    """What of a delivery's ledger line says which notes were stopped; nothing when none was."""
    found = list(ruled_out.get(content, []))
    return {RULED_OUT: found} if found else {}
