"""Calendars of lessons (`*.ics`), delivered on their own; pages read a day of them as it is asked for."""

from pathlib import Path

from ingest.formats.explanation import Explanation, Knowing
from ingest.formats.format import Format
from warehouse import lessons


class Calendar(Format):
    """An iCalendar file."""

    title = "Lessons"
    names = ("*.ics",)
    endings = (".ics",)
    in_session = False
    loose = lessons.KIND

    def explain(self, path: Path, knowing: Knowing) -> Explanation:  # noqa: ARG002 - no device makes one
        """Count its entries."""
        found = Explanation(path.name, self.title)
        found.facts["entries"] = str(lessons.check(path.read_bytes()))
        return found
