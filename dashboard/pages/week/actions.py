"""The one thing to do about each of the people to see first."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from dashboard.drill_choice import known_drills, order
from dashboard.pages.week.entries import Entry
from dashboard.queries import lesson, people
from dashboard.safety import body_of
from dashboard.text.catalogue import Words, _
from warehouse.access import Reader
from warehouse.body import Exercise
from warehouse.vocabulary import KEEP, TRY

IN_PLACE, NEW_AIM = "idle_drill", "aim_met"
# With a drill that helps, with one to try, with none.
WITH_DRILL = Words({
    KEEP: "Set “{drill}”: it helps with this.", TRY: "Try “{drill}”: no drill is proven for this yet.",
    "": "No drill on the roster fits: look at it in the next lesson.",
})  # fmt: skip
INSTEAD = Words({
    KEEP: "Set “{drill}” in its place: it helps with this.", TRY: "Try “{drill}” in its place.",
    "": "Stop it, and name a new aim.",
})  # fmt: skip
WITHOUT_DRILL = Words({
    "eye_and_plate": "Look at a film of it together.",
    "agreed_missed": "Talk about what got in the way, and agree on what comes next.",
    "agreed_silent": "Ask about practice, and try another way to get there.",
    "agreed_due": "Measure it before then.",
    "agreed_reached": "Show it to the player, and agree on what comes next.",
})  # fmt: skip


@dataclass(frozen=True)
class Actions:
    """What may be proposed to the students in reach."""

    reader: Reader

    @cached_property
    def _people(self) -> dict[str, Mapping[str, Any]]:
        return {row["student"]: row for row in people.students(self.reader).iter_rows(named=True)}

    def propose(self, entry: Entry) -> str:
        """What to do next about an entry of a student."""
        if entry.kind in WITHOUT_DRILL:
            return WITHOUT_DRILL[entry.kind]
        drill = self._drill_for(entry)
        words = INSTEAD if entry.kind == IN_PLACE else WITH_DRILL
        said = words[(drill["advice"] or TRY) if drill else ""].format(drill=drill["name"] if drill else "")
        if entry.kind != NEW_AIM:
            return said
        aim = _("Make it the new aim.")
        return f"{aim} {said}" if drill else aim

    def _drill_for(self, entry: Entry) -> dict[str, Any] | None:
        """The best drill for what an entry is about that the student may do today."""
        person = self._people.get(str(entry.student))
        if person is None or entry.works_on is None:
            return None
        aims = lesson.kindred_aims(self.reader, entry.works_on)
        body = body_of(self.reader, person)
        fitting = (
            row for row in known_drills(self.reader, person, people.newest_season(self.reader), aims)
            if row["drill"] != entry.subject and row["advice"] in (KEEP, TRY, None)
            and body.may_do(Exercise.of(row))
        )  # fmt: skip
        return min(fitting, key=order, default=None)
