"""What a student's page says: the season, faults, the ball, and what was done and noted."""

from dataclasses import dataclass

import polars as pl

from dashboard.charts import ball_links
from dashboard.charts.picture import Picture
from dashboard.evidence import ladder, measure_season
from dashboard.pages.notes.content import NOTE_KINDS
from dashboard.queries import people, season, sessions
from dashboard.student_season import StudentSeason
from dashboard.text.catalogue import Words, _
from dashboard.text.cautions import BANDS_ARE_CUSTOM
from dashboard.text.numbers import Measure, count, listed

SESSIONS_FOR_THE_BALL = 6  # as the model asks for
STYLES = Words({
    "front_foot": "stays on the front foot through impact",
    "reverse": "load falls back through impact",
    "mixed": "between the two ways through impact",
})  # fmt: skip


@dataclass(frozen=True)
class Section:
    """One part of the page: its picture with a sentence and small print, or why there is none."""

    picture: Picture | None = None
    sentence: str = ""
    small_print: str = ""
    missing: str = ""


@dataclass(frozen=True)
class History:
    """Sessions and notes as tables; `no_notes` where nobody has written one."""

    sessions: pl.DataFrame
    notes: pl.DataFrame
    no_notes: str


def about(chosen: StudentSeason) -> str:
    """The line below the name."""
    return " · ".join([*chosen.who(), count(chosen.person["sessions"], "session")])


def nothing_measured(chosen: StudentSeason) -> str:
    """For a student who has only films of clubs not named, or only notes, or nothing yet."""
    return _(
        "{name} has no measured swing in a season yet. Drop a session on the Deliveries page; it shows here "
        "once it has loaded."
    ).format(name=chosen.person["name"])


def measures(chosen: StudentSeason) -> dict[str, str]:
    """Measures to choose from by code, those shown first at the top."""
    core = people.core_measures(chosen.reader)
    codes = [*core, *(code for code in chosen.measures if code not in core)]
    return {code: chosen.measures[code].label for code in codes}


def season_part(chosen: StudentSeason, measure: Measure, *, narrow: bool) -> Section:
    """The season line of one measure."""
    found = measure_season(chosen, measure)
    if found is None:
        missing = _(
            "{measure} is not measured with {clubs} in {season}. {explanation} Choose another measure, or "
            "other clubs."
        )
        return Section(
            missing=missing.format(
                measure=measure.label, clubs=chosen.clubs, season=chosen.season, explanation=measure.explain
            )
        )
    return Section(
        found.picture(narrow=narrow),
        found.sentence(),
        _(
            "{explanation} The bars and the shading around the line hold the true value nine times in ten. A "
            "hollow point rests on fewer than five swings."
        ).format(explanation=measure.explain),
    )


def faults_part(chosen: StudentSeason, *, narrow: bool) -> Section:
    """The faults in the order of the swing, now and before."""
    rates = chosen.fault_rates
    if rates.is_empty():
        return Section(missing=_("No fault rates yet: they need more sessions with these clubs."))
    picture = ladder(rates, narrow=narrow)
    text = picture.key
    judged = set(rates["fault"])
    others = [name for name in chosen.fault_names.values() if name not in judged]
    if others:
        text += " " + _("Not judged with these clubs: {faults}.").format(faults=listed(others))
    return Section(picture, small_print=text)


def ball_rows(chosen: StudentSeason) -> dict[str, pl.DataFrame]:
    """Rows of what goes together with each outcome of the ball that has ball results."""
    found = {
        outcome: season.ball_links(chosen.reader, chosen.student, chosen.family, chosen.season, outcome)
        for outcome in ball_links.OUTCOMES
    }
    return {outcome: rows for outcome, rows in found.items() if not rows.is_empty()}


def known_outcomes(rows: dict[str, pl.DataFrame]) -> dict[str, str]:
    """Outcomes with enough sessions for a picture, by what they are called."""
    return {name: ball_links.OUTCOMES[name] for name, found in rows.items() if found["per_sd"].count()}


def ball_part(
    chosen: StudentSeason, rows: dict[str, pl.DataFrame], outcome: str | None, *, narrow: bool
) -> Section:
    """What goes together with one outcome of the ball; without an outcome, how many sessions it takes."""
    if outcome is None:
        most = max(max(found["n_sessions"].drop_nulls().to_list(), default=0) for found in rows.values())
        return Section(
            missing=_(
                "There are ball results with {clubs} from {sessions}; from {wanted} sessions with five full "
                "swings each, this shows what goes together with them."
            ).format(clubs=chosen.clubs, sessions=count(most, "session"), wanted=SESSIONS_FOR_THE_BALL)
        )
    found = rows[outcome]
    chart = ball_links.picture(found, outcome, ball_links.finding(found, outcome), narrow=narrow)
    return Section(
        Picture(chart, ball_links.words(found, outcome), ball_links.table(found)),
        small_print=_(
            "Each dot: how the ball changed from session to session with a usual rise in the measure. The "
            "bars hold the true change nine times in ten; filled dots still hold after allowing for how many "
            "measures were looked at. From this student's sessions alone. It says what goes together and not "
            "what makes the ball go: a third thing may move both."
        ),
    )


def history(chosen: StudentSeason) -> History:
    """Sessions of the season (of all time, before the first measured swing), and all notes."""
    reader, student = chosen.reader, chosen.student
    visits = sessions.sessions(reader, student, chosen.season or None, every=not chosen.season)
    notes = sessions.notes(reader, student)
    return History(
        visits.select(
            pl.col("day").alias(_("Day")), pl.col("coach_name").alias(_("Coach")),
            pl.col("device").alias(_("Device")),
            pl.col("swings").alias(_("Swings")), pl.col("usable").alias(_("Usable")),
        ),
        notes.select(
            pl.col("day").alias(_("Day")), pl.col("author").alias(_("Who")),
            pl.col("kind").replace(dict(NOTE_KINDS)).alias(_("Note")), pl.col("about").alias(_("About")),
            pl.col("text").alias(_("Words")), pl.col("shared").alias(_("Student sees it")),
        ),
        _("No notes yet. Notes come with a session's notes.csv, or on their own."),
    )  # fmt: skip


def closing(chosen: StudentSeason) -> str:
    """The last line: what bands are, and the student's style by impact, where it is known."""
    text = _(BANDS_ARE_CUSTOM)
    if not chosen.style:
        return text
    swings = season.style_swings(chosen.reader, chosen.student, chosen.family, chosen.season)
    style = _("Style through impact with {clubs}: {style}, from {swings}; shown, never counted as a fault.")
    return f"{text} " + style.format(
        clubs=chosen.clubs, style=STYLES[chosen.style], swings=count(swings, "swing")
    )
