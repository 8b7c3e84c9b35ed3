"""The progress page: one student in plain words, for them and their guardian, on screen and on paper alike.

Only what the student may see: shared notes and drills, their own numbers, nobody else's. At most three
pictures.
"""

from dataclasses import dataclass
from typing import Any

import polars as pl

from dashboard import agreed_aims, document, goal, safety, student_season
from dashboard.aim import TITLES, advice, aim_of, in_short, shoe
from dashboard.charts.shoe import Shoe
from dashboard.drill_choice import drill_aims
from dashboard.handouts import NotHandedOutError
from dashboard.pages.progress.home_practice import how_to_practise
from dashboard.pages.progress.next_pace import NextPace, next_pace
from dashboard.pages.progress.pictures import TEN, practice_weeks, season_line, ten_swings
from dashboard.queries import lesson, people, sessions
from dashboard.section import Picture
from dashboard.student_season import MeasureSeason, StudentSeason, fault_season, measure_season, rate_finding
from dashboard.text import sentences
from dashboard.text.catalogue import _, mark
from dashboard.text.cautions import BANDS_ARE_CUSTOM, CLEAR_SPACE, GROWING, IF_IT_HURTS, MINORS
from dashboard.text.glossary import FEET, LOAD, POINT
from dashboard.text.labels import PLAINLY, VERDICTS
from dashboard.text.numbers import Measure, count, in_ten, lowered, month, number, on
from warehouse.access import Reader, open_reader
from warehouse.errors import CallError
from warehouse.store import Snapshot
from warehouse.vocabulary import HOLDING, NOT_CLEAR, TOO_FEW

MOST_PICTURES = 3
MOST_NOTES = 3


@dataclass(frozen=True)
class Focus:
    """The one thing to work on or to keep: how it is going, what it is, and how to practise it."""

    verdict: str
    heading: str
    title: str  # in about five words
    sentences: tuple[str, ...]
    shoe: Shoe | None = None
    feel: str = ""
    drill: str | None = None
    how: tuple[str, ...] = ()
    pace: NextPace | None = None
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True)
class ProgressPage:
    """The page, ready to be laid out. `nothing_yet` is for where there is no focus."""

    name: str
    opening: str
    goal: tuple[str, ...]
    discomfort: tuple[str, ...]
    focus: Focus | None
    nothing_yet: str
    week: str
    feet: str
    pictures: tuple[Picture, ...]
    notes: tuple[str, ...]
    if_it_hurts: str
    cautions: tuple[str, ...]
    signature: str


def progress_page(reader: Reader, person: dict[str, Any], *, narrow: bool = False) -> ProgressPage:
    """Put the page of one student together; `person` is their row of `people.students`."""
    student = person["student"]
    hurting = sessions.open_discomfort(reader, student)
    doses = lesson.doses(reader, student, shared_only=True)
    # A drill may be set before anything is measured in a season: no season then, and no numbers beside it.
    chosen = student_season.newest(reader, person)
    if hurting.is_empty() and reader.something_hurts(student):
        doses = doses.filter(pl.col("kind") != "drill")  # it is not for this reader to know why
    focus, pictures = _focus(chosen, doses, hurts=not hurting.is_empty(), narrow=narrow)
    practice = doses.filter(pl.col("kind") == "practice")
    if not practice.is_empty():
        pictures.append(practice_weeks(practice, narrow=narrow))
    return ProgressPage(
        name=person["name"],
        opening=_opening(person, practice),
        goal=_goal(chosen),
        discomfort=tuple(_discomfort(reader, row) for row in hurting.iter_rows(named=True)),
        focus=focus,
        nothing_yet=_("Nothing is set to work on yet. Ask your coach at the next lesson."),
        week=_week(reader, student, practice),
        feet=f"{_(FEET.meaning)} {_(LOAD.meaning)}",
        pictures=tuple(pictures[:MOST_PICTURES]),
        notes=_notes(reader, student),
        if_it_hurts=_(IF_IT_HURTS),
        cautions=_cautions(reader, person),
        signature=_("{academy}, {day}.").format(academy=reader.settings.name, day=on(reader.today)),
    )


def progress_html(reader: Reader, student: str) -> str:
    """The progress page of one student as a whole HTML document, pictures as SVG.

    Raises
        AccessError: the student is not in the reader's reach.
    """
    reader.opened(mark("Progress page on paper"), student)
    page = progress_page(reader, people.student(reader, student), narrow=True)
    return document.render("pages/progress/paper.html", page=page)


def page_of(snapshot: Snapshot, student: str) -> str:
    """A student's progress page as HTML, seen through the student's own eyes.

    Raises
        NotHandedOutError: the consent to hand it out has ended.
        CallError: the roster has no such student.
    """
    reader = open_reader(snapshot.home, student, snapshot=snapshot)
    if reader.viewer.role != "student":
        raise CallError(
            _("{code} is not a student; a progress page is about one student.").format(code=student)
        )
    if reader.is_withheld("family_page", student):
        raise NotHandedOutError(
            _(
                "The consent to hand out the page of {code} has ended; load a new one for family_page in "
                "consents.csv first."
            ).format(code=student)
        )
    return progress_html(reader, student)


def _goal(chosen: StudentSeason) -> tuple[str, ...]:
    """The player's goal, the ball's answer where there are shots, and what they and the coach agreed on."""
    wanted = goal.goal_sentence(chosen.reader, chosen.student, staff=False)
    answer = goal.ball_sentence(chosen, plainly=True) if chosen.season else ""
    return tuple(filter(None, (wanted, answer, *agreed_aims.briefly(chosen, plainly=True))))


def _opening(person: dict[str, Any], practice: pl.DataFrame) -> str:
    n, days = int(person["sessions"]), practice["day"].n_unique()
    text = [
        _("You have been measured in {sessions}, last on {day}.").format(
            sessions=count(n, "session"), day=on(person["last_day"])
        )
        if n
        else _("You have not been measured yet. After your first session this page shows what we saw.")
    ]
    if days:
        text.append(_("You practised at home on {days}. Good work.").format(days=count(days, "day")))
    if 0 < n < sentences.FEW_SESSIONS:
        text.append(_("Too few sessions yet to see how things are moving."))
    return " ".join(text)


def _discomfort(reader: Reader, row: dict[str, Any]) -> str:
    said = _("You told us about your {area} on {day}.").format(
        area=row["area"] or _("body"), day=on(row["day"])
    )
    return f"{said} {safety.discomfort_caution(reader, row)}"


def _focus(
    chosen: StudentSeason, doses: pl.DataFrame, *, hurts: bool, narrow: bool
) -> tuple[Focus | None, list[Picture]]:
    """What comes first by the season's rule, as far as the student may know it."""
    now, before = (
        {row["code"]: row for row in chosen.fault_rates.filter(span=span).iter_rows(named=True)}
        for span in ("now", "before")
    )
    first = aim_of(chosen, shared=True)
    if (aim := first.code) is None:
        return None, []
    drills = doses.filter(pl.col("aim").is_in(drill_aims(first)), kind="drill")
    drill = None if drills.is_empty() else drills.row(0, named=True)
    pictures, text = [], [first.because] if first.follows else []
    if first.reason == "keep":
        text.append(_("You have this now. Keep it."))
    clean = people.fault_about(chosen.reader, aim).get("instead")
    if aim in now:
        text += _often(clean, now[aim], before.get(aim))
        if now[aim]["usable"] >= TEN:
            pictures.append(ten_swings(clean, now[aim], before.get(aim), narrow=narrow))
    measure = chosen.measures.get(aim)
    found = fault_season(chosen, aim) if measure is None else measure_season(chosen, measure)
    if measure is not None:
        text += _value(chosen, measure, found)
    if found is not None:
        finding = rate_finding(chosen, aim) if measure is None else ""
        pictures.append(season_line(found, finding, narrow=narrow))
        text += [_(POINT.meaning)] if found.line.measure.unit == "points" else []
    elif chosen.season:
        missing = _("Not measured lately with {clubs}; your next sessions will show it.")
        text.append(missing.format(clubs=chosen.clubs))
    else:
        text.append(_("Not measured yet; your next session will show it."))
    feel = advice(chosen.reader, first.fault if first.is_open and not hurts else None).get(TITLES["feel"])
    how, cautions = how_to_practise(chosen, drill, first.fault if first.is_open else None, hurts=hurts)
    name = (drill["name"] if drill else _("Until your next lesson")) if how else None
    faults = [code for code in lesson.kindred_aims(chosen.reader, aim) if code in chosen.fault_names]
    paces = (next_pace(chosen, fault, drill, doses) for fault in faults) if drill and name else ()
    pace = next((found for found in paces if found), None)
    heading = _("Keep this") if first.reason == "keep" else _("One thing")
    verdict = _verdict(now.get(aim, found.trend if found else None), found)
    title, drawn = in_short(chosen, aim, first.fault), shoe(first.fault)
    return Focus(verdict, heading, title, tuple(text), drawn, feel or "", name, how, pace, cautions), pictures


def _verdict(judged: dict[str, Any] | None, found: MeasureSeason | None) -> str:
    """How it is going, in a few words."""
    label = judged["label"] if judged and judged["label"] in VERDICTS else TOO_FEW
    if label == HOLDING and found is not None:
        return _("Same as in {month}").format(month=month(found.line.sessions["day"][0]))
    return VERDICTS[label]


def _week(reader: Reader, student: str, practice: pl.DataFrame) -> str:
    """Home practice of the last seven days."""
    on_days, minutes = lesson.practised_lately(practice, lesson.as_of(reader, student))
    days = count(on_days, "day")
    if minutes:
        return _("Practised this week: {minutes} on {days}.").format(
            minutes=number(minutes, "minutes"), days=days
        )
    if on_days:
        return _("Practised this week: on {days}.").format(days=days)
    return _("No practice this week yet.")


def _often(clean: str | None, now: dict[str, Any], before: dict[str, Any] | None) -> list[str]:
    clean = _(clean) if clean else _("“{fault}” does not show").format(fault=lowered(now["fault"]))
    text = (
        _("In {good} swings lately, {clean}.") if now["usable"] >= TEN else _("In {good} lately, {clean}.")
    ).format(good=_good(now), clean=clean)
    if before is not None:
        text += " " + _("Earlier in the season it was {good}.").format(good=_good(before))
    return [text, PLAINLY.get(now["label"], "")]


def _good(row: dict[str, Any]) -> str:
    """How many swings go well: of ten; of fewer than ten swings, of those there are."""
    if row["usable"] < TEN:
        good = row["usable"] - row["flagged"]
        return _("{good} of {swings}").format(good=good, swings=count(row["usable"], "swing"))
    return in_ten(1 - row["rate"])


def _value(chosen: StudentSeason, measure: Measure, found: MeasureSeason | None) -> list[str]:
    """What a measure is, its last value beside the aim (the band), and whether it has changed."""
    text = [measure.explain]
    if found is not None:
        text.append(_("At your last session: {value}.").format(value=measure.say(found.last)))
        if found.line.band != (None, None):
            aim = measure.say_target(*found.line.band)
            text[-1] += " " + _("The aim, the pale strip in the picture, is {aim}.").format(aim=aim)
    few = TOO_FEW if chosen.person["sessions"] < sentences.FEW_SESSIONS else NOT_CLEAR
    return [*text, PLAINLY[found.trend["label"] if found and found.trend else few]]


def _notes(reader: Reader, student: str) -> tuple[str, ...]:
    """The latest plans that the coach shares, in the coach's words."""
    found = sessions.notes(reader, student).filter(
        pl.col("shared") & (pl.col("kind") == "plan") & pl.col("text").is_not_null()
    )
    latest = found.head(MOST_NOTES).iter_rows(named=True)
    return tuple(f"{row['author']}, {on(row['day'])}: {row['text']}" for row in latest)


def _cautions(reader: Reader, person: dict[str, Any]) -> tuple[str, ...]:
    student = person["student"]
    text = [
        *safety.out_of_use(reader, student),
        _(CLEAR_SPACE),
        *safety.swing_sentences(safety.swing_load(reader, person)),
    ]
    if reader.is_minor(student):
        text += [safety.practice_week(reader, student), _(GROWING), _(MINORS)]
        if reader.settings.consents_kept_elsewhere:
            text.append(_("Consents are kept elsewhere: check there before this page is shared by link."))
        elif not people.may_share(reader, student):
            text.append(_("No consent to share this page by link is on file: hand it over in person."))
    return (*text, _(BANDS_ARE_CUSTOM))
