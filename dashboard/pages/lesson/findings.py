"""The parts of a lesson sheet that the season answers: changes, faults, pace, balance and what was seen."""

from dataclasses import dataclass
from typing import Any

import polars as pl

from dashboard import observed, safety
from dashboard.aim import TITLES, Aim, advice
from dashboard.charts import fault_ladder
from dashboard.charts.season_line import marks_key
from dashboard.queries import lesson, people, season
from dashboard.section import Picture
from dashboard.student_season import OFTEN, StudentSeason, fault_season, measure_season, rate_finding
from dashboard.text import sentences
from dashboard.text.catalogue import _, ngettext
from dashboard.text.labels import area_name, marked
from dashboard.text.numbers import count, joined, listed, on
from warehouse.body import DISCOMFORT, Body, Exercise, may_load, nudge_check
from warehouse.vocabulary import BETTER, IMPROVING, SLIPPING, WORSE

MOST_FAULTS = 6


@dataclass(frozen=True)
class Part:
    """One part of the sheet: its heading, its sentences, its rows and its picture, where it has them."""

    title: str
    sentences: tuple[str, ...] = ()
    rows: pl.DataFrame | None = None
    picture: Picture | None = None

    @property
    def empty(self) -> bool:
        """Whether it has nothing but its heading."""
        return not self.sentences and self.rows is None and self.picture is None


@dataclass(frozen=True)
class Lesson:
    """Whom a sheet is about, what their body allows today, and whether a phone shows it."""

    chosen: StudentSeason
    body: Body
    narrow: bool

    def loaded_areas(self, drill: dict[str, Any]) -> list[str]:
        """The areas that hurt and that this drill may load."""
        exercise = Exercise.of(drill)
        return [area_name(area) for area in self.body.areas if may_load(exercise, area)]

    def ruled_out(self, drill: dict[str, Any]) -> str:
        """Why a drill is not to be done now, beside what hurts, and a safe choice; empty where nothing is."""
        exercise = Exercise.of(drill)
        against = [one for one in self.body.objections(exercise) if one.why != DISCOMFORT]
        if not against:
            return ""
        said = _("Ruled out now: {against}.").format(
            against=listed([safety.objection_words(o) for o in against])
        )
        safe = safety.safe_choice(self.chosen.reader, self.body, exercise)
        return f" {said} {safety.choice_sentence(safe)}"


def changes(about: Lesson, aim: str | None) -> Part:
    """The last session against those before it, and which changes are real."""
    title, chosen = _("What changed since last time"), about.chosen
    rows = lesson.last_against_before(chosen.reader, chosen.student, chosen.family, chosen.season)
    known = [row for row in rows.iter_rows(named=True) if row["metric"] in chosen.measures]
    compared = [row for row in known if row["before"] is not None]
    if not known:
        return Part(title, (_("No full swing with {clubs} this season yet.").format(clubs=chosen.clubs),))
    if not compared:
        first = _(
            "The session of {day} is the first on its device with these clubs, so there is nothing to "
            "compare it with yet."
        )
        return Part(title, (first.format(day=on(known[0]["day"])),))
    real = [row for row in compared if row["beyond"] and abs(row["last"] - row["before"]) > row["beyond"]]
    labels = season.trend_labels(chosen.reader, chosen.student, chosen.season).filter(
        (pl.col("club_family") == chosen.family) & pl.col("label").is_in([IMPROVING, SLIPPING])
    )
    core = set(people.core_measures(chosen.reader)) & set(labels["metric"])
    worked_on = set(lesson.kindred_aims(chosen.reader, aim)) if aim else set()
    listed_rows = [row for row in compared if row in real or row["metric"] in core | worked_on]
    text = _(
        "The session of {day} compared with the {sessions} before it on the same device: of {measures}, "
        "{real} moved by more than sessions usually scatter. About one in twenty would by chance alone. "
        "Listed: those, what is being worked on, and what has changed over the season."
    ).format(
        day=on(compared[0]["day"]),
        sessions=count(max(int(row["n_before"]) for row in compared), "session"),
        measures=count(len(compared), "measure"),
        real=len(real),
    )
    return Part(
        title, (text,), pl.DataFrame([_change(chosen, row) for row in listed_rows]) if listed_rows else None
    )


def _change(chosen: StudentSeason, row: dict[str, Any]) -> dict[str, str]:
    measure, band = chosen.measures[row["metric"]], chosen.band(row["metric"])
    trend = chosen.trend(row["metric"])
    return {
        _("Measure"): measure.label,
        _("Before → last"): sentences.moved(measure, row, band),
        _("Since last time"): sentences.verdict(measure, row, band),
        _("Over the season"): marked(trend["label"]) if trend else "–",
    }


def faults(about: Lesson) -> Part:
    """The faults that have changed or show often, now and before; those without room are named."""
    title, rates = _("Faults now"), about.chosen.fault_rates
    if rates.is_empty():
        return Part(title, (_("No fault could be judged with these clubs yet."),))
    now = rates.filter(pl.col("span") == "now")
    moved = pl.col("label").is_in([BETTER, WORSE])
    often = now.filter((pl.col("rate") >= OFTEN) | moved).sort(moved, "rate", descending=True)["fault"]
    shown, more = often.head(MOST_FAULTS), often[MOST_FAULTS:].to_list()
    others = now.height - len(often)
    quiet = _("{others} checked: each in fewer than one swing in ten lately, and no clear change.").format(
        others=count(others, "other_fault")
    )
    if shown.is_empty():
        none = _("No fault in more than one swing in ten lately; {others}").format(others=quiet)
        return Part(title, (none,))
    text = []
    if more:
        also = ngettext(
            "{n} more shows up as well: {faults}.", "{n} more show up as well: {faults}.", len(more)
        )
        text.append(also.format(n=len(more), faults=listed(more)))
    if others:
        text.append(quiet)
    return Part(title, tuple(text), fault_ladder.table(rates.filter(pl.col("fault").is_in(shown.implode()))))


def coaching(about: Lesson, aim: Aim) -> Part | None:
    """What the aim's fault costs, what to feel instead, and how a film shows it."""
    lines = advice(about.chosen.reader, aim.fault if aim.is_open else None)
    lines.pop(TITLES["drill"], None)  # among the drills to choose from
    text = tuple(f"{title}: {said}" for title, said in lines.items())
    return Part(_("How to coach it"), text) if text else None


def pace(about: Lesson, aim: str | None) -> Part | None:
    """At which pace the faults behind the aim stay away."""
    chosen = about.chosen
    text = []
    for code in _aims(about, aim):
        if code in chosen.fault_names:
            rows = lesson.pace(chosen.reader, chosen.student, code, chosen.family, chosen.season)
            if rows:
                text.append(sentences.pace_sentence(chosen.fault_names[code], rows))
    return Part(_("The pace it holds at"), tuple(text)) if text else None


def _aims(about: Lesson, aim: str | None) -> list[str]:
    return lesson.kindred_aims(about.chosen.reader, aim) if aim else []


def balance(about: Lesson) -> Part | None:
    """Falls, nudge checks, the own set-up target, and quiet stands, where there is anything of them."""
    reader, student = about.chosen.reader, about.chosen.student
    nudges = observed.nudge_sentences(reader, student)
    against = about.body.objections(nudge_check("closed")) if nudges else []
    if against:
        said = listed([safety.objection_words(one) for one in against])
        nudges += (_("With eyes closed it is ruled out now: {against}.").format(against=said),)
    falls = safety.falls_sentence(about.body)
    stands = observed.stand_sentences(reader, student)
    text = (*([falls] if falls else []), *nudges, *observed.setup_sentences(reader, student), *stands)
    return Part(_("Balance"), text) if text else None


def seen_and_felt(chosen: StudentSeason) -> Part | None:
    """What no plate measures, seen by eye lately, and how the player's feeling agrees with the plates."""
    text = (*observed.eye_sentences(chosen), *observed.felt_sentences(chosen)) if chosen.season else ()
    return Part(_("Seen and felt"), text) if text else None


def picture(about: Lesson, aim: str | None) -> Picture | None:
    """The season line of what is worked on."""
    chosen = about.chosen
    if aim is None or not chosen.season:
        return None
    if aim not in chosen.measures:
        own = fault_season(chosen, aim)
        target = _("The pale strip is the target: under one swing in five.")
        if own is None:
            return None
        key = joined(target, marks_key(own.line))
        return own.picture(rate_finding(chosen, aim), key, narrow=about.narrow)
    found = measure_season(chosen, chosen.measures[aim])
    if found is None:
        return None
    measure = found.line.measure
    finding = _("{measure}: {value} at the last session, {place}").format(
        measure=measure.label,
        value=measure.say(found.last),
        place=sentences.band_place(found.last, *found.line.band),
    )
    return found.picture(finding, joined(found.sentence(), marks_key(found.line)), narrow=about.narrow)
