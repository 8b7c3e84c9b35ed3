"""Coaches: the gain of each coach's students as a funnel, and what it can't tell."""

import polars as pl
import streamlit as st

from dashboard import layout
from dashboard.charts import coach_funnel
from dashboard.charts.coach_funnel import OTHER
from dashboard.pages.drills.content import CANNOT_TELL, FEWEST_STUDENTS, FUNNEL_HOW
from dashboard.queries import trust
from dashboard.text.numbers import count, listed
from warehouse.access import Reader


def show(reader: Reader) -> None:
    """The page."""
    st.title("Coaches", anchor=False)
    st.write(f"**{CANNOT_TELL}**")
    seasons = trust.coach_seasons(reader)
    if not seasons:
        layout.empty(
            "No coach's gain has been worked out yet.",
            "It takes a season of sessions by students whose coach coaching.csv names; then run: underfoot "
            "build",
        )
    when = layout.choose("Season", {name: name for name in seasons}, "season")
    gains = trust.coach_gains(reader, when).with_columns(
        own=pl.col("coach").eq_missing(pl.lit(reader.viewer.person)),
        name=pl.col("name").fill_null(OTHER),
    )
    if reader.viewer.role == "head_coach":
        gains = gains.with_columns(own=pl.lit(value=True))
    shown = gains.filter(pl.col("shown") & pl.col("raw").is_not_null() & (pl.col("raw_se") > 0))
    if shown.is_empty():
        layout.say(
            f"No coach has {FEWEST_STUDENTS} students measured often enough in {when}, so nothing is drawn. "
            "More sessions will bring it."
        )
    else:
        picture = coach_funnel.picture(shown, coach_funnel.finding(shown), narrow=layout.narrow())
        layout.picture(picture, coach_funnel.words(shown), coach_funnel.table(shown))
        layout.aside(FUNNEL_HOW)
    _too_few(reader, gains.filter(~pl.col("shown")))


def _too_few(reader: Reader, rest: pl.DataFrame) -> None:
    """Coaches of under eight students: by name to the head coach, else by their number."""
    if rest.is_empty():
        return
    if reader.viewer.role == "head_coach":
        said = [f"{row['name']} ({row['n_students']})" for row in rest.iter_rows(named=True)]
        layout.aside(f"Too few students to be shown, under {FEWEST_STUDENTS}: {listed(said)}.")
        return
    own = rest.filter(pl.col("coach").eq_missing(pl.lit(reader.viewer.person)))
    if len(own):
        n = count(own["n_students"][0], "student")
        layout.say(f"You have {n} measured; from {FEWEST_STUDENTS} on your own dot is drawn.")
    others = len(rest) - len(own)
    if others:
        many = count(others, "other coach has", "other coaches have")
        layout.aside(f"{many} too few students to be shown.")
