"""What the weekly review says, whether on screen, in the terminal or on paper.

The signals themselves are rows of the season; this puts them in the order of a Monday morning: what hurts,
whom to talk to first, everything else to talk about, what goes well, and where too little is measured.
"""

from collections import Counter
from collections.abc import Callable, Container, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import polars as pl

from dashboard import inbox
from dashboard.kept import kept
from dashboard.pages.quality import devices
from dashboard.pages.week.entries import (
    HURT,
    KINDS,
    PARTS,
    SPARSE,
    TALK,
    WATCH,
    WELL,
    Entry,
    entry_of,
)
from dashboard.queries import people
from dashboard.queries import review as queries
from dashboard.queries.season import outside
from dashboard.student_season import StudentSeason
from dashboard.text.catalogue import Words, _, mark
from dashboard.text.numbers import count, joined, listed, number, on
from dashboard.text.sentences import FEW_SWINGS
from dashboard.text.signals import Names
from warehouse.access import Reader
from warehouse.vocabulary import AGREED_SIGNALS

ALL = "all"
FIRST = 5  # people to see first; names of those not seen longest
FEW = 3  # entries of a part that need no asking for
NOTHING = Words({
    HURT: "", WATCH: "",
    TALK: "Nothing needs a conversation this week.",
    WELL: "No improvement is clear this week. That reflects how much has been measured, not how people work.",
    SPARSE: "Everyone enrolled has been measured recently, and no refused delivery is waiting to be fixed.",
})  # fmt: skip
NOTHING_FIRST = mark(
    "Nobody is outside their target without gaining, no aim that was met needs a new one, "
    "and nobody still has a drill to stop."
)
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
    nothing: str  # empty: the part is not shown where it has no entries

    @property
    def title(self) -> str:
        """Its name alone."""
        return PARTS[self.code]

    @property
    def more(self) -> str:
        """The words that ask for its entries, or "" where they are few and shown at once."""
        few = len(self.entries) <= FEW and self.code != WATCH
        return "" if few else _("Show all {total}").format(total=len(self.entries))


@dataclass(frozen=True)
class Review:
    """The newest week."""

    week: date
    as_of: date
    done: str  # what was measured and noted in it
    chance: str
    leads: dict[str, str]  # part → the sentence at its head
    entries: tuple[Entry, ...]
    devices: tuple[str, ...] = ()  # what each device that reads off needs

    @property
    def about(self) -> str:
        """Which week it is, up to which session, and what was done in it."""
        dates = _("Week of {week}, as of the newest session on {day}.")
        return joined(dates.format(week=on(self.week), day=on(self.as_of)), self.done)

    @property
    def longest(self) -> str:
        """Who has not been measured for longest; "" where everyone was lately."""
        waiting = sorted((e.day, e.name) for e in self.entries if e.kind == "unmeasured" and e.day)
        names = [_("{name} (since {day})").format(name=name, day=on(day)) for day, name in waiting[:FIRST]]
        return _("Not measured for longest: {names}.").format(names=listed(names)) if names else ""

    @property
    def cautions(self) -> tuple[str, ...]:
        """The cautions of its entries, each once."""
        return tuple(dict.fromkeys(entry.caution for entry in self.entries if entry.caution))

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
        found = (self._part(code, tuple(e for e in shown if e.part == code)) for code in PARTS)
        return tuple(part for part in found if part.entries or part.nothing)

    def _part(self, code: str, own: tuple[Entry, ...]) -> Part:
        n, students = len(own), len({e.student for e in own if e.student})
        heading = PARTS[code]
        if code == TALK and students not in (0, n):
            heading = _("{part} ({n} points on {students})").format(
                part=heading, n=n, students=count(students, "student")
            )
        elif n:
            heading = f"{heading} ({n})"
        everything = sum(e.part == code for e in self.entries)
        hidden = _("Nothing matches this choice; {n} in all.").format(n=everything)
        lead = joined(self.leads.get(code), self.longest if code == SPARSE else None)
        return Part(code, heading, lead, own, hidden if everything else NOTHING[code])

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
        lines = [self.about, *filter(None, [self.chance])]
        for part in self.parts():
            lines += ["", part.title, *filter(None, [part.lead])]
            lines += [f"  {entry.line}" for entry in part.entries] or [f"  {part.nothing}"]
        if self.devices:
            lines += ["", _("Data to fix"), *(f"  {device}" for device in self.devices)]
        return lines


@kept
def review(reader: Reader) -> Review | None:
    """The newest week's review for this viewer; null before the first build."""
    week, rows = queries.week(reader), queries.signals(reader)
    if week is None and rows.is_empty():
        return None
    if week is None:
        week = {"week": rows["week"][0], "as_of": rows["as_of"][0], "entered": 0}
    names = Names(people.measures(reader), people.faults(reader))
    found, on_target = queries.evidence(reader), _on_target(reader)
    apart = dict(people.students(reader).select("student", "name").iter_rows())
    called = pl.col("student").replace_strict(apart, default=pl.col("name"), return_dtype=pl.String)
    entries = [
        entry_of(row, found[row["signal"]], names, on_target=on_target(row, found[row["signal"]][0]))
        for row in rows.with_columns(name=called).iter_rows(named=True)
        if row["kind"] in KINDS
    ]
    order = list(KINDS)
    entries.sort(key=lambda entry: order.index(entry.kind))  # stable: the season's rank holds within a kind
    leads = {
        WATCH: _("Nothing to do yet: each is still inside its target."), WELL: _well(week),
        SPARSE: _sparse(queries.recent(reader, FEW_SWINGS)),
    }  # fmt: skip
    done = _done(queries.done(reader, week["week"]))
    return Review(
        week["week"],
        week["as_of"],
        done,
        _chance(week, entries),
        leads,
        tuple(_by_student(entries)),
        devices.to_fix(reader),
    )


def people_first(entries: Iterable[Entry]) -> tuple[Entry, ...]:
    """Of each of the first people to talk to, the first reason: off target, and not gaining."""
    reasons: dict[str, Entry] = {}
    for entry in entries:
        if entry.part == TALK and entry.student and not entry.ticked:
            reasons.setdefault(entry.student, entry)
    return tuple(reasons.values())[:FIRST]


def to_fix(entries: Iterable[Entry]) -> list[str]:
    """Deliveries that did not load, a sentence for each who can fix them."""
    refused = Counter(entry.coach_name for entry in entries if entry.kind == "refused")
    return [
        _("{owner}: {deliveries} couldn't load.").format(
            owner=owner or _("Coach not known"), deliveries=count(n, "delivery")
        )
        for owner, n in sorted(refused.items(), key=lambda pair: (not pair[0], pair[0]))
    ]  # fmt: skip


def _on_target(reader: Reader) -> Callable[[dict[str, Any], dict[str, Any]], bool]:
    """Whether the measure of a slipping signal is inside the band that holds for its student."""
    newest = people.newest_season(reader)
    everyone = {row["student"]: row for row in people.students(reader).iter_rows(named=True)}

    def inside(signal: dict[str, Any], first: dict[str, Any]) -> bool:
        if signal["kind"] != "slipping" or signal["student"] not in everyone:
            return False
        chosen = StudentSeason(reader, everyone[signal["student"]], newest, signal["club_family"])
        band = chosen.band(signal["subject"])
        return band != (None, None) and not outside([first["value_now"]], band)

    return inside


def _done(counts: dict[str, int]) -> str:
    return _("In it: {sessions} of {students}, {notes}.").format(
        sessions=count(counts["sessions"], "session"), students=count(counts["students"], "student"),
        notes=count(counts["notes"], "note"),
    )  # fmt: skip


def _by_student(entries: list[Entry]) -> list[Entry]:
    """Of each part, all that there is to say of a student together, at the place of the first of it."""
    keys = [(entry.part, entry.student or entry.signal) for entry in entries]
    place = {key: k for k, key in enumerate(dict.fromkeys(keys))}
    return [entry for _key, entry in sorted(zip(keys, entries, strict=True), key=lambda e: place[e[0]])]


def _chance(week: dict[str, Any], entries: Sequence[Entry]) -> str:
    """What was controlled: over the season's list together, and for each agreed aim by itself."""
    aims = _(
        "Agreed aims come first, each judged on its own: of a hundred where nothing changes, about five "
        "will seem to show a change."
    )
    return joined(_found(week), aims if any(e.kind in AGREED_SIGNALS for e in entries) else "")


def _found(week: dict[str, Any]) -> str:
    if not week["entered"]:
        return _("No change and no new fault has stood out so far this season.")
    expected = week["entered_by_chance"]
    return _(
        "Across the academy, {rows} stood out so far this season, {new} of them for the first time this "
        "week; expect about {expected} false alarms among them. The list aims for 1 wrong in 20 over the "
        "whole season, however often you look; in simulated seasons in which some students vary four times "
        "as much as others it was 1 in 9."
    ).format(
        rows=count(week["entered"], "finding"), new=week["entered_now"],
        expected=number(expected, "", 0 if expected >= 1 else 1),
    )  # fmt: skip


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
    said = _("In the 28 days up to the newest session: {sessions} of {students}.").format(
        sessions=count(counts["sessions"], "session"), students=count(counts["students"], "student")
    )
    if not counts["few"]:
        return said
    few = _("{sessions} had fewer than {fewest} usable swings, too few to rely on.").format(
        sessions=count(counts["few"], "session"), fewest=FEW_SWINGS
    )
    return f"{said} {few}"


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
