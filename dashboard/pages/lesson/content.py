"""The lesson sheet: what a coach needs in the ten minutes before a lesson, on screen and on paper alike.

What hurts comes before everything else; then the parts, in the order in which they are needed.
"""

from contextlib import closing
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any

import polars as pl

from dashboard import document, goal, observed, safety, student_season
from dashboard.aim import Aim, aim_of
from dashboard.kept import kept
from dashboard.pages.lesson import findings
from dashboard.pages.lesson.findings import Lesson, Part
from dashboard.queries import lesson, people, sessions
from dashboard.student_season import StudentSeason
from dashboard.text import sentences
from dashboard.text.catalogue import _, mark
from dashboard.text.cautions import (
    BANDS_ARE_CUSTOM,
    CLEAR_SPACE,
    DISCOMFORT,
    GROWING,
    IF_IT_HURTS,
    MINORS,
)
from dashboard.text.numbers import Measure, count, listed, number, on, share
from warehouse.access import open_reader
from warehouse.body import Exercise, nudge_check
from warehouse.errors import CallError
from warehouse.home import Home
from warehouse.reach import check_student, coach_of
from warehouse.store import open_snapshot
from warehouse.swing_load import SwingLoad

MOST_PLAN_LETTERS = 200
WEEKS_BACK = 4


@dataclass(frozen=True)
class LessonSheet:
    """The sheet, ready to be laid out. `hurts` comes before everything else."""

    name: str
    about: str
    hurts: tuple[str, ...]
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
    aim = first.code
    parts: list[Part | None] = [_working_on(about, doses, first), findings.coaching(about, first)]
    parts.append(_set_for_home(about, doses))
    named = _named_drills(doses)
    if chosen.season:
        parts += [
            findings.changes(about, aim),
            findings.faults(about),
            findings.pace(about, aim),
            findings.helped(about, aim),
        ]
        named += findings.suggested(about, aim)
    else:
        parts.append(
            Part(_("What changed since last time"), (_("No swing has been measured in a season yet."),))
        )
    parts += [findings.balance(about), findings.seen_and_felt(chosen)]
    load = safety.swing_load(reader, chosen.person)
    if load is not None or reader.is_minor(student):
        parts.append(_young_player(chosen, load))
    return LessonSheet(
        name=chosen.person["name"],
        about=_about(chosen),
        hurts=tuple(_hurts(row) for row in hurting.iter_rows(named=True)),
        parts=tuple(part for part in parts if part is not None),
        left_out=chosen.left_out(),
        cautions=_cautions(about, named, hurts=not hurting.is_empty()),
        signature=_("{academy}, {day}. For the coach.").format(
            academy=reader.settings.name, day=on(reader.today)
        ),
    )


def sheet_html(sheet: LessonSheet) -> str:
    """A sheet as a whole HTML document of one printed page, A4 or Letter."""
    return document.render("pages/lesson/paper.html", sheet=sheet)


def write_sheet(home: Home, student: str, target: Path | None = None) -> Path:
    """Write a student's lesson sheet as today's coach sees it, else the head coach; returns the file.

    Raises
        CallError: the roster has no such student, nobody coaches them, or nothing is published.
    """
    with closing(open_snapshot(home)) as snapshot:
        check_student(snapshot, student)
        coach = coach_of(snapshot, student, home.settings().today)
        if coach is None:
            raise CallError(_("The roster has no head coach; add one to people.csv and load it."))
        reader = open_reader(home, coach, snapshot=snapshot)
        reader.opened("Lesson sheet on paper", student)
        chosen = student_season.newest(reader, people.student(reader, student))
        text = sheet_html(lesson_sheet(chosen, narrow=False))
    return document.save(text, document.place(home, target, f"lesson-{student}.html"))


def _about(chosen: StudentSeason) -> str:
    last = chosen.person["last_day"]
    parts = [
        *chosen.who(),
        _("measured in {sessions}").format(sessions=count(chosen.person["sessions"], "session")),
        _("last on {day}").format(day=on(last)) if last else "",
        chosen.clubs,
        _("season {name}").format(name=chosen.season) if chosen.season else "",
    ]
    return " · ".join(part for part in parts if part)


def _hurts(row: dict[str, Any]) -> str:
    noted = _("Discomfort: {area}, noted on {day}.").format(
        area=row["area"] or _("area not named"), day=on(row["day"])
    )
    words = f"“{row['text']}”" if row["text"] else ""
    return " ".join(part for part in (noted, words, _(DISCOMFORT), _(sentences.NO_DRILL_WHILE)) if part)


def _cautions(about: Lesson, named: list[dict[str, Any]], *, hurts: bool) -> tuple[str, ...]:
    """What to watch with the drills that the sheet names, already set or suggested, and with nudge checks."""
    chosen, closed = about.chosen, nudge_check("closed")
    checked = observed.nudge_sentences(chosen.reader, chosen.student)
    checks = [closed if about.body.may_do(closed) else nudge_check("open")] if checked else []
    minor = chosen.reader.is_minor(chosen.student)
    return (
        *safety.out_of_use(chosen.reader, chosen.student),
        *([] if hurts else [_(IF_IT_HURTS)]),
        _(CLEAR_SPACE),
        *safety.caution_sentences([*map(Exercise.of, named), *checks]),
        *([_(MINORS)] if minor else []),
        _(BANDS_ARE_CUSTOM),
    )


def _working_on(about: Lesson, doses: pl.DataFrame, aim: Aim) -> Part:
    """The aim and why it comes first, its season line, the latest plan, and bands of the student's own."""
    chosen = about.chosen
    wanted = goal.goal_sentence(chosen.reader, chosen.student, staff=True)
    text = [_aim_sentence(about, doses, aim)]
    if aim.because:
        text.append(f"{aim.because} {aim.numbers}")
    text += filter(None, [wanted, goal.ball_sentence(chosen) if chosen.season else ""])
    if aim.reason != "named" and aim.named_met and aim.named != aim.code:
        text.append(_("Keep: {named} is inside its target.").format(named=chosen.name(str(aim.named))))
    plan = lesson.last_plan(chosen.reader, chosen.student)
    if plan is not None:
        words = plan["text"]
        cut = words if len(words) <= MOST_PLAN_LETTERS else words[: MOST_PLAN_LETTERS - 1] + "…"
        text.append(
            _("Plan of {day} ({coach}): {words}").format(day=on(plan["day"]), coach=plan["author"], words=cut)
        )
    for row in lesson.own_bands(chosen.reader, chosen.student).iter_rows(named=True):
        if row["metric"] in chosen.measures:
            measure = chosen.measures[row["metric"]]
            text.append(
                _("Own target since {day}: {measure}, {span}.").format(
                    day=on(row["day"]), measure=measure.label, span=_span(measure, row)
                )
            )
    return Part(_("Working on"), tuple(text), picture=findings.picture(about, aim.code))


def _aim_sentence(about: Lesson, doses: pl.DataFrame, aim: Aim) -> str:
    """What to work on, and by whose word."""
    chosen, name = about.chosen, about.chosen.name(aim.code or "")
    if aim.code is None:
        return (
            _("No aim is named and no fault shows in one swing in five: there is nothing to work on yet.")
            if chosen.season
            else _(
                "No drill is set and no swing has been measured in a season: there is nothing to work on yet."
            )
        )
    if aim.reason == "named" and aim.drill:
        latest = doses.filter(kind="drill", drill=aim.drill).row(0, named=True)
        return _("{aim}, with the drill {drill}, last set on {day}.").format(
            aim=name, drill=latest["name"], day=on(latest["day"])
        ) + _stop(about, latest)
    if aim.reason == "named":
        return _("{aim}, as planned.").format(aim=name)
    if aim.reason == "keep":
        return _(
            "Keep what was won: {aim} is inside its target, and no fault shows in one swing in five."
        ).format(aim=name)
    now = chosen.fault_rates.row(
        by_predicate=(pl.col("code") == aim.code) & (pl.col("span") == "now"), named=True
    )
    shown = _("in {rate} of {swings} lately").format(
        rate=share(now["rate"]), swings=count(int(now["usable"]), "swing")
    )
    if aim.reason == "most_often":
        return _("{aim}: the fault that shows most often, {shown}.").format(aim=name, shown=shown)
    return _("{aim}: {shown}.").format(aim=name, shown=shown)


def _span(measure: Measure, row: dict[str, Any]) -> str:
    if row["lo"] is None:
        return _("up to {value}").format(value=measure.say(row["hi"]))
    if row["hi"] is None:
        return _("from {value}").format(value=measure.say(row["lo"]))
    return measure.say_both(row["lo"], row["hi"], _(" to "))


def _set_for_home(about: Lesson, doses: pl.DataFrame) -> Part:
    """What was set for home last, and how much of it was done."""
    drills = _set_last(doses)
    if drills.is_empty():
        return Part(_("Set for home"), (_("No home practice has been set."),))
    since = drills["day"][0]
    text = [
        _("{drill}: {dose}, on {day}.").format(
            drill=row["name"], dose=sentences.dose(row), day=on(row["day"])
        )
        + _stop(about, row)
        for row in drills.iter_rows(named=True)
    ]
    done = doses.filter((pl.col("kind") == "practice") & (pl.col("day") >= since))
    minutes = float(done.filter(pl.col("unit") == "minutes")["dose"].sum() or 0)
    text.append(sentences.practised(done["day"].n_unique(), minutes, since))
    if n := int(done["by_family"].sum()):
        said = _("Of {practices} logged, {n} by the player or a guardian.")
        text.append(said.format(practices=count(len(done), "practice"), n=n))
    return Part(_("Set for home") if drills["place"][0] == "home" else _("Set last time"), tuple(text))


def _set_last(doses: pl.DataFrame) -> pl.DataFrame:
    """The drills of the last day on which any was set for home; set at all, where none was for home."""
    drills = doses.filter(pl.col("kind") == "drill")
    at_home = drills.filter(pl.col("place") == "home")
    found = drills if at_home.is_empty() else at_home
    return found if found.is_empty() else found.filter(pl.col("day") == found["day"][0])


def _named_drills(doses: pl.DataFrame) -> list[dict[str, Any]]:
    """Every drill that these parts name: the latest, those set for home, and what was done last."""
    latest = doses.filter(pl.col("kind") == "drill").head(1)
    return pl.concat([doses.head(3), latest, _set_last(doses)]).to_dicts()


def _stop(about: Lesson, drill: dict[str, Any]) -> str:
    """A drill already set that may load what hurts, or that age or falls rule out: always said."""
    areas = about.loaded_areas(drill)
    loads = (
        _("May load the {areas}: stop it until that is over.").format(areas=listed(areas)) if areas else ""
    )
    return (f" {loads}" if loads else "") + about.ruled_out(drill)


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
