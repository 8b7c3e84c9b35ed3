"""The parts about what is worked on: the aim, what was set for home, and a young player's load."""

from datetime import timedelta
from typing import Any

import polars as pl

from dashboard.pages.lesson import practice
from dashboard.pages.lesson.about import OFTEN, About, Part
from dashboard.queries import lesson, season
from dashboard.text import sentences
from dashboard.text.cautions import GROWING
from dashboard.text.numbers import Measure, listed, number, on
from warehouse.access import Reader

MOST_PLAN_LETTERS = 200
WEEKS_BACK = 4


def aim(about: About, given: pl.DataFrame) -> str | None:
    """The latest drill's aim of this season; without a drill, the fault that shows most often now."""
    drills = given.filter((pl.col("kind") == "drill") & pl.col("aim").is_not_null())
    if not drills.is_empty():
        return str(drills["aim"][0])
    now = season.fault_rates(about.reader, about.student, about.family, about.when).filter(
        (pl.col("span") == "now") & (pl.col("rate") >= OFTEN)
    )
    return None if now.is_empty() else str(now.sort("rate", descending=True)["code"][0])


def works_on(about: About, given: pl.DataFrame, aim: str | None) -> Part:
    """What is being worked on: the aim, the latest plan, and bands of the student's own."""
    said = []
    drills = given.filter(pl.col("kind") == "drill")
    if aim is None:
        seen = "no fault shows often" if about.when else "no swing is measured in a season"
        said.append(f"No drill is set and {seen}: nothing is being worked on yet.")
    elif drills.is_empty():
        said.append(f"{about.named(aim)}: the fault that shows most often lately. No drill is set yet.")
    else:
        latest = drills.row(0, named=True)
        said.append(
            f"{about.named(aim)}, by the drill {latest['name']}, last set on {on(latest['day'])}."
            f"{_stop(about, latest)}"
        )
    plan = lesson.last_plan(about.reader, about.student)
    if plan is not None:
        text = plan["text"]
        cut = text if len(text) <= MOST_PLAN_LETTERS else text[: MOST_PLAN_LETTERS - 1] + "…"
        said.append(f"Plan of {on(plan['day'])} ({plan['author']}): {cut}")
    for row in lesson.own_bands(about.reader, about.student).iter_rows(named=True):
        if row["metric"] in about.measures:
            measure = about.measures[row["metric"]]
            said.append(f"Own band since {on(row['day'])}: {measure.label}, {_span(measure, row)}.")
    return Part("Works on", tuple(said))


def _span(measure: Measure, row: dict[str, Any]) -> str:
    if row["lo"] is None:
        return f"up to {measure.say(row['hi'])}"
    return (
        f"from {measure.say(row['lo'])}"
        if row["hi"] is None
        else measure.say_both(row["lo"], row["hi"], " to ")
    )


def home(about: About, given: pl.DataFrame) -> Part:
    """What was set for home last, and how much of it was done."""
    drills = _set_last(given)
    if drills.is_empty():
        return Part("Set for home", ("Nothing is written down as set for home.",))
    title = "Set for home" if drills["place"][0] == "home" else "Set last time"
    since = drills["day"][0]
    said = [
        f"{row['name']}: {sentences.dose(row)}, on {on(row['day'])}.{_stop(about, row)}"
        for row in drills.iter_rows(named=True)
    ]
    done = given.filter((pl.col("kind") == "practice") & (pl.col("day") >= since))
    minutes = done.filter(pl.col("unit") == "minutes")["dose"].sum()
    return Part(title, (*said, sentences.practised(done["day"].n_unique(), minutes or 0.0, since)))


def _set_last(given: pl.DataFrame) -> pl.DataFrame:
    """The drills of the last day on which any was set for home; set at all, where none was for home."""
    drills = given.filter(pl.col("kind") == "drill")
    at_home = drills.filter(pl.col("place") == "home")
    found = drills if at_home.is_empty() else at_home
    return found if found.is_empty() else found.filter(pl.col("day") == found["day"][0])


def named_drills(given: pl.DataFrame) -> list[dict[str, Any]]:
    """Every drill that these parts name: the latest, those set for home, and what was done last."""
    latest = given.filter(pl.col("kind") == "drill").head(1)
    return pl.concat([given.head(3), latest, _set_last(given)]).to_dicts()


def _stop(about: About, drill: dict[str, Any]) -> str:
    """A drill that was set and may load what hurts: said, never passed over."""
    loads = about.loads(drill)
    return f" May load the {listed(loads)}: stop it until that is over." if loads else ""


def young(reader: Reader, person: dict[str, Any]) -> Part:
    """Practice minutes and rest days of a young player."""
    today = lesson.as_of(reader, person["student"])
    start = today - timedelta(weeks=WEEKS_BACK) + timedelta(days=1)
    days = lesson.active_days(reader, person["student"], start, today)
    week = days.filter(pl.col("day") > today - timedelta(days=7))
    rest = 7 - len(week)
    weekly = days["minutes"].sum() / WEEKS_BACK
    return Part("Young player", (
        practice.week(reader, person["student"]),
        (
            f"In the {WEEKS_BACK} weeks to {on(today)}: {number(weekly, 'minutes')} of timed practice a week "
            f"on average. Days without practice or lesson in the last seven: {rest}."
        ),
        GROWING,
    ))  # fmt: skip
