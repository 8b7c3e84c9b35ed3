"""A week's home practice of a young player, held against the academy's limit."""

from datetime import timedelta

from dashboard.queries import lesson
from dashboard.text import sentences
from warehouse.access import Reader
from warehouse.vocabulary import STAFF


def week(reader: Reader, student: str) -> str:
    """The seven days up to now in one sentence, the same wherever it stands."""
    last = lesson.as_of(reader, student)
    first = last - timedelta(days=6)
    days = lesson.active_days(reader, student, first, last)
    return sentences.week_sentence(
        days["minutes"].sum() or 0.0,
        int(days["untimed"].sum()),
        first,
        last,
        reader.settings.young_practice_minutes_a_week,
        staff=reader.viewer.role in STAFF,
    )
