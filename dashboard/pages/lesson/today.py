"""The first screen of a lesson sheet: what is safe, today's aim and why, its drill, and the last visit."""

from typing import Any

import polars as pl

from dashboard import agreed_aims, goal
from dashboard.aim import Aim
from dashboard.drill_choice import DrillChoice, Offer
from dashboard.pages.lesson.findings import Lesson, Part
from dashboard.queries import lesson, people
from dashboard.student_season import StudentSeason, measure_season
from dashboard.text import cautions, sentences
from dashboard.text.catalogue import _
from dashboard.text.labels import area_name
from dashboard.text.numbers import capitalized, count, joined, listed, lowered, number, on, share
from warehouse.body import quiet_work
from warehouse.vocabulary import SELDOM

MOST_PLAN_LETTERS = 200


def aim_part(about: Lesson, doses: pl.DataFrame, aim: Aim) -> Part:
    """Today's aim, why it comes first, and one more if there is time."""
    chosen = about.chosen
    text = [*agreed_aims.briefly(chosen), _reason(about, doses, aim)]
    if aim.because:
        text.append(f"{aim.because} {aim.numbers}".strip())
    if aim.next_code:
        then = (
            _("If there is time: the fault “{aim}”.")
            if aim.next_code in chosen.fault_names
            else _("If there is time: {aim}.")
        )
        text.append(then.format(aim=lowered(chosen.name(aim.next_code))))
    if aim.is_open and chosen.person["sessions"] == 1:
        text.append(_("One session so far: a first look, not yet a habit."))
    if aim.code is None:
        return Part(_("Today"), tuple(text))
    if aim.code in chosen.fault_names:  # its name alone would read as what to do
        title = _("Today's fault: {aim}") if aim.is_open else _("Today: keep “{aim}” away")
    else:
        title = _("Today: {aim}") if aim.is_open else _("Today: keep {aim}")
    return Part(title.format(aim=lowered(chosen.name(aim.code))), tuple(text))


def _reason(about: Lesson, doses: pl.DataFrame, aim: Aim) -> str:
    """Why this is the aim, with how far it is from its target."""
    chosen = about.chosen
    if aim.code is None:
        return _nothing(chosen)
    if aim.reason == "keep":
        return _("Inside its target, and no fault shows in one swing in five: keep what was won.")
    stands = _stands(chosen, aim.code)
    if aim.reason == "agreed":
        return stands
    if aim.reason == "earliest_cause":
        return _("The earliest cause in the swing. {stands}").format(stands=stands)
    if aim.reason == "most_often":
        return _("The worst fault outside its target. {stands}").format(stands=stands)
    if aim.drill is None:
        return _("Named in the plan, and not met yet. {stands}").format(stands=stands)
    latest = doses.filter(kind="drill", drill=aim.drill).row(0, named=True)
    named = _("Named on {day} with the drill “{drill}”, and not met yet. {stands}")
    return named.format(drill=latest["name"], day=on(latest["day"]), stands=stands) + stop_if_ruled_out(
        about, latest
    )


def _stands(chosen: StudentSeason, aim: str) -> str:
    """How far an aim is from its target."""
    if aim in chosen.measures:
        measure = chosen.measures[aim]
        found = measure_season(chosen, measure) if chosen.season else None
        if found is None:
            return _("Not measured lately with these clubs.") if chosen.season else _("Not measured yet.")
        text = _("{value} at the last session; the target is {target}.")
        return text.format(value=measure.say(found.last), target=measure.say_target(*found.line.band))
    now = chosen.fault_rates.filter(code=aim, span="now")
    if now.is_empty():
        return _("Not judged lately with these clubs.") if chosen.season else _("Not measured yet.")
    return _("In {rate} of {swings} lately; the target is under {target}.").format(
        rate=share(now["rate"][0]), swings=count(int(now["usable"][0]), "swing"), target=share(SELDOM)
    )


def _nothing(chosen: StudentSeason) -> str:
    """What to do where no aim can be chosen."""
    if chosen.season:
        return _("No aim is named and no fault shows in one swing in five. Ask what they came for.")
    if lesson.last_visit(chosen.reader, chosen.student):
        return _(
            "Nothing is measured yet. Ten swings at full pace, all with the same club, give this sheet "
            "an aim."
        )
    return _(
        "The first lesson. Ask what they came for and whether anything hurts, then measure ten swings at "
        "full pace, all with the same club: then there is an aim."
    )


def level_sentence(chosen: StudentSeason) -> str:
    """What others of this level have most often, for a player never measured; "" where nobody was."""
    level = chosen.person["level"]
    if chosen.season or level is None:
        return ""
    rows = lesson.level_faults(chosen.reader, level)
    if rows.is_empty():
        return ""
    row = rows.row(0, named=True)
    said = _(
        "Of {students} of level {level}, {n} have “{fault}”, more than any other fault: look for it first."
    )
    return said.format(
        students=count(int(row["students"]), "student"), level=level, n=row["n"],
        fault=lowered(chosen.name(row["fault"])),
    )  # fmt: skip


def safe_part(about: Lesson, choice: DrillChoice) -> Part | None:
    """What is left that is safe while something hurts: never nothing."""
    areas = about.body.areas
    if not areas:
        return None
    text = [_(cautions.QUIET_WORK[work]) for work in quiet_work(areas, lasting=about.body.lasting)]
    if choice.first is not None:
        left = _("Of the drills, {drill} does not load it.")
        text.insert(0, left.format(drill=choice.first.name))
    where = listed([area_name(area) for area in areas])
    return Part(_("What is safe today, with the {areas}").format(areas=where), tuple(text))


def drill_part(about: Lesson, choice: DrillChoice, doses: pl.DataFrame) -> Part | None:
    """The first drill with its dose and what not to do, two more to choose from, and the one to stop."""
    aim, first = choice.aim, choice.first
    if aim.code is None:
        return None
    text = []
    title = _("First drill")
    if first is None:
        title = _("Drills")
        text.append(
            _("No drills until a physician has seen it.")
            if about.body.lasting
            else _("None of the drills for this is safe while it hurts.")
            if about.body.areas
            else _("No drill is known for this that is safe for this player: coach it by feel.")
        )
    else:
        if first.exercise.code:
            title = _("First drill: {drill}").format(drill=first.name)
        dose = choice.dose(first, doses)
        text += [
            first.exercise.how or "",
            f"{capitalized(dose.sentence)} {first.evidence}",
            _avoid(choice, first, dose.pace),
        ]
    if choice.offers[1:]:
        text += [
            _("Or: {drill}. {evidence}").format(drill=offer.name, evidence=offer.evidence)
            for offer in choice.offers[1:]
        ]
    text.append(choice.stop(doses))
    said = tuple(filter(None, text))
    return Part(title, said) if said else None


def _avoid(choice: DrillChoice, offer: Offer, pace: str) -> str:
    """What not to do: faster than it holds, the fault's own look, and what the drill warns of."""
    aim = choice.aim
    looks = people.fault_about(choice.chosen.reader, aim.fault).get("looks_like") if aim.fault else None
    not_so = _("Not like this: {looks}").format(looks=_(looks)) if looks else ""
    faster = (
        ""
        if pace == "full"
        else _("Not faster before it holds at {pace}.").format(pace=sentences.AT_PACE[pace])
    )
    return joined(not_so, faster, offer.exercise.cautions)


def stop_if_ruled_out(about: Lesson, drill: dict[str, Any]) -> str:
    """A drill already set that may load what hurts, or that age or falls rule out: always said."""
    areas = about.loaded_areas(drill)
    loads = (
        _("May load the {areas}: stop it until that is over.").format(areas=listed(areas)) if areas else ""
    )
    return (f" {loads}" if loads else "") + about.ruled_out(drill)


def last_part(about: Lesson, doses: pl.DataFrame) -> Part:
    """The last visit in one line, and the practice since in another."""
    chosen = about.chosen
    return Part(_("Last visit and practice"), (_last_visit(about, doses), _practice(chosen, doses)))


def _last_visit(about: Lesson, doses: pl.DataFrame) -> str:
    """What was set last and planned, and when."""
    chosen = about.chosen
    plan = lesson.last_plan(chosen.reader, chosen.student)
    day = lesson.last_visit(chosen.reader, chosen.student)
    if day is None:
        return _("No visit yet.")
    said = [_("Last visit on {day}.").format(day=on(day))]
    for row in (
        lesson.set_last(doses).unique("drill", keep="first", maintain_order=True).iter_rows(named=True)
    ):
        given = _("Set: {drill}, {dose}.").format(drill=row["name"], dose=sentences.dose(row))
        said.append(given + stop_if_ruled_out(about, row))
    if plan is not None:
        words = plan["text"]
        cut = words if len(words) <= MOST_PLAN_LETTERS else words[: MOST_PLAN_LETTERS - 1] + "…"
        said.append(
            _("Plan of {day} ({coach}): {words}").format(day=on(plan["day"]), coach=plan["author"], words=cut)
        )
    return " ".join(said)


def _practice(chosen: StudentSeason, doses: pl.DataFrame) -> str:
    """Home practice of the last seven days, beside a young player's limit."""
    reader, student = chosen.reader, chosen.student
    last = lesson.as_of(reader, student)
    on_days, minutes = lesson.practised_lately(doses, last)
    if not on_days:
        before = doses.filter(kind="practice").head(1)["day"].to_list()
        none = _("No home practice recorded in the seven days to {day}").format(day=on(last))
        since = _("; the last was on {day}").format(day=on(before[0])) if before else ""
        return f"{none}{since}."
    days = count(on_days, "day")
    limit = reader.settings.young_practice_minutes_a_week if reader.is_minor(student) else None
    if minutes and limit:
        return _(
            "Practised at home in the seven days to {day}: {minutes} of at most {limit}, on {days}."
        ).format(day=on(last), minutes=number(minutes), limit=number(limit, "minutes"), days=days)
    if minutes:
        return _("Practised at home in the seven days to {day}: {minutes} on {days}.").format(
            day=on(last), minutes=number(minutes, "minutes"), days=days
        )
    return _("Practised at home in the seven days to {day}: on {days}, not timed.").format(
        day=on(last), days=days
    )


def goals(chosen: StudentSeason) -> tuple[str, ...]:
    """What the player came for, and the ball's answer to it."""
    ball = goal.ball_sentence(chosen) if chosen.season else ""
    return tuple(filter(None, (goal.goal_sentence(chosen.reader, chosen.student, staff=True), ball)))
