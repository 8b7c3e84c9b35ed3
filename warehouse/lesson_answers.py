"""What a coach answered when a calendar's entry was not clear: whom its words mean, or that it is no lesson.

An answer is a delivery like a calendar's own: an .ics file of one journal entry, named after the words it is
about, so that it holds for every entry of those words, a rebuild knows it, and a later answer replaces it.
"""

import hashlib
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from pathlib import Path

PREFIX = "lesson-answer-"
_STUDENT, _PERHAPS = "X-UNDERFOOT-STUDENT", "X-UNDERFOOT-PERHAPS"


@dataclass(frozen=True)
class Answer:
    """Who was meant, None where it is no lesson; `perhaps`: between whom it was asked."""

    student: str | None
    perhaps: frozenset[str]


def key_of(text: str, names: Iterable[str]) -> str:
    """A key for an entry's words: its text and who attends, apart from capitals and spaces."""
    said = "\n".join([text, *sorted(names)]).casefold()
    return hashlib.sha256(" ".join(said.split()).encode()).hexdigest()[:16]


def answer_file(
    key: str, text: str, perhaps: Collection[str], student: str | None, at: datetime
) -> tuple[str, bytes]:
    """The name and content of an answer's file; `text` is for whoever opens it."""
    from icalendar import Calendar, Journal  # noqa: PLC0415 - slow to import, and most starts need none

    calendar, entry, name = Calendar(), Journal(), f"{PREFIX}{key}.ics"
    calendar.add("VERSION", "2.0")
    calendar.add("PRODID", "-//Underfoot//EN")
    entry.add("UID", name)
    entry.add("DTSTAMP", at)
    entry.add("SUMMARY", text)
    entry.add(_STUDENT, student or "")
    entry.add(_PERHAPS, " ".join(sorted(perhaps)))
    calendar.add_component(entry)
    return name, calendar.to_ical()


def read_answers(files: Iterable[Path]) -> dict[str, Answer]:
    """Each answer among delivered calendars by its key."""
    return {
        path.stem.removeprefix(PREFIX): answer
        for path in files
        if path.name.startswith(PREFIX) and (answer := _answer(path)) is not None
    }


@lru_cache(maxsize=4096)  # what is filed does not change
def _answer(path: Path) -> Answer | None:
    from icalendar import Calendar  # noqa: PLC0415 - see above

    try:
        [entry] = Calendar.from_ical(path.read_text("utf-8")).walk("VJOURNAL")
        return Answer(str(entry[_STUDENT]) or None, frozenset(str(entry[_PERHAPS]).split()))
    except (OSError, ValueError, KeyError):  # somebody's own file of such a name
        return None
