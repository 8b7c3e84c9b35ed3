"""What the weekly review says, whether on screen, in the terminal or on paper.

The signals themselves are rows of the season; this puts them in the order of a Monday morning: what to talk
about, what goes well, where too little is measured.
"""

from collections.abc import Container, Iterable
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import polars as pl

from dashboard import document, inbox
from dashboard.kept import kept
from dashboard.pages.week.entries import KINDS, PARTS, SPARSE, TALK, WELL, Entry, entry_of, joined
from dashboard.queries import people
from dashboard.queries import review as queries
from dashboard.section import Section
from dashboard.student_season import StudentSeason, evidence
from dashboard.text.catalogue import Words, _, mark
from dashboard.text.cautions import BANDS_ARE_CUSTOM, MINORS
from dashboard.text.numbers import count, number, on
from dashboard.text.sentences import FEW_SWINGS
from dashboard.text.signals import Names
from warehouse.access import Reader, open_reader
from warehouse.errors import CallError, UnderfootError
from warehouse.home import Home
from warehouse.reach import viewers
from warehouse.store import open_snapshot
from warehouse.vocabulary import STAFF

ALL = "all"
FIRST, FIRST_TO_TALK = 6, 10  # entries of a part shown at once
NOTHING = Words({
    TALK: "Nothing needs a conversation this week.",
    WELL: "No improvement is clear this week. That reflects how much has been measured, not how people work.",
    SPARSE: "Everyone enrolled has been measured recently, and no refused delivery is waiting to be fixed.",
})  # fmt: skip
NO_REVIEW = mark(
    "No week has been reviewed yet. Drop deliveries on the Deliveries page; once sessions are loaded, run: "
    "underfoot build"
)


@dataclass(frozen=True)
class Part:
    """One part of the review, of the entries chosen; `nothing` is said where there is none."""

    code: str
    heading: str
    lead: str
    entries: tuple[Entry, ...]
    nothing: str

    @property
    def title(self) -> str:
        """Its name alone."""
        return PARTS[self.code]

    @property
    def first(self) -> tuple[Entry, ...]:
        """The entries shown until all are asked for; what hurts is always among them."""
        if self.code != TALK:
            return self.entries[:FIRST]
        hurting = [place for place, entry in enumerate(self.entries, 1) if entry.hurts]
        return self.entries[: max(FIRST_TO_TALK, *hurting, 0)]

    @property
    def more(self) -> str:
        """The words that ask for all, or "" where the first are all."""
        total, more = len(self.entries), len(self.entries) - len(self.first)
        return _("Show all {total} ({more} more)").format(total=total, more=more) if more else ""


@dataclass(frozen=True)
class Review:
    """The newest week."""

    week: date
    as_of: date
    chance: str
    leads: dict[str, str]  # part → the sentence at its head
    entries: tuple[Entry, ...]

    @property
    def about(self) -> str:
        """Which week it is, up to which session, and how much of it may be chance."""
        dates = _("Week of {week}, as of the newest session on {day}.")
        return joined(dates.format(week=on(self.week), day=on(self.as_of)), self.chance)

    @property
    def coaches(self) -> dict[str, str]:
        """Coaches with an entry, by name."""
        named = {e.coach: e.coach_name for e in self.entries if e.coach and e.coach_name}
        return dict(sorted(named.items(), key=lambda pair: pair[1]))

    def chosen(self, coach: str, ticked: Container[str] | None) -> tuple[Entry, ...]:
        """A coach's entries, or with `ALL` everyone's; given the signals `ticked`, only those still open."""
        of_coach = [e for e in self.entries if coach in (ALL, e.coach)]
        return tuple(e for e in of_coach if ticked is None or not (e.ticked or e.signal in ticked))

    def parts(self, entries: Iterable[Entry] | None = None) -> tuple[Part, ...]:
        """The parts in order, of these entries; without, of all."""
        shown = self.entries if entries is None else tuple(entries)
        return tuple(self._part(code, tuple(e for e in shown if e.part == code)) for code in PARTS)

    def _part(self, code: str, own: tuple[Entry, ...]) -> Part:
        n, students = len(own), len({e.student for e in own if e.student})
        heading = PARTS[code]
        if code == TALK and students not in (0, n):
            heading = _("{part} ({n}, of {students})").format(
                part=heading, n=n, students=count(students, "student")
            )
        elif n:
            heading = f"{heading} ({n})"
        everything = sum(e.part == code for e in self.entries)
        hidden = _("Nothing matches this choice; {n} in all.").format(n=everything)
        return Part(code, heading, self.leads[code], own, hidden if everything else NOTHING[code])

    def rows(self) -> pl.DataFrame:
        """The review as rows to save."""
        return pl.DataFrame(
            [
                {
                    _("Part"): PARTS[e.part], _("Student"): e.name, _("Coach"): e.coach_name,
                    _("What"): e.word, _("Clubs"): e.clubs, _("In words"): e.text,
                    _("How sure"): e.doubt, _("Talked about"): e.talked,
                }
                for e in self.entries
            ]
        )  # fmt: skip

    def lines(self) -> list[str]:
        """The review for a terminal, one line an entry."""
        lines = [self.about]
        for part in self.parts():
            lines += ["", part.title, *filter(None, [part.lead])]
            lines += [f"  {entry.line}" for entry in part.entries] or [f"  {part.nothing}"]
        return lines


def review(reader: Reader) -> Review | None:
    """The newest week's review for this viewer; null before the first build."""
    week, rows = queries.week(reader), queries.signals(reader)
    if week is None and rows.is_empty():
        return None
    if week is None:
        week = {"week": rows["week"][0], "as_of": rows["as_of"][0], "listed": 0, "expected_by_chance": 0.0}
    names = Names(people.measures(reader), people.faults(reader))
    found = queries.evidence(reader)
    entries = [
        entry_of(row, found[row["signal"]], names)
        for row in rows.iter_rows(named=True)
        if row["kind"] in KINDS
    ]
    order = list(KINDS)
    entries.sort(key=lambda entry: order.index(entry.kind))  # stable: the season's rank holds within a kind
    leads = {TALK: "", WELL: _well(week), SPARSE: _sparse(queries.recent(reader, FEW_SWINGS))}
    return Review(week["week"], week["as_of"], _chance(week), leads, tuple(_by_student(entries)))


def _by_student(entries: list[Entry]) -> list[Entry]:
    """Of each part, all that there is to say of a student together, at the place of the first of it."""
    keys = [(entry.part, entry.student or entry.signal) for entry in entries]
    return [entry for _key, entry in sorted(zip(keys, entries, strict=True), key=lambda e: keys.index(e[0]))]


def _chance(week: dict[str, Any]) -> str:
    if not week["listed"]:
        return _("No change over the season stood out this week.")
    return _(
        "Across the academy, {changes} over the season stood out; chance alone would produce about "
        "{expected}. Up to 1 in 10 of them may be chance."
    ).format(changes=count(week["listed"], "change"), expected=number(week["expected_by_chance"], "", 1))


def _well(week: dict[str, Any]) -> str:
    """What the improvements listed were found among, so that nobody takes them for all there are."""
    if not week.get("judged"):
        return ""
    return _(
        "These stand out among {combinations} of student, measure and clubs. Students not listed may be "
        "improving too, only less clearly."
    ).format(combinations=count(week["judged"], "combination"))


def _sparse(counts: dict[str, int]) -> str:
    if not counts["sessions"]:
        return _("No session has been measured yet.")
    return _(
        "In the 28 days up to the newest session: {sessions} of {students}; {few} of the sessions had fewer "
        "than {fewest} usable swings, too few to rely on."
    ).format(
        sessions=count(counts["sessions"], "session"), students=count(counts["students"], "student"),
        few=counts["few"], fewest=FEW_SWINGS,
    )  # fmt: skip


@kept
def picture(reader: Reader, entry: Entry, *, narrow: bool) -> Section:
    """The picture behind an entry.

    Raises
        UnderfootError: there are no measurements of it any more.
    """
    season, student = next(iter(people.seasons(reader)), None), str(entry.student)
    family = entry.family or next(iter(people.families(reader, season, student)), None)
    if season and family:
        chosen = StudentSeason(reader, people.student(reader, student), season, family)
        found = evidence(chosen, str(entry.subject), narrow=narrow)
        if found:
            return Section(found)
    nothing = _("There are no measurements of this any more; open {name}'s page.")
    raise UnderfootError(nothing.format(name=entry.name))


def tick_off(reader: Reader, student: str, signal: str, at: datetime | None = None) -> Path:
    """Write to the inbox who talked about which signal, and when, as a delivery of notes; returns its folder.

    It is flushed to disk when this returns, and so before anyone is shown that it is saved.

    Raises
        AccessError: the student is not in the viewer's reach now, or they may not write at all.
        OSError: the disk did not take it.
    """
    now = inbox.in_reach(reader, student)
    line = {
        "student": student,
        "at": (at or datetime.now(UTC)).isoformat(timespec="seconds"),
        "author": now.viewer.person,
        "kind": "talked",
        "code": signal,
        "shared": False,
    }
    return inbox.deliver_notes(now, [line])


def review_html(reader: Reader, whole: Review | None) -> str:
    """A review on paper, with boxes to tick, as a whole HTML document."""
    signed = _("{academy}, {day}, for {viewer}. For the staff only.").format(
        academy=reader.settings.name, day=on(reader.today), viewer=reader.viewer.display_name
    )
    notes = [_(BANDS_ARE_CUSTOM), _(MINORS), signed]
    return document.render("pages/week/paper.html", review=whole, no_review=_(NO_REVIEW), notes=notes)


def write_review(home: Home, person: str | None, target: Path | None = None) -> tuple[Path, Review | None]:
    """Write the review of one of the staff (else the first head coach); returns the file and the review.

    Raises
        CallError: the roster has no such person, they are not of the staff, or nothing is published.
    """
    with closing(open_snapshot(home)) as snapshot:
        head = next((v.person for v in viewers(snapshot) if v.role == "head_coach"), None)
        who = person or head
        if who is None:
            raise CallError(
                _("The roster has no head coach; say whose review it is: underfoot review --as PERSON")
            )
        reader = open_reader(home, who, snapshot=snapshot)
        if reader.viewer.role not in STAFF:
            raise CallError(_("{who} is not a coach; the review is for the staff.").format(who=who))
        whole = review(reader)
        text = review_html(reader, whole)
    stamp, own = f"-{whole.week}" if whole else "", "" if who == head else f"-{who}"
    file = target or home.pages / f"review{stamp}{own}.html"
    return document.save(text, file), whole
