"""The pictures of one student that several pages show: the season line of a measure, and the fault ladder."""

from dataclasses import dataclass
from typing import Any

import polars as pl

from dashboard.charts import fault_ladder, season_line
from dashboard.charts.season_line import SeasonLine
from dashboard.queries import season, sessions
from dashboard.section import Picture
from dashboard.student_season import StudentSeason
from dashboard.text.catalogue import _, mark
from dashboard.text.labels import label, marked
from dashboard.text.numbers import Measure, listed, share
from dashboard.text.sentences import FEW_SESSIONS, band_place, trend_sentence
from warehouse.vocabulary import BETTER, NOT_CLEAR, TOO_FEW, WORSE

LINE_KEY = mark(
    "Each dot is one session. Bars and the line's shade hold the true value nine times in ten; the pale "
    "strip is the band; a hollow dot rests on fewer than five swings."
)
LADDER_KEY = mark(
    "Filled: the last 28 days, or the last 3 sessions. Hollow: before. The strips hold the true rate nine "
    "times in ten."
)


@dataclass(frozen=True)
class MeasureSeason:
    """One measure through one student's season: what is drawn of it, and the fit where there is one."""

    line: SeasonLine
    trend: dict[str, Any] | None

    @property
    def last(self) -> float:
        """The last session's mean."""
        return float(self.line.sessions["mean"][-1])

    def picture(self, finding: str = "", key: str = "", *, narrow: bool = False) -> Picture:
        """The season line under `finding`, else under what the season's fit says."""
        line = self.line
        chart = season_line.picture(line, finding or self.finding(), narrow=narrow)
        return Picture(chart, season_line.words(line), season_line.table(line), key)

    def finding(self) -> str:
        """From where to where, inside the band or not, and the season's label."""
        measure, trend, band = self.line.measure, self.trend, self.line.band
        if len(self.line.sessions) < FEW_SESSIONS or (trend and trend["label"] == TOO_FEW):
            values, place, code = measure.say(self.last), band_place(self.last, *band), TOO_FEW
        elif trend is None or trend["label"] == NOT_CLEAR:
            values = _("{value} at the last session").format(value=measure.say(self.last))
            place, code = band_place(self.last, *band), NOT_CLEAR
        else:
            values = f"{measure.say(trend['start_value'])} → {measure.say(trend['value_now'])}"
            place, code = band_place(trend["value_now"], *band), str(trend["label"])
        said = label(code) if code in {TOO_FEW, NOT_CLEAR} else marked(code)
        return f"{measure.label}: {values}, {place}. {said}"

    def sentence(self) -> str:
        """What the season's fit says, with its doubt."""
        trend = self.trend
        now = trend["value_now"] if trend and trend["value_now"] is not None else self.last
        place = band_place(now, *self.line.band)
        return trend_sentence(self.line.measure, trend, place, len(self.line.sessions))


def measure_season(chosen: StudentSeason, measure: Measure) -> MeasureSeason | None:
    """A measure through a student's season; None when no session measured it."""
    reader, student, metric = chosen.reader, chosen.student, measure.metric
    means = chosen.means(metric)
    if means.is_empty():
        return None
    line = SeasonLine(
        measure=measure,
        sessions=means,
        line=season.trend_line(reader, student, metric, chosen.family, chosen.season),
        band=chosen.band(metric),
        ticks=sessions.ticks(reader, student, chosen.season),
        changes=sessions.device_changes(reader, student, chosen.season),
    )
    return MeasureSeason(line, chosen.trend(metric))


def evidence(chosen: StudentSeason, subject: str, *, narrow: bool) -> Picture | None:
    """The picture behind a sentence about a measure or a fault; None when nothing was measured of it."""
    measure = chosen.measures.get(subject)
    if measure is not None:
        found = measure_season(chosen, measure)
        return None if found is None else found.picture(key=_(LINE_KEY), narrow=narrow)
    rates = chosen.fault_rates
    return None if rates.is_empty() else ladder(rates, narrow=narrow)


def ladder(rates: pl.DataFrame, *, narrow: bool) -> Picture:
    """The fault ladder of `season.fault_rates`."""
    chart = fault_ladder.picture(rates, fault_finding(rates), narrow=narrow)
    return Picture(chart, fault_ladder.words(rates), fault_ladder.table(rates), _(LADDER_KEY))


def fault_finding(rates: pl.DataFrame) -> str:
    """The title of a fault ladder: what got better or worse, else what shows most."""
    now = rates.filter(pl.col("span") == "now")
    moved = {code: now.filter(pl.col("label") == code)["fault"].to_list() for code in (BETTER, WORSE)}
    said = [f"{marked(code)}: {listed(names)}" for code, names in moved.items() if names]
    if said:
        return ". ".join(said)
    if now.is_empty():
        return _("Faults before; none measured in the last 28 days")
    most = now.sort("rate").row(-1, named=True)
    if most["rate"] < 0.1:
        return _("No fault in more than one swing in ten lately")
    return _("Most often lately: {fault}, {rate} of swings. No change is clear yet").format(
        fault=most["fault"], rate=share(most["rate"])
    )
