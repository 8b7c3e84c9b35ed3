"""Students: compare them on a measure or a fault over the season, side by side on one scale, never ranked."""

import polars as pl
import streamlit as st

from dashboard import frame, layout
from dashboard.charts import small_multiples
from dashboard.queries import people, season, sessions
from dashboard.text import sentences
from dashboard.text.cautions import BANDS_ARE_CUSTOM
from dashboard.text.labels import AGES, FAMILIES, SHAPES, label
from dashboard.text.numbers import NBSP, Measure, count, listed
from warehouse.access import Reader
from warehouse.vocabulary import AGE_GROUPS, age, age_group

ALL = "all"


def show(reader: Reader) -> None:
    """The page."""
    st.title("Students", anchor=False)
    everyone = people.students(reader)
    seasons = people.seasons(reader)
    if everyone.is_empty():
        layout.empty(
            "There is no student you may see yet.", "Drop people.csv and coaching.csv on Deliveries."
        )
    if not seasons:
        layout.empty("No session is measured in a season yet.", "Drop a delivery on the Deliveries page.")
    subject, chosen, when, family = _what(reader, seasons)
    shown = _who(reader, everyone)
    is_fault = subject in people.faults(reader)
    values, labels = _values(reader, subject, family, when, is_fault=is_fault)
    values = values.join(labels, on="student", how="left")
    values = shown.select("student", "name").join(values, on="student").drop("student")
    values = values.rename({"name": "student"})
    if values.is_empty():
        layout.empty(
            f"Nobody chosen here has {chosen.label} measured with {FAMILIES[family].lower()} in {when}.",
            "Choose another club family, season or measure.",
        )
    band = (None, None) if is_fault else season.bands(reader, family).get(subject, (None, None))
    _draw(values, band, chosen, _finding(values, chosen, family))
    layout.aside(
        f"{chosen.explain} Students stand in the order of their names. Hollow points rest on fewer than five "
        f"swings. Bars hold a session's true value nine times in ten. {BANDS_ARE_CUSTOM}"
    )
    _unmeasured(shown, values)
    counts, flags = sessions.left_out(reader, None, when)
    told = sentences.left_out(counts, flags.rows())
    if told is not None:
        layout.aside(told)
    _open_one(shown)


def _draw(
    values: pl.DataFrame, band: tuple[float | None, float | None], chosen: Measure, finding: str
) -> None:
    narrow = layout.narrow()
    first, *below = small_multiples.screens(values, narrow=narrow)
    layout.picture(
        small_multiples.picture(values, band, chosen, finding, narrow=narrow),
        small_multiples.words(values, chosen),
        small_multiples.table(values, chosen),
        stretch=False,
        pieces=[
            small_multiples.picture(values, band, chosen, finding, narrow=narrow, only=first),
            *(small_multiples.picture(values, band, chosen, "", narrow=narrow, only=rest) for rest in below),
        ],
    )


def _what(reader: Reader, seasons: list[str]) -> tuple[str, Measure, str, str]:
    measures, faults = people.measures(reader), people.faults(reader)
    core = people.core_measures(reader)
    options = {code: measures[code].label for code in [*core, *(m for m in measures if m not in core)]}
    options |= {code: f"Fault: {name}" for code, name in faults.items()}
    if not options:
        layout.empty("The rosters of measures and faults are not built yet.", "Run: underfoot build")
    left, middle, right = st.columns([2, 1, 1])
    with left:
        subject = layout.choose("Compare on", options, "on")
    with middle:
        when = layout.choose("Season", {name: name for name in seasons}, "season")
    with right:
        families = people.families(reader, when) or ["iron"]
        family = layout.choose("Clubs", {f: FAMILIES.get(f, f) for f in families}, "clubs")
    if subject in faults:
        about = people.fault_about(reader, subject)
        looks = f"{about['looks_like']} Share of the judged swings that show it."
        return subject, Measure(subject, about["name"], "% of swings", looks, "down", 0), when, family
    return subject, measures[subject], when, family


def _who(reader: Reader, everyone: pl.DataFrame) -> pl.DataFrame:
    """Those that the coach, level and age filters leave; a coach has only their own students anyway."""
    banded = everyone.with_columns(
        pl.col("born").map_elements(
            lambda born: age_group(age(born, reader.today)), return_dtype=pl.String
        ).alias("age")
    )  # fmt: skip
    coached = everyone.drop_nulls("coach").select("coach", "coach_name").unique().sort("coach_name")
    levels = everyone["level"].drop_nulls().unique().sort()
    ages = [group for group in AGE_GROUPS if group in set(banded["age"])]
    filters = {
        "coach": ("Coach", {ALL: "All coaches", **dict(coached.rows())}),
        "level": ("Level", {ALL: "All levels", **{name: name.capitalize() for name in levels}}),
        "age": ("Age", {ALL: "All ages", **{group: AGES[group] for group in ages}}),
    }
    if reader.viewer.role != "head_coach":
        del filters["coach"]
    shown = banded
    for place, (column, (title, options)) in zip(st.columns(len(filters)), filters.items(), strict=True):
        with place:
            chosen = layout.choose(title, options, column)
        shown = shown if chosen == ALL else shown.filter(pl.col(column) == chosen)
    if shown.is_empty():
        layout.empty("No student fits all of these.", "Choose fewer of coach, level and age.")
    return shown


def _values(
    reader: Reader, subject: str, family: str, when: str, *, is_fault: bool
) -> tuple[pl.DataFrame, pl.DataFrame]:
    if is_fault:
        return season.session_rates(reader, subject, family, when), season.fault_labels(
            reader, subject, family, when
        )
    labels = season.trends(reader, subject, family, when).select("student", "label")
    return season.session_means(reader, subject, family, when), labels


def _finding(values: pl.DataFrame, measure: Measure, family: str) -> str:
    people_shown = values.select("student", "label").unique()
    start = f"{measure.label}, {FAMILIES[family].lower()}"
    found = dict(people_shown.drop_nulls("label").group_by("label").len().rows())
    said = [
        f"{SHAPES[code]} {n}{NBSP}{label(code).split(' (')[0].lower()}"
        for code, n in sorted(found.items(), key=lambda pair: label(pair[0]))
        if code in SHAPES
    ]
    if not said:
        return f"{start}: {count(len(people_shown), 'student')} on one scale; no change is clear yet"
    return f"{start}: of {count(len(people_shown), 'student')}, {listed(said)}"


def _unmeasured(shown: pl.DataFrame, values: pl.DataFrame) -> None:
    missing = [name for name in shown["name"] if name not in set(values["student"])]
    if missing:
        layout.aside(f"Not measured on this with these clubs: {listed(missing)}.")


def _open_one(shown: pl.DataFrame) -> None:
    names = dict(shown.select("student", "name").rows())
    left, right = st.columns([2, 2], vertical_alignment="bottom")
    with left:
        chosen = st.selectbox(
            "One student", list(names), format_func=lambda code: names[code], key="open-one"
        )
    with right:
        if chosen is not None:
            frame.link("student", f"Open {names[chosen]}'s page →", student=chosen)
