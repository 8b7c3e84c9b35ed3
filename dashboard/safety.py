"""Who may do which drill, in words: what speaks against it, its cautions, and a young player's week.

What rules a drill or a check out, and which cautions it needs, is decided in warehouse/body.py.
"""

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

import polars as pl

from dashboard.queries import lesson, sessions
from dashboard.text import cautions, sentences
from dashboard.text.catalogue import Words, _
from warehouse import body
from warehouse.access import Reader
from warehouse.body import Body, Exercise, Objection
from warehouse.vocabulary import STAFF

AREAS = Words({
    "lower back": "lower back", "upper back": "upper back", "neck": "neck", "hip": "hip",
    "shoulder": "shoulder", "elbow": "elbow", "wrist": "wrist", "hand": "hand",
    "knee": "knee", "ankle": "ankle", "heel": "heel", "foot": "foot", "calf": "calf",
})  # fmt: skip
_TEXTS = {
    body.EYES_CLOSED: cautions.EYES_CLOSED, body.BALANCE: cautions.BALANCE, body.LOAD: cautions.BUILD_UP,
}  # fmt: skip


def body_of(reader: Reader, person: Mapping[str, Any], more: Iterable[Mapping[str, Any]] = ()) -> Body:
    """What is known today of a student's body.

    `person`: their row of `people.students`; `more`: lines of notes on them that are not loaded yet.
    """
    notes = sessions.discomfort_notes(reader, person["student"]).select("student", "at", "kind", "code")
    fresh = [
        {name: line.get(name) for name in notes.columns}
        | {"at": datetime.fromisoformat(line["at"]).astimezone(UTC).replace(tzinfo=None)}
        for line in more
    ]
    known = pl.concat([notes, pl.DataFrame(fresh, notes.schema)])
    areas = body.open_discomfort(known)["code"].str.replace_all("_", " ").unique(maintain_order=True)
    return Body(person["born"], reader.today, tuple(areas), reader.settings.eyes_closed_from_age)


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
    area = area_words(objection.area)
    return _("may load {area}").format(area=area)


def area_words(area: str | None) -> str:
    """An area of the body as it was noted."""
    return area or _("area not named")


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
