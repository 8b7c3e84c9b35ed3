"""A coach's note: the form to fill in, and how what was tapped becomes lines of notes.jsonl in the inbox."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import polars as pl

from dashboard import agreed_aims, inbox, safety
from dashboard.pages.notes.lines import Line, lines
from dashboard.queries import lesson, people, sessions
from dashboard.text.catalogue import Words, _
from dashboard.text.cautions import DISCOMFORT, EYES_CLOSED, FALLS_WHY
from dashboard.text.labels import AREAS, FELT, GOALS, SENSES
from dashboard.text.numbers import count, listed, lowered, on
from warehouse.access import Reader
from warehouse.body import Body, Exercise, FallsAnswer, nudge_check
from warehouse.errors import CallError, UnderfootError
from warehouse.home import Home
from warehouse.observations import feelings, signs

DOSES = (5, 10, 15, 20, 30, 50)
FAULTS_IN_SIGHT = 6  # the others are behind one more tap
NOTE_KINDS = Words({
    "saw": "Saw", "drill": "Set a drill", "steadiness": "Nudge check", "plan": "Plan",
    "discomfort": "Discomfort", "discomfort_over": "Discomfort over", "falls": "Falls",
    "talked": "Talked about", "practice": "Home practice", "target": "Own target", "felt": "Felt",
    "goal": "Goal", "reference": "Reference swing", "reference_over": "No reference swing",
    "agreed_aim": "Agreed aim",
    "swing_kind": "What a swing was", "swing_drill": "Drill of a swing", "swing_event": "Moment of a swing",
    "swing_film": "Film of a swing",
})  # fmt: skip


def form_data(reader: Reader, person: Mapping[str, Any], outcome: dict[str, Any] | None) -> dict[str, Any]:
    """What the form in the browser is made of; `outcome`: what became of the note sent last."""
    student = person["student"]
    given = lesson.doses(reader, student).filter(kind="drill")
    found = sessions.open_discomfort(reader, student).drop_nulls("code").unique("code", maintain_order=True)
    body, closed = safety.body_of(reader, person), nudge_check("closed")
    against = [safety.objection_words(objection) for objection in body.objections(closed)]
    load = safety.swing_load(reader, person)
    may_overrule = reader.viewer.role == "head_coach"
    may_close = may_overrule or not against
    steady = replace(body, falls=FallsAnswer(body.today, fell=False))
    last = sessions.sessions(reader, student, every=True).filter("has_plate").head(1).to_dicts()
    recent = given["drill"].unique(maintain_order=True).to_list()
    drills = people.drills(reader).to_dicts()
    drills.sort(key=lambda row: recent.index(row["drill"]) if row["drill"] in recent else len(recent))
    return {
        "author": reader.viewer.person,
        "student": student,
        "faults": _faults(reader, student),
        "drills": [(row["drill"], _drill_label(body, row)) for row in drills],
        "doses": sorted({*DOSES, *_last_dose(given)}),
        "areas": list(AREAS.items()),
        "open": found.select("code", "area").rows(),
        "metrics": [(m.metric, m.label) for m in people.measures(reader).values() if m.better == "band"],
        "sided": [
            (m.metric, m.label) for m in people.measures(reader).values() if m.better in ("up", "down")
        ],
        "forecasts": agreed_aims.forecasts(reader, student),
        "signs": [(s.code, f"{_(s.name)} ({SENSES[s.sense]})") for s in signs()],
        "feelings": [(feeling.code, _(feeling.question)) for feeling in feelings()],
        "goals": list(GOALS.items()),
        "practice_felt": list(FELT.items()),
        "felt_in": [(row["session"], on(row["day"])) for row in last],
        "may_overrule": may_overrule,
        "may_close": may_close,
        "may_close_after_no": may_close or steady.may_do(closed),
        "falls_due": body.falls_due,
        "full_swings_left": load.left if load else None,
        "cautions": {
            "swings": " ".join(safety.swing_sentences(load)),
            "too_many": _(
                "That is more than the limits leave: {swings}. Fewer, or a slower pace, keeps to them."
            ).format(swings=count(load.left, "full_swing"))
            if load
            else "",
            "falls": safety.falls_sentence(body) or _(FALLS_WHY),
            "hurts": _(DISCOMFORT),
            "closed": _(EYES_CLOSED),
            "not_closed": _(
                "With eyes closed not for {name} now: {against}. Eyes open is the easier step."
            ).format(name=person["name"], against=listed(against))
            if against
            else "",
        },
        "defaults": _defaults(given, eyes="closed" if not against else "open"),
        "outcome": outcome,
    }


def _faults(reader: Reader, student: str) -> list[tuple[str, str, bool]]:
    """Code, name, and whether it is in sight: those this student shows most, then the order of the swing."""
    names = people.faults(reader)
    often = [code for code in people.faults_shown(reader, student) if code in names][:FAULTS_IN_SIGHT]
    rest = [code for code in names if code not in often]
    often += rest[: FAULTS_IN_SIGHT - len(often)]
    return [(code, names[code], True) for code in often] + [
        (code, name, False) for code, name in names.items() if code not in often
    ]


def _drill_label(body: Body, drill: Mapping[str, Any]) -> str:
    """A drill's name with what speaks against it for this student."""
    against = [safety.objection_words(objection) for objection in body.objections(Exercise.of(drill))]
    return f"{drill['name']} ({listed(against)})" if against else str(drill["name"])


def _last_dose(given: pl.DataFrame) -> list[int]:
    return [int(dose) for dose in given["dose"].drop_nulls().head(1)]


def _defaults(given: pl.DataFrame, *, eyes: str) -> dict[str, Any]:
    """What the last lesson set; the drill itself is chosen anew each time."""
    last = given.row(0, named=True) if len(given) else {}
    dose = _last_dose(given)
    return {
        "grade": "2", "dose": str(dose[0] if dose else 20), "unit": last.get("unit") or "reps",
        "pace": last.get("pace") or "slow", "place": last.get("place") or "lesson", "shared": True,
        "eyes": eyes, "announced": "0",
    }  # fmt: skip


def outcome(reader: Reader, student: str, form: Mapping[str, Any]) -> dict[str, Any]:
    """Keep what was sent, and what the form then says: kept is true only once the disk has it."""
    text, kept = "", False
    try:
        written = keep(reader, student, form)
    except UnderfootError as error:
        text = _("Not saved. {error}").format(error=error)
    except OSError as error:
        text = _("Not saved: the disk did not take it ({error}). Try again, or tell the head coach.").format(
            error=error.strerror
        )
    else:
        kept, at = True, datetime.now(reader.settings.zone)
        kinds = listed([lowered(NOTE_KINDS[line["kind"]]) for line in written])
        text = _("Saved at {time}: {kinds}. It shows on the pages once it is loaded.").format(
            time=f"{at:%H:%M}", kinds=kinds
        )
    return {"id": str(form.get("id")), "kept": kept, "text": text}


def keep(reader: Reader, student: str, form: Mapping[str, Any]) -> list[Line]:
    """Keep a note: flushed to disk in the inbox before this returns its lines.

    Raises
        AccessError: the student is not in the viewer's reach now, or they may not write at all.
        CallError: the form says nothing, a number in it is impossible, or age, falls or pain rule out what it
            sets.
        OSError: the disk did not take it.
    """
    now = inbox.in_reach(reader, student)
    written = lines(form, author=now.viewer.person, student=student, now=datetime.now(UTC))
    before = waiting(now.home, student)
    written = checked(now, student, written, before, overrule=form.get("overrule") is True)
    if all(line in before for line in written):
        return written  # sent twice by a device that did not hear that it was kept
    inbox.deliver_notes(now, written)
    return written


def checked(
    reader: Reader, student: str, written: list[Line], before: Iterable[Line], *, overrule: bool
) -> list[Line]:
    """The lines, where the body allows all that they set, or a head coach overrules and is named in them.

    What these lines say of discomfort and falls counts as well, as does that of lines `before` in the inbox.

    Raises
        CallError: something is ruled out; the sentence says why, and what would be safe.
    """
    drills = {row["drill"]: Exercise.of(row) for row in people.drills(reader).iter_rows(named=True)}
    body = safety.body_of(reader, people.student(reader, student), [*before, *written])
    overruled_by = reader.viewer.person if overrule and reader.viewer.role == "head_coach" else None
    found: list[Line] = []
    for line in written:
        exercise = _exercise(line, drills)
        objections = body.objections(exercise) if exercise else []
        if exercise and objections and overruled_by is None:
            safe = body.safe_choice(exercise, drills.values())
            raise CallError(
                _ruled_out(exercise, listed([safety.objection_words(one) for one in objections]), safe)
            )
        found.append(line | ({"overruled_by": overruled_by} if objections else {}))
    return found


def _exercise(line: Line, drills: Mapping[str, Exercise]) -> Exercise | None:
    if line["kind"] == "steadiness":
        return nudge_check(line["unit"].removeprefix("eyes "))
    return drills.get(line["code"]) if line["kind"] == "drill" else None


def _ruled_out(exercise: Exercise, against: str, safe: Exercise | None) -> str:
    name = _("The nudge check") if exercise.code.startswith("nudge_check") else exercise.name
    said = _("{exercise} is ruled out today: {against}.").format(exercise=name, against=against)
    return f"{said} {safety.choice_sentence(safe)} " + _(
        "A head coach may overrule this, and is named in the note."
    )


def waiting(home: Home, student: str) -> list[Line]:
    """Lines about a student that lie in the inbox and are not loaded yet, oldest first."""
    found: list[Line] = []
    for file in sorted(home.inbox.glob("dropped-*/notes.jsonl")):
        found += [line for line in _read(file) if line.get("student") == student]
    return found


def waiting_sentence(home: Home, student: str) -> str:
    """How many lines wait to be loaded; empty when none does."""
    found = len(waiting(home, student))
    text = _("In the inbox, to be loaded: {lines} of notes on this student.")
    return text.format(lines=count(found, "line")) if found else ""


def _read(file: Path) -> list[Line]:
    """Lines of a file; none when the loader has just taken it, or when it is not ours."""
    try:
        rows = [json.loads(text) for text in file.read_text(encoding="utf-8").splitlines() if text.strip()]
    except (OSError, ValueError):
        return []
    return [row for row in rows if isinstance(row, dict)]
