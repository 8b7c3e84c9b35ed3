"""What stands on a student's progress page, whether it is shown on screen or written to paper.

Only what the student may see: shared notes and drills, their own numbers, nobody else's. At most three
pictures.
"""

from dataclasses import dataclass, field, replace
from typing import Any

import polars as pl

from dashboard.charts import practice_weeks, ten_swings
from dashboard.charts.picture import Picture
from dashboard.evidence import measure_season
from dashboard.pages.lesson.practice import week as practice_week
from dashboard.queries import people, season, sessions
from dashboard.text.cautions import (
    BANDS_ARE_CUSTOM,
    CLEAR_SPACE,
    DISCOMFORT,
    EYES_CLOSED,
    GROWING,
    IF_IT_HURTS,
    MINORS,
)
from dashboard.text.labels import FAMILIES, NOT_CLEAR, PLAINLY, TOO_FEW, label
from dashboard.text.numbers import Measure, count, in_ten, on
from dashboard.text.sentences import FEW_SESSIONS, POINT
from warehouse.access import Reader
from warehouse.vocabulary import age

OFTEN = 0.2  # a fault in at least one swing of five is worth working on
MOST_PICTURES = 3
TEN = 10  # swings; fewer are told as they are, not as so many of ten


@dataclass(frozen=True)
class Focus:
    """The one thing to work on: what it is, how it stands, and how to practise it."""

    title: str
    sentences: tuple[str, ...]
    drill: str | None = None
    how: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True)
class Progress:
    """The page, ready to be laid out."""

    name: str
    opening: str
    discomfort: tuple[str, ...]
    focus: Focus | None
    pictures: tuple[Picture, ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...] = field(default=())


def progress(reader: Reader, person: dict[str, Any], *, narrow: bool = False) -> Progress:
    """Put the page of one student together; `person` is their row of `people.students`."""
    student = person["student"]
    hurting = sessions.open_discomfort(reader, student)
    doses = sessions.shared_drills(reader, student)
    when = next((s for s in people.seasons(reader) if people.families(reader, s, student)), None)
    family = people.families(reader, when, student)[0] if when else "iron"
    # A drill may be set before anything is measured in a season: no season then, and no numbers beside it.
    focus, pictures = _focus(
        reader, person, when or "", family, doses, hurts=not hurting.is_empty(), narrow=narrow
    )
    practice = doses.filter(pl.col("kind") == "practice")
    if not practice.is_empty():
        pictures.append(_practice(practice, narrow=narrow))
    return Progress(
        name=person["name"],
        opening=_opening(person, practice),
        discomfort=tuple(
            f"You told us about your {row['area'] or 'body'} on {on(row['day'])}. {DISCOMFORT}"
            for row in hurting.iter_rows(named=True)
        ),
        focus=focus,
        pictures=tuple(pictures[:MOST_PICTURES]),
        notes=_notes(reader, student),
        cautions=_cautions(reader, student),
    )


def _opening(person: dict[str, Any], practice: pl.DataFrame) -> str:
    n = int(person["sessions"])
    text = f"You have been measured in {count(n, 'session')}, last on {on(person['last_day'])}."
    if n == 0:
        text = "You have not been measured yet. After your first session this page shows what we saw."
    days = practice["day"].n_unique()
    if days:
        text += f" You practised at home on {count(days, 'day')}. Well worked."
    return f"{text} {label(TOO_FEW)} to tell how things move." if 0 < n < FEW_SESSIONS else text


def _focus(
    reader: Reader,
    person: dict[str, Any],
    when: str,
    family: str,
    doses: pl.DataFrame,
    *,
    hurts: bool,
    narrow: bool,
) -> tuple[Focus | None, list[Picture]]:
    """The latest drill's aim; without a drill, the fault that shows most often now."""
    rates = season.fault_rates(reader, person["student"], family, when)
    now = {row["code"]: row for row in rates.filter(pl.col("span") == "now").iter_rows(named=True)}
    before = {row["code"]: row for row in rates.filter(pl.col("span") == "before").iter_rows(named=True)}
    given = doses.filter(pl.col("kind") == "drill").head(1)
    drill = None if given.is_empty() else given.row(0, named=True)
    aim = drill["aim"] if drill else None
    if aim is None:
        often = sorted((row for row in now.values() if row["rate"] >= OFTEN), key=lambda row: -row["rate"])
        aim = often[0]["code"] if often else None
    if aim is None:
        return None, []
    metrics, measures = people.fault_metrics(reader, aim), people.measures(reader)
    metric = aim if aim in measures else metrics[0] if metrics else None
    pictures: list[Picture] = []
    sentences: list[str] = []
    title = measures[aim].label if aim in measures else people.faults(reader).get(aim, aim)
    clean = people.fault_about(reader, aim).get("instead")
    if clean:
        title = f"The aim: {clean}"
    if aim in now:
        sentences += _often(clean, now[aim], before.get(aim))
        if now[aim]["usable"] >= TEN:
            pictures.append(_ten(clean, now[aim], before.get(aim), narrow=narrow))
    if metric in measures:
        line = _line(reader, person, measures[metric], when, family, narrow=narrow)
        pictures += [line] if line else []
        if aim in measures:
            sentences += _moved(reader, person, measures[metric], when, family)
        if line and measures[metric].unit == "points":
            sentences.append(POINT)
    if not sentences:
        clubs = f"lately with {FAMILIES[family].lower()}" if when else "yet"
        sentences = [f"Not measured {clubs}; a coming session will show it."]
    how, cautions = _how(reader, person, drill, hurts=hurts)
    name = drill["name"] if drill and how else None
    return Focus(title[:1].upper() + title[1:], tuple(sentences), name, how, cautions), pictures


def _often(clean: str | None, now: dict[str, Any], before: dict[str, Any] | None) -> list[str]:
    clean = clean or f"“{now['fault'].lower()}” does not show"
    swings = " swings" if now["usable"] >= TEN else ""
    text = f"In {_good(now)}{swings} lately, {clean}."
    if before is not None:
        text += f" Earlier in the season it was {_good(before)}."
    return [text, PLAINLY.get(now["label"], "")]


def _good(row: dict[str, Any]) -> str:
    """How many swings go well: of ten; of fewer than ten swings, of those there are."""
    if row["usable"] < TEN:
        return f"{row['usable'] - row['flagged']} of {count(row['usable'], 'swing')}"
    return in_ten(1 - row["rate"])


def _moved(reader: Reader, person: dict[str, Any], measure: Measure, when: str, family: str) -> list[str]:
    fit = season.trends(reader, measure.metric, family, when, person["student"])
    few = TOO_FEW if person["sessions"] < FEW_SESSIONS else NOT_CLEAR
    code = fit["label"][0] if len(fit) else few
    return [measure.explain, *_aim(reader, person, measure, when, family), PLAINLY[code]]


def _aim(reader: Reader, person: dict[str, Any], measure: Measure, when: str, family: str) -> list[str]:
    """The last session's value beside the aim, which is the band."""
    means = season.session_means(reader, measure.metric, family, when, person["student"])
    lo, hi = _band(reader, person, measure, when, family)
    if means.is_empty():
        return []
    text = f"At your last session: {measure.say(means['mean'][-1])}."
    if lo is not None and hi is not None:
        return [f"{text} The aim, the pale strip in the picture, is {measure.say_both(lo, hi, ' to ')}."]
    if lo is not None:
        return [f"{text} The aim, the pale strip in the picture, is {measure.say(lo)} or more."]
    if hi is not None:
        return [f"{text} The aim, the pale strip in the picture, is {measure.say(hi)} or less."]
    return [text]


def _band(reader: Reader, person: dict[str, Any], measure: Measure, when: str, family: str) -> season.Band:
    style = season.style(reader, person["student"], family, when)
    return season.bands(reader, family, person, style).get(measure.metric, (None, None))


def _ten(clean: str | None, now: dict[str, Any], before: dict[str, Any] | None, *, narrow: bool) -> Picture:
    rows = [(ten_swings.NOW, 1 - now["rate"])]
    if before is not None and before["usable"] >= TEN:
        rows.append((ten_swings.BEFORE, 1 - before["rate"]))
    frame = pl.DataFrame(rows, schema={"when": pl.String, "good": pl.Float64}, orient="row")
    clean = clean or f"swings without “{now['fault'].lower()}”"
    finding = f"{clean[:1].upper()}{clean[1:]}: {in_ten(1 - now['rate'])} swings lately"
    return Picture(
        ten_swings.picture(frame, finding, narrow=narrow), ten_swings.words(frame), ten_swings.table(frame)
    )


def _line(
    reader: Reader, person: dict[str, Any], measure: Measure, when: str, family: str, *, narrow: bool
) -> Picture | None:
    found = measure_season(reader, person, measure, family, when)
    if found is None:
        return None
    ticks = found.line.ticks.filter(pl.col("kind") != "lesson")
    own = replace(found, line=replace(found.line, ticks=ticks, changes=found.line.changes.clear()))
    finding = f"{measure.label}: {measure.say(found.last)} at your last session"
    return own.picture(finding, _key(found.line.band, found.line.line), narrow=narrow)


def _key(band: season.Band, fitted: pl.DataFrame) -> str:
    """What the marks of a season line are, for someone who has never seen one."""
    said = ["Each dot is one session; the bar through it shows how far it can be trusted."]
    if band != (None, None):
        said.append("The pale strip is the aim.")
    if not fitted.is_empty():
        said.append("The line runs through the season, and its shade shows how far it can be trusted.")
    return " ".join(said)


def _practice(practice: pl.DataFrame, *, narrow: bool) -> Picture:
    """The eight weeks up to the last practice, so that what was worked at is what is seen."""
    rows = practice_weeks.weeks(practice, practice.get_column("day").sort()[-1])
    said = practice_weeks.words(rows)
    days, last = int(rows["days"].sum()), practice["day"].max()
    finding = f"Home practice on {count(days, 'day')} in the {practice_weeks.WEEKS} weeks to {on(last)}"
    return Picture(practice_weeks.picture(rows, finding, narrow=narrow), said, practice_weeks.table(rows))


def _how(
    reader: Reader, person: dict[str, Any], drill: dict[str, Any] | None, *, hurts: bool
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """How to practise, with the drill's own cautions; no drill while something hurts or below its age."""
    if hurts:
        return (), ("While something hurts, no drill is suggested here. Talk to your coach first.",)
    if drill is None:
        return (), ("Ask your coach which drill fits before you practise this at home.",)
    years = age(person["born"], reader.today)
    if drill["min_age"] is not None and (years is None or years < drill["min_age"]):
        return (), (
            f"The last drill is for players from {drill['min_age']} years on; ask your coach for another.",
        )
    how = [drill["how"] or "Your coach shows you how."]
    if drill["dose"]:
        pace = f", at {drill['pace']} pace" if drill["pace"] else ""
        unit = "minutes" if drill["unit"] == "minutes" else "times"
        how.append(f"Set on {on(drill['day'])}: {drill['dose']:.0f} {unit}{pace}.")
    cautions = [drill["cautions"]] if drill["cautions"] else []
    if (
        "eyes closed" in f"{drill['how']} {drill['cautions']}".lower()
        or drill["aim"] == "unsteady_at_address"
    ):
        cautions.append(EYES_CLOSED)
    return tuple(how), tuple(cautions)


def _notes(reader: Reader, student: str) -> tuple[str, ...]:
    """The latest plans that the coach shares, in the coach's words."""
    found = sessions.notes(reader, student).filter(
        pl.col("shared") & (pl.col("kind") == "plan") & pl.col("text").is_not_null()
    )
    return tuple(
        f"{row['author']}, {on(row['day'])}: {row['text']}" for row in found.head(3).iter_rows(named=True)
    )


def _cautions(reader: Reader, student: str) -> tuple[str, ...]:
    said = [IF_IT_HURTS, CLEAR_SPACE]
    if reader.is_minor(student):
        said += [practice_week(reader, student), GROWING, MINORS]
        if reader.settings.consents_kept_elsewhere:
            said.append("Consents are kept elsewhere: look there before this page is shared by link.")
        elif not people.may_share(reader, student):
            said.append("No consent to share this page by link is on file: hand it over in person.")
    return (*said, BANDS_ARE_CUSTOM)
