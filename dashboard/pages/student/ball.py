"""What goes together with the ball: a part of a student's page, where ball results were loaded."""

import streamlit as st

from dashboard import layout
from dashboard.charts import ball_links
from dashboard.queries import season
from dashboard.text.labels import FAMILIES
from dashboard.text.numbers import count
from warehouse.access import Reader

WANTED = 6  # sessions, as the model asks for
KEY = (
    "Each dot: how the ball changed, session against session, with a usual rise of the measure; bars hold "
    "the true change nine times in ten; filled dots stand after allowing for how many measures were looked "
    "at. Sessions of this student alone. It says what goes together and not what makes the ball go: a third "
    "thing may move both."
)


def show(reader: Reader, student: str, family: str, when: str) -> None:
    """The picture of one outcome; one sentence while there are too few sessions; nothing without the ball."""
    found = {name: season.ball_links(reader, student, family, when, name) for name in ball_links.OUTCOMES}
    found = {name: rows for name, rows in found.items() if not rows.is_empty()}
    if not found:
        return
    st.header("With the ball")
    known = {name: rows for name, rows in found.items() if rows["per_sd"].count()}
    if not known:
        most = max(int(rows["n_sessions"].max() or 0) for rows in found.values())  # type: ignore[arg-type]
        layout.say(
            f"Ball results with {FAMILIES[family].lower()} stand in {count(most, 'session')}; from {WANTED} "
            "sessions with five full swings each it shows what goes together with them."
        )
        return
    names = {name: ball_links.OUTCOMES[name] for name in known}
    outcome = layout.choose("Of the ball", names, "ball") if len(names) > 1 else next(iter(names))
    rows = known[outcome]
    chart = ball_links.picture(rows, outcome, ball_links.finding(rows, outcome), narrow=layout.narrow())
    layout.picture(chart, ball_links.words(rows, outcome), ball_links.table(rows), place="ball")
    layout.aside(KEY)
