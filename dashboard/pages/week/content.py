"""What stands in the weekly review, whether on screen, in the terminal or on paper.

The signals themselves are rows of the season; this puts them in the order of a Monday morning: what to talk
about, what goes well, where measuring is thin.
"""

from dataclasses import dataclass
from datetime import date
from typing import Any

import polars as pl

from dashboard.queries import people
from dashboard.queries import review as found
from dashboard.text.cautions import DISCOMFORT
from dashboard.text.labels import FAMILIES
from dashboard.text.numbers import count, listed, number, on, share
from dashboard.text.sentences import FEW_SWINGS
from dashboard.text.signals import IN_FULL, Names, signal_sentence
from warehouse.access import Reader

DISCOMFORT_KIND = "discomfort"
TALK, WELL, THIN = "To talk about", "Going well", "Where measuring is thin"
# Kind → its word on screen, and the part of the review it stands in; in the order of the review.
KINDS = {
    DISCOMFORT_KIND: ("Hurting", TALK),
    "slipping": ("▽ Slipping", TALK),
    "new_fault": ("New fault", TALK),
    "outside_band": ("Outside the band", TALK),
    "eye_and_plate": ("Eye and plate disagree", TALK),
    "improving": ("▲ Improving", WELL),
    "unmeasured": ("Not measured lately", THIN),
    "refused": ("Refused delivery", THIN),
}
NOTHING = {
    TALK: "Nothing calls for a talk this week.",
    WELL: "No improvement is clear this week. That says how much has been measured, not how people work.",
    THIN: "Everyone enrolled was measured lately, and no delivery waits to be mended.",
}
CHANCE = "Up to 1 in 10 of them may be chance."


@dataclass(frozen=True)
class Entry:
    """One signal, ready to be read. `sentence` holds reason and doubt, `kindred` what it only counts."""

    signal: str
    kind: str
    word: str
    student: str | None
    name: str
    coach: str | None
    coach_name: str
    subject: str | None
    family: str | None
    clubs: str
    sentence: str
    doubt: str
    kindred: str
    ticked: bool
    talked: str  # who ticked it off and when, or ""


@dataclass(frozen=True)
class Review:
    """The newest week."""

    week: date
    as_of: date
    chance: str
    well: str
    thin: str
    entries: tuple[Entry, ...]

    def part(self, title: str) -> tuple[Entry, ...]:
        """The entries of one part, first things first."""
        return tuple(entry for entry in self.entries if KINDS[entry.kind][1] == title)


def review(reader: Reader) -> Review | None:
    """The newest week's review for this viewer; null before the first build."""
    week = found.week(reader)
    rows = found.signals(reader)
    if week is None and rows.is_empty():
        return None
    if week is None:
        week = {"week": rows["week"][0], "as_of": rows["as_of"][0], "listed": 0, "expected_by_chance": 0.0}
    names = Names(people.measures(reader), people.faults(reader))
    evidence = found.evidence(reader)
    order = list(KINDS)
    entries = [
        _entry(row, evidence[row["signal"]], names)
        for row in rows.iter_rows(named=True)
        if row["kind"] in KINDS
    ]
    entries.sort(key=lambda entry: order.index(entry.kind))  # stable: the season's rank holds within a kind
    return Review(
        week["week"], week["as_of"], _chance(week), _well(week),
        _thin(found.thin(reader, FEW_SWINGS)), tuple(_one_talk_each(entries)),
    )  # fmt: skip


def _one_talk_each(entries: list[Entry]) -> list[Entry]:
    """What there is to say of a student in one part stands together, where the first of it stands."""
    first: dict[tuple[str, str], int] = {}
    for place, entry in enumerate(entries):
        first.setdefault(_talk(entry), place)
    return sorted(entries, key=lambda entry: first[_talk(entry)])


def _talk(entry: Entry) -> tuple[str, str]:
    return KINDS[entry.kind][1], entry.student or entry.signal


def _entry(row: dict[str, Any], evidence: list[dict[str, Any]], names: Names) -> Entry:
    ticked = row["talked_day"] is not None and row["talked_day"] >= row["week"]
    labels = {code: measure.label for code, measure in names.measures.items()} | dict(names.faults)
    kindred = [labels.get(code, code.replace("_", " ")) for code in row["kindred"]]
    return Entry(
        signal=row["signal"],
        kind=row["kind"],
        word=KINDS[row["kind"]][0],
        student=row["student"],
        name=row["name"] or "A delivery",
        coach=row["coach"],
        coach_name=row["coach_name"] or "",
        subject=row["subject"],
        family=row["club_family"],
        clubs=FAMILIES.get(row["club_family"], "") if row["club_family"] else "",
        sentence=signal_sentence(row["kind"], evidence, names),
        doubt="" if row["p"] is None else f"{share(min(row['p'], 0.99))} sure",
        kindred=f"Further: {listed(kindred[IN_FULL:])}." if len(kindred) > IN_FULL else "",
        ticked=ticked,
        talked=talked_words(row["talked_by"], row["talked_day"]) if row["talked_day"] else "",
    )


def talked_words(who: str, day: date) -> str:
    """Who ticked a signal off, and when."""
    return f"Talked about: {who}, {on(day)}."


def _chance(week: dict[str, Any]) -> str:
    if not week["listed"]:
        return "No change over the season stood out this week."
    expected, changes = number(week["expected_by_chance"], "", 1), count(week["listed"], "change")
    return (
        f"Across the academy {changes} over the season stood out; about {expected} of them would by chance "
        f"alone. {CHANCE}"
    )


def _well(week: dict[str, Any]) -> str:
    """Where the improvements listed come from, so that nobody counts them as all there is."""
    judged = week.get("judged") or 0
    if not judged:
        return ""
    return (
        f"What stands out among {judged:,} combinations of student, measure and clubs. Who is not here may "
        "improve too, less clearly."
    )


def _thin(counts: dict[str, int]) -> str:
    if not counts["sessions"]:
        return "No session has been measured yet."
    sessions, students = count(counts["sessions"], "session"), count(counts["students"], "student")
    return (
        f"In the 28 days up to the newest session: {sessions} of {students}; {counts['few']} of the sessions "
        f"had fewer than {FEW_SWINGS} usable swings, too few to lean on."
    )


def as_rows(whole: Review) -> pl.DataFrame:
    """The review as rows to save: Part, Student, Coach, What, Clubs, Words, Doubt, Talked about."""
    return pl.DataFrame(
        [
            {
                "Part": KINDS[e.kind][1], "Student": e.name, "Coach": e.coach_name, "What": e.word,
                "Clubs": e.clubs, "Words": " ".join(filter(None, [e.sentence, e.kindred])),
                "Doubt": e.doubt, "Talked about": e.talked,
            }
            for e in whole.entries
        ]
    )  # fmt: skip


def lines(whole: Review) -> list[str]:
    """The review for a terminal, one line an entry."""
    said = [f"Week of {on(whole.week)}, as of {on(whole.as_of)}. {whole.chance}"]
    for title in (TALK, WELL, THIN):
        said += ["", title, *(s for s in (_lead(whole, title),) if s)]
        said += [f"  {_line(entry)}" for entry in whole.part(title)] or [f"  {NOTHING[title]}"]
    return said


def _lead(whole: Review, title: str) -> str:
    return {WELL: whole.well, THIN: whole.thin}.get(title, "")


def _line(entry: Entry) -> str:
    mark = "[x]" if entry.ticked else "[ ]"
    who = f"{entry.name} ({entry.coach_name})" if entry.coach_name else entry.name
    caution = DISCOMFORT if entry.kind == DISCOMFORT_KIND else ""
    parts = [entry.sentence, entry.kindred, caution, entry.talked]
    return f"{mark} {who} · {entry.word}: {' '.join(part for part in parts if part)}"
