"""What a student's page says: the season, faults, the ball, and what was done and noted."""

from typing import Any

import polars as pl

from dashboard import observed
from dashboard.aim import TITLES, advice, chain_lines
from dashboard.charts import ball_links
from dashboard.charts.season_line import marks_key
from dashboard.kept import kept
from dashboard.pages.notes.content import NOTE_KINDS
from dashboard.queries import people, season, sessions
from dashboard.section import Picture, Section, nonempty
from dashboard.student_season import StudentSeason, ladder, measure_season, measured_seasons
from dashboard.text.catalogue import Words, _, mark
from dashboard.text.cautions import BANDS_ARE_CUSTOM, EYES_CLOSED
from dashboard.text.numbers import Measure, count, joined, listed
from warehouse.errors import UnderfootError

SESSIONS_FOR_THE_BALL = 6  # as the model asks for
CHAINS = mark(
    "Some faults are thought to bring on others. A pair is named here only where this student's swings with "
    "the first show the second clearly more often than swings near them without it, in the same session."
)
STYLES = Words({
    "stays_forward": "stays on the front foot through impact",
    "falls_back": "load falls back through impact",
    "mixed": "between the two ways through impact",
})  # fmt: skip


def about(chosen: StudentSeason) -> str:
    """The line below the name."""
    return " · ".join([*chosen.who(), count(chosen.person["sessions"], "session")])


def seasons(chosen: StudentSeason) -> list[str]:
    """Seasons with a measured swing, newest first; some have only films of clubs not named, or only notes."""
    nothing = _(
        "{name} has no measured swing in a season yet. Drop a session on the Deliveries page; it shows here "
        "once it has loaded."
    ).format(name=chosen.person["name"])
    return nonempty(measured_seasons(chosen.reader, chosen.student), nothing)


def measures(chosen: StudentSeason) -> dict[str, str]:
    """Measures to choose from by code, those shown first at the top."""
    core = people.core_measures(chosen.reader)
    codes = [*core, *(code for code in chosen.measures if code not in core)]
    nothing = _("The list of measures is not built yet; run: underfoot build")
    return nonempty({code: chosen.measures[code].label for code in codes}, nothing)


@kept
def season_part(chosen: StudentSeason, measure: Measure, *, narrow: bool) -> Section:
    """The season line of one measure.

    Raises
        UnderfootError: no session of the season measured it.
    """
    found, names = measure_season(chosen, measure), {"measure": measure.label, "explanation": measure.explain}
    if found is None:
        missing = _(
            "{measure} is not measured with {clubs} in {season}. {explanation} Choose another measure, or "
            "other clubs."
        )
        raise UnderfootError(missing.format(**names, clubs=chosen.clubs, season=chosen.season))
    key = joined(measure.explain, marks_key(found.line))
    own = observed.own_band_sentence(chosen.reader, chosen.student, measure.metric)
    return Section(found.picture(key=key, narrow=narrow), sentences=(found.sentence(), own))


@kept
def faults_part(chosen: StudentSeason, *, narrow: bool) -> Section:
    """The faults in the order of the swing, now and before."""
    nothing = _("No fault rates yet: they need more sessions with these clubs.")
    rates = nonempty(chosen.fault_rates, nothing)
    judged = set(rates["fault"])
    others = listed([name for name in chosen.fault_names.values() if name not in judged])
    note = _("Not judged with these clubs: {faults}.").format(faults=others)
    return Section(ladder(rates, narrow=narrow), notes=(note if others else "",))


def fault_choice(chosen: StudentSeason) -> dict[str, str]:
    """Faults to read about by code, those that show most often now first."""
    now = chosen.fault_rates.filter(span="now").sort("rate", descending=True)
    codes = dict.fromkeys([*now["code"], *chosen.fault_names])
    return {code: chosen.fault_names[code] for code in codes}


def fault_detail(chosen: StudentSeason, fault: str) -> dict[str, str]:
    """Title → what it looks like, what it costs, what to feel instead, how a film shows it, and a drill."""
    looks = people.fault_about(chosen.reader, fault)["looks_like"]
    found = {_("What it looks like"): looks} | advice(chosen.reader, fault)
    if sessions.open_discomfort(chosen.reader, chosen.student).height:
        found.pop(TITLES["drill"], None)  # what hurts comes first
    return found


def chains(chosen: StudentSeason) -> list[str]:
    """What follows from what in this student's swings.

    Raises
        UnderfootError: no pair of faults could be looked at; it says why.
    """
    nothing = _(
        "No two faults that are thought to follow from each other were judged in the same swings yet."
    )
    return nonempty(chain_lines(chosen), nothing)


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


@kept
def ball_part(
    chosen: StudentSeason, rows: dict[str, pl.DataFrame], outcome: str | None, *, narrow: bool
) -> Section:
    """What goes together with one outcome of the ball.

    Raises
        UnderfootError: no outcome has enough sessions yet; it says how many it takes.
    """
    if outcome is None:
        most = max(max(found["n_sessions"].drop_nulls().to_list(), default=0) for found in rows.values())
        few = _(
            "There are ball results with {clubs} from {sessions}; from {wanted} sessions with five full "
            "swings each, this shows what goes together with them."
        ).format(clubs=chosen.clubs, sessions=count(most, "session"), wanted=SESSIONS_FOR_THE_BALL)
        raise UnderfootError(few)
    found = rows[outcome]
    chart = ball_links.picture(found, outcome, ball_links.finding(found, outcome), narrow=narrow)
    key = _(
        "Each dot: how the ball changed from swing to swing of a session with a usual rise in the measure. "
        "The true change is probably inside the bar (9 in 10); filled dots still hold after allowing for how "
        "many measures were looked at. From this student's swings alone, and not from what changed over the "
        "season. It says what goes together, not what causes what: a third thing may move both."
    )
    return Section(Picture(chart, ball_links.words(found, outcome), ball_links.table(found), key))


def observed_parts(chosen: StudentSeason) -> dict[str, list[Section]]:
    """Balance, what was seen by eye, and what was felt, by their headings, as far as there is any of it."""
    parts = {_("Balance"): _balance(chosen)}
    if chosen.season:
        parts |= {_("Seen by eye"): [_by_eye(chosen)], _("Felt and measured"): [_felt(chosen)]}
    known = {
        heading: [one for one in sections if one.table or any(one.sentences)]
        for heading, sections in parts.items()
    }
    return {heading: sections for heading, sections in known.items() if sections}


def _balance(chosen: StudentSeason) -> list[Section]:
    """Nudge checks, the own set-up target, and quiet stands on the plates."""
    reader, student, name = chosen.reader, chosen.student, chosen.person["name"]
    nudges, stands = observed.nudge_table(reader, student), observed.stand_table(reader, student)
    alike = _("Only stands with the same eyes, device and length can be compared.")
    return [
        Section(sentences=observed.nudge_sentences(reader, student)),
        Section(table=_saved(nudges, _("nudge checks of {name}"), name), notes=(_(EYES_CLOSED),)),
        Section(sentences=observed.setup_sentences(reader, student)),
        Section(sentences=observed.stand_sentences(reader, student)),
        Section(table=_saved(stands, _("stands of {name}"), name), notes=(alike,)),
    ]


def _by_eye(chosen: StudentSeason) -> Section:
    how = _(
        "In how many visits a coach saw it, of those that looked for it; in brackets where the true share "
        "probably lies (9 in 10). Balance lost backward or forward in a nudge check counts as seen."
    )
    seen = observed.eye_table(chosen)
    return Section(table=_saved(seen, _("seen by eye, {name}"), chosen.person["name"]), notes=(how,))


def _felt(chosen: StudentSeason) -> Section:
    felt = observed.felt_table(chosen)
    return Section(
        table=_saved(felt, _("felt and measured, {name}"), chosen.person["name"]),
        sentences=observed.felt_sentences(chosen),
    )


def _saved(table: pl.DataFrame | None, file: str, name: str) -> tuple[pl.DataFrame, str] | None:
    return None if table is None else (table, file.format(name=name))


def visits(chosen: StudentSeason) -> pl.DataFrame:
    """Sessions of the season; of all time, before the first measured swing."""
    found = sessions.sessions(chosen.reader, chosen.student, chosen.season or None, every=not chosen.season)
    headings = {
        "day": _("Day"), "coach_name": _("Coach"), "device": _("Device"), "swings": _("Swings"),
        "usable": _("Usable"),
    }  # fmt: skip
    return found.select(*headings).rename(headings)


def notes(chosen: StudentSeason) -> pl.DataFrame:
    """All notes on the student."""
    nothing = _("No notes yet. Notes come with a session's notes.csv, or on their own.")
    found = nonempty(sessions.notes(chosen.reader, chosen.student), nothing)
    headings = {
        "day": _("Day"), "author": _("Who"), "kind": _("Note"), "about": _("About"), "text": _("Words"),
        "shared": _("Student sees it"),
    }  # fmt: skip
    about = [_about_note(row) for row in found.iter_rows(named=True)]
    named = found.with_columns(
        pl.col("kind").replace(dict(NOTE_KINDS)), about=pl.Series(about, dtype=pl.String)
    )
    return named.select(*headings).rename(headings)


def _about_note(row: dict[str, Any]) -> str | None:
    """What a note is about, in words."""
    about = row["about"]
    if row["kind"] == "steadiness" and about is None:
        held, lost = ((row[column] or "").split() for column in ("held", "lost"))
        about = observed.nudge_words(held, lost)
    elif row["kind"] == "saw" and row["grade"] == 0:
        about = _("{about}: looked for, not there").format(about=about)
    elif row["kind"] == "felt":
        about = f"{about}: {observed.yes_no(row['grade'] == 1)}"
    elif row["kind"] == "falls":
        about = observed.yes_no(row["grade"] == 1)
    if row["overruled_by"]:
        about = _("{about} (overruled by {head_coach})").format(about=about, head_coach=row["overruled_by"])
    return None if about is None else str(about)


def closing(chosen: StudentSeason) -> str:
    """The last line: what bands are, and the student's style by impact, where it is known."""
    text, (code, swings) = _(BANDS_ARE_CUSTOM), chosen.style
    if code is None:
        return text
    style = _("Through impact with {clubs}: {style}, from {swings}; shown, never counted as a fault.")
    return f"{text} " + style.format(clubs=chosen.clubs, style=STYLES[code], swings=count(swings, "swing"))
