"""Student: one student's season, faults, a session's swings, what was done and noted."""

from typing import Any

import polars as pl
import streamlit as st

from dashboard import evidence, films, frame, layout
from dashboard.pages.student import ball, swings
from dashboard.queries import people, season, sessions
from dashboard.text import sentences
from dashboard.text.cautions import BANDS_ARE_CUSTOM
from dashboard.text.labels import FAMILIES
from dashboard.text.numbers import count, listed
from warehouse.access import Reader
from warehouse.vocabulary import age

KINDS = {
    "saw": "Saw", "drill": "Set a drill", "steadiness": "Nudge check", "plan": "Plan",
    "discomfort": "Discomfort", "discomfort_over": "Discomfort over", "talked": "Talked about",
    "practice": "Home practice",
    "target": "Own band",
}  # fmt: skip
STYLES = {
    "front_foot": "stays on the front foot through impact",
    "reverse": "load falls back through impact",
    "mixed": "between the two ways through impact",
}


def show(reader: Reader) -> None:
    """The page."""
    person = layout.student(reader, "Student")
    st.title(person["name"], anchor=False)
    layout.aside(_about(reader, person))
    layout.discomfort(reader, person["student"])
    with st.container(horizontal=True):
        frame.link("lesson", "Lesson sheet →", student=person["student"])
        frame.link("notes", "Write a note →", student=person["student"])
    measured = [s for s in people.seasons(reader) if people.families(reader, s, person["student"])]
    if not measured:
        _without_clubs(reader, person)
        return
    when, family = _which(reader, person, measured)
    style = season.style(reader, person["student"], family, when)
    bands = season.bands(reader, family, person, style)
    _season(reader, person, when, family)
    _faults(reader, person, when, family)
    swings.show(reader, person, family, bands)
    ball.show(reader, person["student"], family, when)
    _left_out(reader, person, when)
    _done(reader, person, when)
    n = season.style_swings(reader, person["student"], family, when)
    styled = (
        f" Style by impact with {FAMILIES[family].lower()}: {STYLES[style]}, from {count(n, 'swing')}; "
        "shown, never a fault."
        if style
        else ""
    )
    layout.aside(f"{BANDS_ARE_CUSTOM}{styled}")


def _about(reader: Reader, person: dict[str, Any]) -> str:
    parts = [person["level"], f"{person['handed']}-handed" if person["handed"] else None]
    years = age(person["born"], reader.today)
    if years is not None and reader.is_minor(person["student"]):
        parts.append(f"{years} years old")
    if person["coach_name"]:
        parts.append(f"coached by {person['coach_name']}")
    parts.append(count(person["sessions"], "session"))
    return " · ".join(part for part in parts if part)


def _without_clubs(reader: Reader, person: dict[str, Any]) -> None:
    """What there is of a student who has only films of clubs not named, or only notes, or nothing yet."""
    layout.say(
        f"{person['name']} has no measured swing in a season yet. Drop a session on the Deliveries page; it "
        "shows here once it has loaded."
    )
    films.of_others(reader, person["student"], "", [])
    _done(reader, person, None, every=True)


def _which(reader: Reader, person: dict[str, Any], measured: list[str]) -> tuple[str, str]:
    left, right = st.columns(2)
    with left:
        when = layout.choose("Season", {name: name for name in measured}, "season")
    with right:
        families = people.families(reader, when, person["student"])
        family = layout.choose("Clubs", {f: FAMILIES.get(f, f) for f in families}, "clubs")
    return when, family


def _season(reader: Reader, person: dict[str, Any], when: str, family: str) -> None:
    st.header("The season")
    measures, core = people.measures(reader), people.core_measures(reader)
    options = {code: measures[code].label for code in [*core, *(m for m in measures if m not in core)]}
    if not options:
        layout.say("The list of measures is not built yet; run: underfoot build")
        return
    measure = measures[layout.choose("Measure", options, "measure")]
    found = evidence.measure_season(reader, person, measure, family, when)
    if found is None:
        layout.say(
            f"{measure.label} is not measured with {FAMILIES[family].lower()} in {when}. {measure.explain} "
            "Choose another measure, or other clubs."
        )
        return
    layout.show(found.picture(narrow=layout.narrow()))
    st.write(found.sentence())
    layout.aside(
        f"{measure.explain} Bars and the line's shade hold the true value nine times in ten. A hollow point "
        "rests on fewer than five swings."
    )


def _faults(reader: Reader, person: dict[str, Any], when: str, family: str) -> None:
    st.header("Faults, in the order of the swing")
    rates = season.fault_rates(reader, person["student"], family, when)
    if rates.is_empty():
        layout.say(
            "No fault rate yet: it needs judged swings of this club family. More sessions will bring it."
        )
        return
    layout.show(evidence.ladder(rates, narrow=layout.narrow()))
    judged = set(rates["fault"])
    others = [name for name in people.faults(reader).values() if name not in judged]
    text = (
        "Filled: the last 28 days, or the last 3 sessions. Hollow: before. The strips hold the true rate "
        "nine times in ten."
    )
    layout.aside(f"{text} Not judged with these clubs: {listed(others)}." if others else text)


def _left_out(reader: Reader, person: dict[str, Any], when: str) -> None:
    counts, flags = sessions.left_out(reader, person["student"], when)
    told = sentences.left_out(counts, flags.rows())
    if told is not None:
        layout.aside(told)


def _done(reader: Reader, person: dict[str, Any], when: str | None, *, every: bool = False) -> None:
    st.header("Sessions, drills and notes")
    visits = sessions.sessions(reader, person["student"], when, every=every)
    if not visits.is_empty():
        layout.table(
            visits.select(
                pl.col("day").alias("Day"), pl.col("coach_name").alias("Coach"),
                pl.col("device").alias("Device"),
                pl.col("swings").alias("Swings"), pl.col("usable").alias("Usable"),
            ),
        )  # fmt: skip
    notes = sessions.notes(reader, person["student"])
    if notes.is_empty():
        layout.say("No note yet. Notes come with a session's notes.csv, or on their own.")
        return
    layout.table(
        notes.select(
            pl.col("day").alias("Day"), pl.col("author").alias("Who"),
            pl.col("kind").replace(KINDS).alias("Note"), pl.col("about").alias("About"),
            pl.col("text").alias("Words"), pl.col("shared").alias("Student sees it"),
        ),
    )  # fmt: skip
