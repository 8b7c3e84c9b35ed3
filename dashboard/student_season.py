"""One student's season with one family of clubs: what its pages ask, and the pictures that several show."""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import polars as pl

from dashboard.charts import fault_ladder, season_line
from dashboard.charts.season_line import SeasonLine
from dashboard.queries import people, season, sessions
from dashboard.section import Picture
from dashboard.text import sentences
from dashboard.text.catalogue import _
from dashboard.text.labels import FAMILIES, label, marked
from dashboard.text.numbers import Band, Measure, count, joined, listed, lowered, share
from dashboard.text.sentences import FEW_SESSIONS, band_place, trend_sentence
from warehouse.access import Reader
from warehouse.observations import signs
from warehouse.vocabulary import BETTER, NOT_CLEAR, SELDOM, TOO_FEW, WORSE, age

OFTEN = 0.1  # a fault in at least one swing in ten is worth a line


@dataclass(frozen=True)
class StudentSeason:
    """`person` is a row of `people.students`; season and family are empty before the first measured swing."""

    reader: Reader
    person: dict[str, Any]
    season: str = ""
    family: str = ""

    @property
    def student(self) -> str:
        """The student's code."""
        return str(self.person["student"])

    @property
    def clubs(self) -> str:
        """The family's name within a sentence: irons."""
        return lowered(FAMILIES.get(self.family, self.family))

    @cached_property
    def measures(self) -> dict[str, Measure]:
        """Every metric in screen order, by its code."""
        return people.measures(self.reader)

    @cached_property
    def fault_names(self) -> dict[str, str]:
        """Every fault in swing order, by its code."""
        return people.faults(self.reader)

    @cached_property
    def style(self) -> tuple[str | None, int]:
        """The student's style by impact, once there are swings enough, and from how many."""
        return season.style(self.reader, self.student, self.family, self.season)

    @cached_property
    def bands(self) -> dict[str, Band]:
        """The bands that hold for this student, by metric."""
        return season.bands(self.reader, self.family, self.person, self.style[0])

    @cached_property
    def fault_rates(self) -> pl.DataFrame:
        """`season.fault_rates`: a row per fault and span."""
        return season.fault_rates(self.reader, self.student, self.family, self.season)

    def band(self, metric: str) -> Band:
        """A metric's band; (None, None) where none is set."""
        return self.bands.get(metric, (None, None))

    def name(self, aim: str) -> str:
        """What a fault, a metric or a sign seen by eye is called on screen."""
        if aim in self.measures:
            return self.measures[aim].label
        return self.fault_names.get(aim) or next((_(sign.name) for sign in signs() if sign.code == aim), aim)

    def means(self, metric: str) -> pl.DataFrame:
        """`season.session_means`: a row per session, oldest first."""
        return season.session_means(self.reader, metric, self.family, self.season, [self.student])

    def trend(self, metric: str) -> dict[str, Any] | None:
        """The season's fit of a metric; None before there is one."""
        fit = season.trends(self.reader, metric, self.family, self.season, self.student)
        return fit.row(0, named=True) if len(fit) else None

    def age(self) -> int | None:
        """Full years today; None when the birth date is not known."""
        return age(self.person["born"], self.reader.today)

    def who(self) -> list[str]:
        """Level, hand, age and coach: the start of the line below a page's title."""
        years = self.age()
        hand = {"right": _("right-handed"), "left": _("left-handed")}.get(self.person["handed"])
        coach = self.person["coach_name"]
        parts = [
            self.person["level"],
            hand,
            None if years is None else _("{n} years old").format(n=years),
            _("coached by {coach}").format(coach=coach) if coach else None,
        ]
        return [part for part in parts if part]

    def left_out(self) -> str | None:
        """How many of the season's swings stay out of its answers; None when there are none."""
        if not self.season:
            return None
        counts, flags = sessions.left_out(self.reader, self.student, self.season)
        return sentences.left_out(counts, flags.rows())


def measured_seasons(reader: Reader, student: str) -> list[str]:
    """Seasons with a measured swing of this student with a known club, newest first."""
    return [name for name in people.seasons(reader) if people.families(reader, name, student)]


def newest(reader: Reader, person: dict[str, Any]) -> StudentSeason:
    """The newest measured season, with the clubs most measured in it."""
    student = person["student"]
    name = next(iter(measured_seasons(reader, student)), "")
    family = people.families(reader, name, student)[0] if name else ""
    return StudentSeason(reader, person, name, family)


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
        key = joined(key, season_line.changes_key(line))
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


def fault_season(chosen: StudentSeason, fault: str) -> MeasureSeason | None:
    """How often a fault showed, session by session, with its target; None when no session judged it."""
    reader, student = chosen.reader, chosen.student
    rates = season.session_rates(reader, fault, chosen.family, chosen.season, [student])
    if rates.is_empty():
        return None
    label = _("Swings with “{fault}”").format(fault=lowered(chosen.name(fault)))
    line = SeasonLine(
        measure=Measure(fault, label, "%", "", "down", 0),
        sessions=rates,
        line=season.trend_line(reader, student, fault, chosen.family, chosen.season),
        band=(None, 100 * SELDOM),
        ticks=sessions.ticks(reader, student, chosen.season),
        changes=sessions.device_changes(reader, student, chosen.season),
    )
    return MeasureSeason(line, None)


def rate_finding(chosen: StudentSeason, fault: str) -> str:
    """The title of a fault's season line: in how many swings it shows lately, whatever one session says."""
    name = lowered(chosen.name(fault))
    now = chosen.fault_rates.filter(code=fault, span="now")
    if now.is_empty():
        return _("Swings with “{fault}”, session by session").format(fault=name)
    return _("Swings with “{fault}”: {rate} lately; the target is under {target}").format(
        fault=name, rate=share(now["rate"][0]), target=share(SELDOM)
    )


def ladder(rates: pl.DataFrame, *, narrow: bool) -> Picture:
    """The fault ladder of `season.fault_rates`.

    A fault that no swing showed, or hardly one and without a clear change, is in the table alone.
    """
    all_rates = rates.with_columns(
        ever=(pl.col("flagged").sum() > 0).over("fault"),
        worth=((pl.col("rate") >= OFTEN) | pl.col("label").is_in([BETTER, WORSE])).any().over("fault"),
    )
    worth = all_rates.filter("worth") if all_rates["worth"].any() else all_rates
    folded = all_rates.join(worth, on="fault", how="anti")
    chart = fault_ladder.picture(worth, fault_finding(rates), narrow=narrow)
    key = _(
        "Filled: the last 28 days, or the last 3 sessions. Hollow: before. The true rate is "
        "probably inside the strip (9 in 10)."
    )
    judged_in = rates.group_by("fault").agg(pl.col("n_sessions").sum())["n_sessions"]
    sessions = count(max(judged_in), "session")
    said = {
        False: _("Never seen in {sessions}: {faults}, listed in the table."),
        True: _("In fewer than one swing in ten, without a clear change: {faults}, listed in the table."),
    }
    for ever, sentence in said.items():
        faults = folded.filter(ever=ever)["fault"].n_unique()
        key += " " + sentence.format(sessions=sessions, faults=count(faults, "fault")) if faults else ""
    return Picture(chart, fault_ladder.words(rates), fault_ladder.table(rates), key)


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
    if most["rate"] < OFTEN:
        return _("No fault in more than one swing in ten lately")
    return _("Most often lately: {fault}, {rate} of swings. No change is clear yet").format(
        fault=most["fault"], rate=share(most["rate"])
    )
