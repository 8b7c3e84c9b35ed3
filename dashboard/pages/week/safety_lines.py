"""What is not safe beside pain: young players over their limit, drills given against their age."""

from dataclasses import dataclass
from datetime import timedelta

from dashboard import safety
from dashboard.kept import kept
from dashboard.queries import lesson, people, review
from dashboard.text.catalogue import _
from dashboard.text.numbers import count, on
from warehouse.access import Reader
from warehouse.body import Body, Exercise, from_age

LATELY = timedelta(days=28)


@dataclass(frozen=True)
class SafetyLine:
    """One student, and what is not safe."""

    student: str
    name: str
    sentence: str


@kept
def safety_lines(reader: Reader) -> list[SafetyLine]:
    """Growing players over their limit of full swings, then eyes-closed drills given below their age."""
    found, everyone = [], people.students(reader).rows(named=True)
    loads = safety.swing_loads(reader, everyone)
    for person in everyone:
        load = loads.get(person["student"])
        if load is not None and (load.over or load.jumped):
            said = _("{swings} in seven days (limit {limit}), up to {most} in one day (limit {a_day}): rest.")
            if not load.over:
                said = _("{swings} in seven days, far more than in the weeks before: build up slowly.")
            sentence = said.format(
                swings=count(load.week, "full_swing"), limit=load.a_week, most=load.most, a_day=load.a_day
            )
            found.append(SafetyLine(person["student"], person["name"], sentence))
    closed_from = reader.settings.eyes_closed_from_age
    since = lesson.as_of(reader) - LATELY
    for row in review.drills_given(reader, since).iter_rows(named=True):
        exercise = Exercise.of(row)
        body = Body(row["born"], row["day"], eyes_closed_from_age=closed_from)
        if exercise.eyes_closed and body.too_young_for(exercise):
            sentence = _("“{drill}” was given on {day}; it is for ages {age} and over.").format(
                drill=row["name"], day=on(row["day"]), age=from_age(exercise, closed_from)
            )
            found.append(SafetyLine(row["student"], row["student_name"], sentence))
    return found
