"""The swing view of a student's page: a session or one swing, another laid over it, and the film beside."""

from typing import Any

import polars as pl
import streamlit as st

from dashboard import films, layout
from dashboard.charts import heel_lanes, load_curve
from dashboard.pages.student import courses
from dashboard.pages.student.courses import Courses, Take
from dashboard.queries import season, sessions
from dashboard.text.numbers import count, on
from warehouse.access import Reader
from warehouse.errors import UnderfootError

ALL, NOTHING = "all", "nothing"


def show(reader: Reader, person: dict[str, Any], family: str, bands: dict[str, season.Band]) -> None:
    """The swings of one session, drawn, with its films; then the films of sessions that have no course."""
    st.header("The swings of one session", anchor=False)
    found = sessions.plate_sessions(reader, person["student"], family)
    if found.is_empty():
        layout.say("No session of these clubs was measured on plates, so there is no course to draw.")
    else:
        _session(reader, found, family, bands)
    films.of_others(reader, person["student"], family, found["session"].to_list())


def _session(reader: Reader, found: pl.DataFrame, family: str, bands: dict[str, season.Band]) -> None:
    """One session's course, where it can be drawn, and its films, which stand without it."""
    this, over, names = _chosen(reader, found, family)
    try:
        drawn = courses.courses(reader, this, over, family)
    except UnderfootError as error:
        layout.say(str(error))
    else:
        if drawn is None:
            layout.say("Nothing chosen here has its takeaway, top and impact, so its course can't be drawn.")
        else:
            _load(drawn, bands, names, one=this.swing_no is not None)
            _heels(drawn, names)
    films.beside(reader, this, family)


def _chosen(reader: Reader, found: pl.DataFrame, family: str) -> tuple[Take, Take | None, tuple[str, str]]:
    """What is drawn and what is laid over it, with what each is called."""
    days = {row["session"]: row for row in reversed(list(found.iter_rows(named=True)))}
    names = {code: f"{on(row['day'])}, {count(row['swings'], 'swing')}" for code, row in days.items()}
    first = found["session"][0]
    one, two = st.columns(2)
    with one:
        session = layout.choose("Session", names, "session")
        swing = _swing(reader, session, family, "Swings", "swing")
    others = {NOTHING: "Nothing", **names}
    with two:
        over = layout.choose("Laid over it", others, "over", default=first if first != session else NOTHING)
        if over == NOTHING:
            laid = None
        else:
            laid = Take(over, _swing(reader, over, family, "Its swings", "over-swing"))
    this = Take(session, swing)
    called = _called(this, days), _called(laid, days) if laid else ""
    return this, laid, called


def _swing(reader: Reader, session: str, family: str, label: str, name: str) -> int | None:
    """One swing of a session, or all of them."""
    found = sessions.swing_numbers(reader, session, family)
    chosen = layout.choose(label, {ALL: "All, as their mean", **{str(n): f"Swing {n}" for n in found}}, name)
    return None if chosen == ALL else int(chosen)


def _called(take: Take, days: dict[str, dict[str, Any]]) -> str:
    day = on(days[take.session]["day"])
    return day if take.swing_no is None else f"{day}, swing {take.swing_no}"


def _load(drawn: Courses, bands: dict[str, season.Band], names: tuple[str, str], *, one: bool) -> None:
    course = load_curve.picture(
        drawn.load,
        courses.posts(bands, drawn.events),
        drawn.events,
        load_curve.finding(drawn.load, drawn.events, names),
        narrow=layout.narrow(),
        names=names,
        times=drawn.times,
    )
    layout.picture(
        course,
        load_curve.words(drawn.load, drawn.events, names),
        load_curve.table(drawn.load, drawn.events, names),
    )
    what = (
        "One swing."
        if one
        else f"Mean of {count(drawn.swings, 'swing')}; the blue shade is one standard deviation either way."
    )
    layout.aside(f"{what} The pale posts are the bands. Values stand at the pointer, and in the table.")


def _heels(drawn: Courses, names: tuple[str, str]) -> None:
    if drawn.lanes.is_empty():
        layout.say("Neither a heel load nor where each foot's load sits was measured in this session.")
        return
    lanes = heel_lanes.picture(
        drawn.lanes,
        drawn.events,
        heel_lanes.finding(drawn.lanes, drawn.events, names),
        narrow=layout.narrow(),
        names=names,
        times=drawn.times,
    )
    said = heel_lanes.words(drawn.lanes, drawn.events, estimated=drawn.estimated)
    layout.picture(lanes, said, heel_lanes.table(drawn.lanes, drawn.events))
    if drawn.estimated:
        layout.aside(
            "Heel loads are estimated from where each foot's load sits; this plate does not measure them."
        )
