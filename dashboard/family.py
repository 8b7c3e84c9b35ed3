"""What a family sends from a progress page: practice, what hurts, and films that wait for the coach.

Each is checked when the page is made and again, by a reader opened anew, when it is sent; and the loader
checks what it loads by rights of its own.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from dashboard import inbox, safety
from dashboard.queries import by_eye, lesson, people
from dashboard.text.catalogue import _
from dashboard.text.labels import AREAS
from dashboard.text.numbers import on
from warehouse import family
from warehouse.access import Reader
from warehouse.body import Exercise
from warehouse.errors import CallError
from warehouse.family import SentFilm
from warehouse.vocabulary import FAMILY, PACES

DAYS_BACK = 14  # practice and films of longer ago are not sent from the page
MOST_REPS = 500
MOST_WORDS = 300  # letters of what hurts
FILMS_LISTED = 5


@dataclass(frozen=True)
class PracticeChoice:
    """What can be logged: the drills set for the student, newest first (code → name), and usual answers."""

    drills: dict[str, str]
    pace: str
    reps: int


def practice_choice(reader: Reader, person: Mapping[str, Any]) -> PracticeChoice | None:
    """The drills whose practice can be logged now; None where none is set, or something hurts."""
    student = person["student"]
    if reader.something_hurts(student):
        return None
    doses = lesson.doses(reader, student, shared_only=True).filter(kind="drill")
    body = safety.body_of(reader, person)
    rows = doses.unique("drill", keep="first", maintain_order=True).to_dicts()
    drills = {row["drill"]: row["name"] for row in rows if not body.objections(Exercise.of(row))}
    if not drills:
        return None
    row = next(row for row in rows if row["drill"] in drills)
    return PracticeChoice(drills, row["pace"] or PACES[0], min(max(lesson.reps(row), 1), MOST_REPS))


def log_practice(
    reader: Reader, student: str, drill: str, pace: str, reps: float, felt: int, day: date
) -> None:
    """Deliver a family's report of practice: an ordinary note of kind practice, under the sender's own name.

    Sent twice within a minute it is one note.

    Raises
        AccessError: the viewer may not log practice of this student, or not any more.
        CallError: the drill is not set for them, something hurts, a day's reports are full, or a number or a
            day can't be meant.
        OSError: the disk did not take it.
    """
    now = reader.to_write("practice", student)
    choice = practice_choice(now, people.student(now, student))
    if choice is None or drill not in choice.drills:
        raise CallError(_("This drill is not set now; ask your coach before you practise it."))
    if pace not in PACES or felt not in (1, 2, 3) or reps % 1 or not 1 <= reps <= MOST_REPS:
        raise CallError(_("Practice is logged with a pace and 1 to {most} times.").format(most=MOST_REPS))
    _check_day(now, day)
    _count(now, student)
    at = inbox.this_minute(now).replace(year=day.year, month=day.month, day=day.day)
    inbox.report(
        now,
        {
            "student": student, "at": at.isoformat(), "author": now.viewer.person, "kind": "practice",
            "code": drill, "pace": pace, "value": int(reps), "unit": "reps", "grade": felt, "place": "home",
            "shared": True,
        },
    )  # fmt: skip
    now.wrote("practice", student)


def report_discomfort(reader: Reader, student: str, area: str, words: str) -> None:
    """Deliver that something hurts: an ordinary note of kind discomfort, under the sender's own name.

    Raises
        AccessError: the viewer may not report it for this student, or not any more.
        CallError: the area is none of those offered, a day's reports are full, or the words are too many.
        OSError: the disk did not take it.
    """
    now = reader.to_write("discomfort", student)
    if area not in AREAS:
        raise CallError(_("Choose where it hurts."))
    if len(words) > MOST_WORDS:
        raise CallError(_("Say it in at most {most} characters.").format(most=MOST_WORDS))
    _count(now, student)
    inbox.report(
        now,
        {
            "student": student, "at": inbox.this_minute(now).isoformat(), "author": now.viewer.person,
            "kind": "discomfort", "code": area, "text": words.strip() or None, "shared": True,
        },
    )  # fmt: skip
    now.wrote("discomfort", student)


def _count(reader: Reader, student: str) -> None:
    if not family.count_report(reader.home, student):
        raise CallError(
            _("{most} reports were sent within a day, which is the limit.").format(
                most=family.MOST_REPORTS_A_DAY
            )
        )


def may_send_films(reader: Reader) -> bool:
    """Whether the viewer may send a film of anybody in reach today."""
    return reader.viewer.role in FAMILY and any(people.may_film(reader, one) for one in reader.students)


def send_film(reader: Reader, student: str, data: bytes, club: str, day: date) -> SentFilm:
    """Keep a family's film where it waits for a coach; nothing of it is loaded.

    Raises
        AccessError: the viewer may not send a film of this student, or not any more.
        CallError: no consent to film covers today and the day it was taken, it is no film or too large,
            enough of them wait already, or the club or the day can't be meant.
        OSError: the disk did not take it.
    """
    now = reader.to_write("film", student)
    _check_day(now, day)
    if not people.may_film(now, student) or not people.may_film(now, student, day):
        raise CallError(
            _("No consent to film covers {day} and today, so the film is not taken; ask the academy.").format(
                day=on(day)
            )
        )
    if club not in by_eye.known_clubs(now, student):
        raise CallError(_("The club is not one of those offered; choose it again."))
    if len(data) > family.MOST_FILM_BYTES:
        raise CallError(
            _("The film is larger than {most} MB; send one swing alone, or record it smaller.").format(
                most=family.MOST_FILM_BYTES >> 20
            )
        )
    if family.film_ending(data) is None:
        raise CallError(_("This is not a film that can be shown here; send an MP4, MOV or WebM file."))
    viewer = now.viewer
    kept = family.keep_film(
        now.home, student, data, sent_by=viewer.person, link=viewer.link, club=club, day=day.isoformat()
    )
    if kept is None:
        raise CallError(
            _("Enough films are waiting for the coach; send the next one when they have been looked at.")
        )
    now.wrote("film", student)
    return kept


def film_sentences(reader: Reader, student: str) -> tuple[str, ...]:
    """What became of the latest films that the family sent."""
    return tuple(_film_sentence(film) for film in family.films(reader.home, student)[:FILMS_LISTED])


def _film_sentence(film: SentFilm) -> str:
    words = {"day": on(date.fromisoformat(film.day)), "club": film.club}
    if film.state == family.WAITING:
        return _("Film of {day}, {club}: waiting for your coach.").format(**words)
    if film.state == family.ACCEPTED:
        return _("Film of {day}, {club}: your coach has looked at it.").format(**words)
    return _("Film of {day}, {club}: not taken. {reason}").format(**words, reason=film.reason)


def _check_day(reader: Reader, day: date) -> None:
    today = reader.settings.today
    if not today - timedelta(days=DAYS_BACK) <= day <= today:
        raise CallError(_("Choose a day of the last {days} days.").format(days=DAYS_BACK))


def sent_on(reader: Reader, film: SentFilm) -> date:
    """The academy's own day on which a film was sent."""
    return datetime.fromisoformat(film.sent_at).astimezone(reader.settings.zone).date()
