"""The lesson sheet: what a coach needs in the ten minutes before a lesson, on screen and on paper alike.

What hurts comes before everything else, then what to do today; the rest says why.
"""

from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Any

import polars as pl

from dashboard import document, observed, safety, student_season
from dashboard.aim import Aim, aim_of
from dashboard.drill_choice import DrillChoice
from dashboard.kept import kept
from dashboard.pages.lesson import findings, today
from dashboard.pages.lesson.findings import Lesson, Part
from dashboard.queries import lesson, people, sessions
from dashboard.student_season import StudentSeason
from dashboard.text import sentences
from dashboard.text.catalogue import _, mark
from dashboard.text.cautions import (
    BANDS_ARE_CUSTOM,
    CLEAR_SPACE,
    GROWING,
    IF_IT_HURTS,
    MINORS,
)
from dashboard.text.labels import area_name
from dashboard.text.numbers import count, joined, number, on, quoted
from warehouse.access import Reader, open_reader
from warehouse.body import Exercise, nudge_check
from warehouse.errors import CallError
from warehouse.reach import check_student, coach_of
from warehouse.store import Snapshot
from warehouse.swing_load import SwingLoad

WEEKS_BACK = 4


@dataclass(frozen=True)
class LessonSheet:
    """The sheet, ready to be laid out: what hurts, what to do today, and the parts that say why."""

    name: str
    about: str
    hurts: tuple[str, ...]
    today: tuple[Part, ...]
    parts: tuple[Part, ...]
    left_out: str | None
    cautions: tuple[str, ...]
    signature: str


@kept
def lesson_sheet(chosen: StudentSeason, *, narrow: bool = True) -> LessonSheet:
    """Put the sheet of one student together."""
    reader, student = chosen.reader, chosen.student
    hurting = sessions.open_discomfort(reader, student)
    doses = lesson.doses(reader, student)
    about = Lesson(chosen, safety.body_of(reader, chosen.person), narrow=narrow)
    first = aim_of(chosen)
    choice = DrillChoice(chosen, first, about.body)
    aim_part = today.aim_part(about, doses, first)
    if level := today.level_sentence(chosen):
        aim_part = replace(aim_part, sentences=(*aim_part.sentences, level))
    opening = (
        today.safe_part(about, choice),
        aim_part,
        today.drill_part(about, choice, doses),
        today.last_part(about, doses),
    )
    parts: list[Part | None] = [_evidence(about, first), findings.coaching(about, first)]
    if chosen.season:
        parts += [
            findings.changes(about, first.code),
            findings.faults(about),
            findings.pace(about, first.code),
        ]
    parts += [findings.balance(about), findings.seen_and_felt(chosen)]
    load = safety.swing_load(reader, chosen.person)
    if load is not None or reader.is_minor(student):
        parts.append(_young_player(chosen, load))
    return LessonSheet(
        name=chosen.person["name"],
        about=about_student(chosen),
        hurts=tuple(_hurts(reader, row) for row in hurting.iter_rows(named=True)),
        today=tuple(part for part in opening if part is not None),
        parts=tuple(part for part in parts if part is not None and not part.empty),
        left_out=chosen.left_out(),
        cautions=_cautions(about, _named_drills(doses, choice), hurts=not hurting.is_empty()),
        signature=_("{academy}, {day}. For the coach.").format(
            academy=reader.settings.name, day=on(reader.today)
        ),
    )


def sheet_html(sheet: LessonSheet) -> str:
    """A sheet as a whole HTML document of one printed page, A4 or Letter."""
    return document.render("pages/lesson/paper.html", sheet=sheet)


def sheet_of(snapshot: Snapshot, student: str) -> str:
    """A student's lesson sheet as HTML, as today's coach sees it, else the head coach.

    Raises
        CallError: the roster has no such student, or nobody coaches them.
    """
    check_student(snapshot, student)
    coach = coach_of(snapshot, student, snapshot.home.settings().today)
    if coach is None:
        raise CallError(_("The roster has no head coach; add one to people.csv and load it."))
    reader = open_reader(snapshot.home, coach, snapshot=snapshot)
    reader.opened(mark("Lesson sheet on paper"), student)
    chosen = student_season.newest(reader, people.student(reader, student))
    return sheet_html(lesson_sheet(chosen, narrow=False))


def about_student(chosen: StudentSeason) -> str:
    """The line below the name."""
    last = chosen.person["last_day"]
    parts = [
        *chosen.who(),
        _("measured in {sessions}").format(sessions=count(chosen.person["sessions"], "session")),
        _("last on {day}").format(day=on(last)) if last else "",
        chosen.clubs,
    ]
    return " · ".join(part for part in parts if part)


def _hurts(reader: Reader, row: dict[str, Any]) -> str:
    noted = _("Discomfort: {area}, noted on {day}.").format(area=area_name(row["area"]), day=on(row["day"]))
    words = quoted(row["text"]) if row["text"] else ""
    return joined(noted, words, safety.discomfort_caution(reader, row), _(sentences.NO_DRILL_WHILE))


def _cautions(about: Lesson, named: list[Exercise], *, hurts: bool) -> tuple[str, ...]:
    """What to watch with the drills that the sheet names, already set or suggested, and with nudge checks."""
    chosen, closed = about.chosen, nudge_check("closed")
    checked = observed.nudge_sentences(chosen.reader, chosen.student)
    checks = [closed if about.body.may_do(closed) else nudge_check("open")] if checked else []
    minor = chosen.reader.is_minor(chosen.student)
    return (
        *safety.out_of_use(chosen.reader, chosen.student),
        *([] if hurts else [_(IF_IT_HURTS)]),
        _(CLEAR_SPACE),
        *safety.caution_sentences([*named, *checks]),
        *([_(MINORS)] if minor else []),
        _(BANDS_ARE_CUSTOM),
    )


def _evidence(about: Lesson, aim: Aim) -> Part:
    """The aim's season line, the player's goal, and bands of their own."""
    chosen = about.chosen
    text = [*today.goals(chosen)]
    if aim.reason not in ("agreed", "named") and aim.named_met and aim.named != aim.code:
        kept = (
            _("Keep it that way: “{named}” shows in fewer than one swing in five.")
            if aim.named in chosen.fault_names
            else _("Keep: {named} is inside its target.")
        )
        text.append(kept.format(named=chosen.name(str(aim.named))))
    for row in lesson.own_bands(chosen.reader, chosen.student).iter_rows(named=True):
        if row["metric"] in chosen.measures:
            measure = chosen.measures[row["metric"]]
            text.append(
                _("Own target since {day}: {measure}, {span}.").format(
                    day=on(row["day"]), measure=measure.label, span=measure.say_target(row["lo"], row["hi"])
                )
            )
    return Part(_("The goal, and the season so far"), tuple(text), picture=findings.picture(about, aim.code))


def _named_drills(doses: pl.DataFrame, choice: DrillChoice) -> list[Exercise]:
    """Every drill that the sheet names: those set on the last day, and those offered."""
    return [
        *map(Exercise.of, lesson.set_last(doses).to_dicts()),
        *(offer.exercise for offer in choice.offers),
    ]


def _young_player(chosen: StudentSeason, load: SwingLoad | None) -> Part:
    """Full swings, practice minutes and rest days of a young player."""
    reader, student = chosen.reader, chosen.student
    today = lesson.as_of(reader, student)
    start = today - timedelta(weeks=WEEKS_BACK) + timedelta(days=1)
    days = lesson.active_days(reader, student, start, today)
    rest = 7 - len(days.filter(pl.col("day") > today - timedelta(days=7)))
    practice = _(
        "In the {weeks} weeks to {day}: {minutes} of timed practice a week on average. Days without practice "
        "or a lesson in the last seven: {rest}."
    ).format(
        weeks=WEEKS_BACK,
        day=on(today),
        minutes=number(float(days["minutes"].sum()) / WEEKS_BACK, mark("minutes")),
        rest=rest,
    )
    swings = safety.swing_sentences(load)
    return Part(_("Young player"), (safety.practice_week(reader, student), practice, *swings, _(GROWING)))
