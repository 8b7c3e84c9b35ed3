"""What came onto the week's list since last Monday, what is on it still, and what is gone from it."""

from collections.abc import Sequence
from dataclasses import dataclass

from dashboard.pages.week.entries import HURT, KINDS, PART_OF, TALK, WATCH, Entry
from dashboard.queries import review
from dashboard.text.catalogue import Words, _
from dashboard.text.numbers import listed, lowered
from warehouse.access import Reader

NAMED = 3  # people named of each
COUNTED = (HURT, TALK, WATCH)
WEEKS = Words({
    "2": "second week", "3": "third week", "4": "fourth week", "5": "fifth week", "6": "sixth week",
    "7": "seventh week", "8": "eighth week or more",
})  # fmt: skip


@dataclass(frozen=True)
class Since:
    """Sentences, each "" where there is nothing of it."""

    new: str
    still: str
    gone: str

    @property
    def lines(self) -> tuple[str, ...]:
        """Those there are, in order."""
        return tuple(filter(None, (self.new, self.still, self.gone)))


def since_last_monday(reader: Reader, entries: Sequence[Entry]) -> Since:
    """What the list has that it did not have a week ago, what it had then too, and what it no longer has.

    Improvements, and what was refused or not measured, are not counted.
    """
    known = [entry for entry in entries if entry.part in COUNTED and entry.weeks is not None]
    new = [_named(e.name, e.kind) for e in known if e.weeks == 1]
    old = sorted((e for e in known if e.weeks and e.weeks > 1), key=lambda e: -(e.weeks or 0))
    still = [_named(e.name, e.kind, weeks_words(e.weeks)) for e in old]
    gone = [_named(name, kind) for kind, name in review.gone(reader) if PART_OF.get(kind) in COUNTED]
    return Since(
        _said(_("New ({n}): {names}."), new), _said(_("Still open ({n}): {names}."), still),
        _said(_("Gone ({n}): {names}."), gone),
    )  # fmt: skip


def weeks_words(weeks: int | None) -> str:
    """For how long something has been on the list; "" in its first week, or where that is not known."""
    return WEEKS.get(str(weeks), "")


def _named(name: str, kind: str, weeks: str = "") -> str:
    about = lowered(KINDS[kind].lstrip("▽▲ "))
    return f"{name} ({', '.join(filter(None, (about, weeks)))})"


def _said(sentence: str, names: Sequence[str]) -> str:
    if not names:
        return ""
    more = len(names) - NAMED
    shown = [*names[:NAMED], _("{n} more").format(n=more)] if more > 0 else list(names)
    return sentence.format(n=len(names), names=listed(shown))
