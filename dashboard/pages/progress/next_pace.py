"""Slow first, then faster: at which pace to practise next, how often, how it felt, and a list to tick off."""

from dataclasses import dataclass
from typing import Any

import polars as pl

from dashboard import document, safety
from dashboard.drill_choice import above
from dashboard.queries import lesson
from dashboard.student_season import StudentSeason
from dashboard.text.catalogue import _
from dashboard.text.labels import FELT
from dashboard.text.numbers import count, number, on
from dashboard.text.sentences import AT_PACE, dose
from warehouse.vocabulary import PACES

PRACTICES = 8  # lines of the list to tick off


@dataclass(frozen=True)
class NextPace:
    """The pace to practise at, what is said of it, and how many reps a practice has."""

    pace: str
    reps: int
    sentences: tuple[str, ...]

    @property
    def ticks(self) -> tuple[str, ...]:
        """The headings of the list to tick off."""
        reps = _("{n} times at {pace}").format(n=self.reps, pace=AT_PACE[self.pace])
        return (_("Day"), reps, *(_("felt {how}").format(how=how) for how in FELT.values()))


def next_pace(
    chosen: StudentSeason, fault: str, drill: dict[str, Any], doses: pl.DataFrame
) -> NextPace | None:
    """The next pace of the fault being worked on; None where no pace was judged, or full pace holds."""
    rows = lesson.pace(chosen.reader, chosen.student, fault, chosen.family, chosen.season)
    holds = rows[0]["holds_at"] if rows else None
    if not rows or holds == PACES[-1]:
        return None
    pace = above(holds)
    reps = lesson.reps(drill)
    load = safety.swing_load(chosen.reader, chosen.person)
    if load is not None and pace == PACES[-1]:
        reps = min(reps, load.a_day)
    text = [
        _("It holds at {pace}. The next step is {next_pace}.").format(
            pace=AT_PACE[holds], next_pace=AT_PACE[pace]
        )
        if holds
        else _("Start at a slow pace: it is not yet clear that it holds there."),
        _(
            "{reps} at a time. Go faster only once this pace feels easy; if it falls apart, go back one."
        ).format(reps=count(reps, "time")),
    ]
    text += _last(doses.filter(pl.col("kind") == "practice", pl.col("drill") == drill["drill"]))
    return NextPace(pace, reps, tuple(text))


def _last(practice: pl.DataFrame) -> list[str]:
    """What was practised last, and how it felt."""
    if practice.is_empty():
        return []
    row = practice.row(0, named=True)
    felt = FELT.get(number(row["felt"]))
    if felt is None:
        return [_("Last practised on {day}: {dose}.").format(day=on(row["day"]), dose=dose(row))]
    text = _("Last practised on {day}: {dose}; it felt {felt}.")
    return [text.format(day=on(row["day"]), dose=dose(row), felt=felt)]


def ticks_html(name: str, drill: str, pace: NextPace, cautions: tuple[str, ...]) -> str:
    """The list to tick off as a whole HTML document, for whoever practises without a phone."""
    rows = pl.DataFrame({heading: [""] * PRACTICES for heading in pace.ticks})
    return document.render(
        "pages/progress/ticks.html", name=name, drill=drill, pace=pace, rows=rows, cautions=cautions
    )
