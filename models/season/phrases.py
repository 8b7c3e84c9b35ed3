"""Sentences of the weekly review: what a coach would say, with units, the doubt in words and in numbers."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

Row = Mapping[str, Any]
TOLD = 2
CLUBS = {
    "wedge": "with wedges", "iron": "with irons", "hybrid": "with hybrids", "wood": "with woods",
    "driver": "with the driver", "putter": "with the putter",
}  # fmt: skip


@dataclass(frozen=True)
class Words:
    """How metrics and faults are called. `metric`: code → label, unit, decimals; `fault`: code → name."""

    metric: Mapping[str, tuple[str, str, int]]
    fault: Mapping[str, str]

    def value(self, metric: str, value: float) -> str:
        """71 % of foot length; no minus before a zero."""
        _, unit, decimals = self.metric[metric]
        text = f"{round(value, decimals) + 0.0:.{decimals}f}".replace("-", "−")
        return f"{text} {unit}".strip()

    def moved(self, row: Row) -> str:
        """Lead share at impact with irons: 68 % → 71 %."""
        label = self.metric[row["metric"]][0]
        start, now = (self.value(row["metric"], row[name]) for name in ("start_value", "value_now"))
        return f"{label} {CLUBS[row['club_family']]}: {start} → {now}"


def spelled(day: date) -> str:
    """14 September."""
    return f"{day.day} {day:%B}"


def percent(p: float) -> str:
    """A chance as a whole percentage, never 100 %."""
    return f"{min(int(100 * p), 99)} %"


def _told(words: Words, rows: Sequence[Row]) -> str:
    """The first two in full, the others counted."""
    told = [words.moved(row) for row in rows[:TOLD]]
    return "; ".join([*told, f"{len(rows) - TOLD} more"] if len(rows) > TOLD else told)


def change(
    words: Words, first: Row, kindred: Sequence[Row], against: Sequence[Row], *, improving: bool
) -> str:
    """The student's surest change, what says the same beside it, and what goes the other way."""
    how = "for the better" if improving else "for the worse"
    sure = f"{percent(first['p'])} sure to be large enough to matter"
    parts = [f"{words.moved(first)}. A real change {how}, {sure}."]
    if kindred:
        parts.append(f"Beside it: {_told(words, kindred)}.")
    if against:
        parts.append(f"{'Slipping' if improving else 'Improving'} as well: {_told(words, against)}.")
    return " ".join(parts)


def new_fault(words: Words, rows: Sequence[Row]) -> str:
    """A fault that was seldom before, surest first."""
    told = "; ".join(
        f"{words.fault[row['fault']]} {CLUBS[row['club_family']]} in {row['flagged']} of "
        f"{row['usable']} swings now, {row['flagged_before']} of {row['usable_before']} before"
        for row in rows
    )
    return f"{told}. More often than before: {percent(rows[0]['p'])} sure."


def outside_band(words: Words, rows: Sequence[Row]) -> str:
    """What has stood outside its band in each of the last sessions and does not move."""
    told = "; ".join(
        f"{words.metric[row['metric']][0]} {CLUBS[row['club_family']]} at "
        f"{words.value(row['metric'], row['value_now'])}, {row['side']} the band"
        for row in rows
    )
    return f"Holding outside the band for {rows[0]['sessions']} sessions: {told}. Time for another way?"


def unmeasured(days: int | None, last: date | None) -> str:
    """Enrolled and not on the plates or on film for a while."""
    if days is None or last is None:
        return "Enrolled and not measured yet."
    return f"Not measured for {days} days, last on {spelled(last)}."


def discomfort(rows: Sequence[Row]) -> str:
    """Open discomfort: named, never explained."""
    places = "; ".join(f"{row['code']}, noted on {spelled(row['day'])}" for row in rows)
    return (
        f"Discomfort, still open: {places}. No drill that loads it until it is over; if it stays, a "
        "physician or physiotherapist."
    )


def eye_and_plate(words: Words, row: Row) -> str:
    """Seen and not measured, or measured and never said."""
    name, sessions = words.fault[row["fault"]], row["sessions"]
    swings = f"{row['flagged']} of {row['usable']} swings"
    if row["seen"]:
        seen = f"seen in {row['seen']} of {sessions} sessions"
        return f"{name}: {seen}, measured in {swings}. Look together once more."
    return f"{name}: measured in {swings} over {sessions} sessions, not among what was seen there. A choice?"


def refused(name: str, sentences: Sequence[str]) -> str:
    """A delivery that did not load, in the words of its refusal."""
    more = f" (and {len(sentences) - 1} more)" if len(sentences) > 1 else ""
    return f"Delivery {name} was refused: {sentences[0]}{more}"
