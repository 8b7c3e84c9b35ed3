"""The picture behind a sentence: one student's season line, or their fault ladder."""

from dataclasses import dataclass
from typing import Any

import altair as alt
import polars as pl

from dashboard.charts import fault_ladder, season_line
from dashboard.queries import people, season, sessions
from dashboard.text.labels import label, marked
from dashboard.text.numbers import Measure, listed, share
from dashboard.text.sentences import FEW_SESSIONS, band_place
from warehouse.access import Reader
from warehouse.vocabulary import BETTER, NOT_CLEAR, TOO_FEW, WORSE

LINE_KEY = (
    "Each dot is one session. Bars and the line's shade hold the true value nine times in ten; the pale "
    "strip is the band; a hollow dot rests on fewer than five swings."
)
LADDER_KEY = (
    "Filled: the last 28 days, or the last 3 sessions. Hollow: before. The strips hold the true rate nine "
    "times in ten."
)


@dataclass(frozen=True)
class Picture:
    """A chart, what it says, its rows, and how to read its marks."""

    chart: alt.TopLevelMixin
    words: str
    rows: pl.DataFrame
    key: str = ""


def evidence(
    reader: Reader, student: str, subject: str, family: str, when: str, *, narrow: bool
) -> Picture | None:
    """The picture of a measure or a fault; null when nothing was measured of it."""
    measure = people.measures(reader).get(subject)
    if measure is not None:
        return _line(reader, student, measure, family, when, narrow=narrow)
    rates = season.fault_rates(reader, student, family, when)
    if rates.is_empty():
        return None
    chart = fault_ladder.picture(rates, fault_finding(rates), narrow=narrow)
    return Picture(chart, fault_ladder.words(rates), fault_ladder.table(rates), LADDER_KEY)


def _line(
    reader: Reader, student: str, measure: Measure, family: str, when: str, *, narrow: bool
) -> Picture | None:
    means = season.session_means(reader, measure.metric, family, when, student)
    if means.is_empty():
        return None
    fit = season.trends(reader, measure.metric, family, when, student)
    style = season.style(reader, student, family, when)
    bands = season.bands(reader, family, people.student(reader, student), style)
    band = bands.get(measure.metric, (None, None))
    chart = season_line.picture(
        means,
        season.trend_line(reader, student, measure.metric, family, when),
        band,
        sessions.ticks(reader, student, when),
        sessions.device_changes(reader, student, when),
        measure,
        season_finding(measure, means, fit.row(0, named=True) if len(fit) else None, band),
        narrow=narrow,
    )
    words, rows = season_line.words(means, band, measure), season_line.table(means, measure)
    return Picture(chart, words, rows, LINE_KEY)


def season_finding(
    measure: Measure, means: pl.DataFrame, trend: dict[str, Any] | None, band: season.Band
) -> str:
    """The title of a season line: from where to where, inside the band or not, and the season's label."""
    place = band_place(means["mean"][-1], *band)
    if len(means) < FEW_SESSIONS or (trend and trend["label"] == TOO_FEW):
        return f"{measure.label}: {measure.say(means['mean'][-1])}, {place}. {label(TOO_FEW)}"
    if trend is None or trend["label"] == NOT_CLEAR:
        last = f"{measure.say(means['mean'][-1])} at the last session"
        return f"{measure.label}: {last}, {place}. {label(NOT_CLEAR)}"
    moved = f"{measure.say(trend['start_value'])} → {measure.say(trend['value_now'])}"
    return f"{measure.label}: {moved}, {band_place(trend['value_now'], *band)}. {marked(trend['label'])}"


def fault_finding(rates: pl.DataFrame) -> str:
    """The title of a fault ladder: what got better or worse, else what shows most."""
    now = rates.filter(pl.col("span") == "now")
    moved = {code: now.filter(pl.col("label") == code)["fault"].to_list() for code in (BETTER, WORSE)}
    said = [f"{marked(code)}: {listed(names)}" for code, names in moved.items() if names]
    if said:
        return ". ".join(said)
    if now.is_empty():
        return "Faults before; none measured in the last 28 days"
    most = now.sort("rate").row(-1, named=True)
    if most["rate"] < 0.1:
        return "No fault in more than one swing in ten lately"
    return f"Most often lately: {most['fault']}, {share(most['rate'])} of swings. No change is clear yet"
