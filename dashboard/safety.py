"""Who may do which drill, in words: what speaks against it, its cautions, and a young player's week.

What rules a drill or a check out, and which cautions it needs, is decided in warehouse/body.py.
"""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import polars as pl

from dashboard.queries import lesson, people, sessions
from dashboard.text import cautions, sentences
from dashboard.text.catalogue import Words, _
from dashboard.text.labels import area_name
from dashboard.text.numbers import count, joined, number, on
from warehouse import body
from warehouse.access import Reader
from warehouse.body import Body, Exercise, Objection
from warehouse.swing_load import SwingLoad
from warehouse.vocabulary import STAFF

_TEXTS = {
    body.EYES_CLOSED: cautions.EYES_CLOSED, body.BALANCE: cautions.BALANCE, body.LOAD: cautions.BUILD_UP,
}  # fmt: skip
_FALLS = Words({
    body.FELL: "not within a year of a fall",
    body.FALLS_NOT_ASKED: "falls in the past year not asked about yet",
})  # fmt: skip


def discomfort_caution(reader: Reader, row: Mapping[str, Any]) -> str:
    """What to take care of with an open discomfort, a row of `queries.sessions.open_discomfort`."""
    lasting = body.has_lasted(row["since"], lesson.as_of(reader))
    return joined(_(cautions.LASTING) if lasting else "", _(cautions.DISCOMFORT))


def body_of(reader: Reader, person: Mapping[str, Any], more: Iterable[Mapping[str, Any]] = ()) -> Body:
    """What is known today of a student's body.

    `person`: their row of `people.students`; `more`: lines of notes on them that are not loaded yet.
    """
    student, closed_from = person["student"], reader.settings.eyes_closed_from_age
    notes = sessions.body_notes(reader, student).drop("area", "text")
    fresh = []
    for line in more:
        at = datetime.fromisoformat(line["at"])
        times = {
            "at": at.astimezone(UTC).replace(tzinfo=None),
            "day": at.astimezone(reader.settings.zone).date(),
        }
        fresh.append({name: line.get(name) for name in notes.columns} | times)
    known = pl.concat([notes, pl.DataFrame(fresh, notes.schema)])
    found = Body.by_notes(person["born"], reader.today, known, closed_from)
    now = lesson.as_of(reader)
    lasting = any(body.has_lasted(day, now) for day in body.open_discomfort(known)["day"])
    return replace(found, falls=found.falls or reader.falls_answer(student), lasting=lasting)


def caution_sentences(exercises: Iterable[Exercise]) -> tuple[str, ...]:
    """What to take care of with these drills and checks, each caution once."""
    needed = {caution for exercise in exercises for caution in body.cautions_of(exercise)}
    if body.EYES_CLOSED in needed:
        needed.discard(body.BALANCE)  # the first says all that the second does
    return tuple(_(text) for caution, text in _TEXTS.items() if caution in needed)


def objection_words(objection: Objection) -> str:
    """What speaks against an exercise, as a clause: for ages 14 and over; may load the knee."""
    if objection.why == body.AGE:
        return _("for ages {years} and over").format(years=objection.from_age)
    if objection.why in _FALLS:
        return _FALLS[objection.why]
    area = area_name(objection.area)
    return _("may load {area}").format(area=area)


def falls_sentence(body_today: Body) -> str:
    """What is known of falls and what follows from it; empty where it was not asked and need not be."""
    answer = body_today.falls
    if answer is None:
        return (
            _("Ask before you start: “{question}” Write the answer down with a note. {why}").format(
                question=_(cautions.FALLS_QUESTION), why=_(cautions.FALLS_WHY)
            )
            if body_today.falls_due
            else ""
        )
    said = (
        _("A fall in the year before {day}. {what}")
        if answer.fell
        else _("No fall in the year before {day}.")
    )
    again = _("Asked again from {day}.").format(day=on(answer.asked_again_on))
    return f"{said.format(day=on(answer.day), what=_(cautions.FELL))} {again}"


def safe_choice(reader: Reader, body_today: Body, exercise: Exercise) -> Exercise | None:
    """What may be done in place of an exercise, of the drills on the roster."""
    return body_today.safe_choice(exercise, map(Exercise.of, people.drills(reader).iter_rows(named=True)))


def choice_sentence(safe: Exercise | None) -> str:
    """A safe choice in a sentence; None: no drill is safe."""
    if safe is None:
        return _("No drill on the roster is safe today: set rest.")
    if safe.code == body.nudge_check("open").code:
        return _("A safe choice: the check with eyes open.")
    return _("A safe choice: {drill}.").format(drill=safe.name)


def out_of_use(reader: Reader, student: str) -> tuple[str, ...]:
    """What is kept of a student and not shown, as its consent has ended."""
    return tuple(_(cautions.OUT_OF_USE[purpose]) for purpose in reader.out_of_use(student))


def swing_load(reader: Reader, person: Mapping[str, Any]) -> SwingLoad | None:
    """Full swings of a player who is still growing, beside the academy's limits; None of anyone else."""
    return swing_loads(reader, [person]).get(person["student"])


def swing_loads(reader: Reader, everyone: Iterable[Mapping[str, Any]]) -> dict[str, SwingLoad]:
    """As `swing_load`, for each of these people who is still growing, by student."""
    growing = [one["student"] for one in everyone if Body(one["born"], reader.today).growing]
    if not growing:
        return {}
    limits = {
        "a_day": reader.settings.young_full_swings_a_day,
        "a_week": reader.settings.young_full_swings_a_week,
    }
    swings = lesson.full_swings(reader, growing)
    own = swings.partition_by("student", as_dict=True)
    return {
        student: SwingLoad.of(own.get((student,), swings.clear()), day, **limits)
        for student, day in lesson.as_of_each(reader, growing).items()
    }


def swing_sentences(load: SwingLoad | None) -> tuple[str, ...]:
    """What a growing player's full swings are against the limits, and whether the week's load has jumped."""
    if load is None:
        return ()
    if load.over:
        more = _("Over the limit: rest from full swings, and swing slowly or at half pace instead.")
    elif load.left == 0:
        more = _("The limit is reached: swing slowly or at half pace instead.")
    else:
        more = _("That day was {swings} under its limit.").format(swings=count(load.left, "full_swing"))
    said = _(
        "Full swings, measured and practised: {on_day} on {day} (limit {a_day}), {week} in the seven days to "
        "then (limit {a_week})."
    ).format(on_day=load.on_day, day=on(load.day), a_day=load.a_day, week=load.week, a_week=load.a_week)
    text = [f"{said} {more}"]
    if load.not_counted:
        doubt = _("Practice on {days} may have been at full pace and has no count, so it may be more.")
        text.append(doubt.format(days=count(load.not_counted, "day")))
    if load.jumped:
        jump = _(
            "The load has jumped: {week} full swings in seven days, about {usual} a week in the four weeks "
            "before. Build up over weeks, with days of rest. This says nothing of an injury; pain belongs to "
            "a physician."
        )
        text.append(jump.format(week=load.week, usual=number(load.usual)))
    return (*text, _(cautions.SWING_LIMITS))


def practice_week(reader: Reader, student: str) -> str:
    """A young player's home practice of the last seven days against the academy's limit, in one sentence."""
    last = lesson.as_of(reader, student)
    first = last - timedelta(days=6)
    days = lesson.active_days(reader, student, first, last)
    return sentences.week_sentence(
        float(days["minutes"].sum() or 0),
        int(days["untimed"].sum()),
        first,
        last,
        reader.settings.young_practice_minutes_a_week,
        staff=reader.viewer.role in STAFF,
    )
