"""What the Swings page says: every swing with what it showed, and the swing chosen to hold them against."""

from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

from dashboard import reference_swing
from dashboard.queries import swings
from dashboard.section import nonempty
from dashboard.student_season import StudentSeason, measured_seasons
from dashboard.text.catalogue import _
from dashboard.text.labels import FAMILIES, PACES, PARTS
from dashboard.text.numbers import count, listed, number, on
from warehouse.access import Reader

ALL, NONE, ANY = "all", "none", "any"
MOST_OFFERED = 12  # swings of one player to choose a reference from
MOST_PLAYERS = 30  # other players to choose from, of those who agree the most alike in build


@dataclass(frozen=True)
class Filter:
    """Which swings are shown, each by its code; ALL lets every one pass."""

    session: str = ALL
    club: str = ALL
    drill: str = ALL
    fault: str = ALL


def seasons(reader: Reader, student: str) -> dict[str, str]:
    """Seasons to choose from, the newest measured one first; and all time."""
    return {name: name for name in measured_seasons(reader, student)} | {ALL: _("All time")}


def everything(chosen: StudentSeason) -> pl.DataFrame:
    """Every swing of the season, of all time where it is ALL."""
    season = None if chosen.season == ALL else chosen.season
    nothing = _("No swing of {name} has been loaded for this season yet.")
    return nonempty(
        swings.swings(chosen.reader, chosen.student, season), nothing.format(name=chosen.person["name"])
    )


def filters(chosen: StudentSeason, found: pl.DataFrame) -> dict[str, tuple[str, dict[str, str]]]:
    """The choices by their name: title and code → words, each holding only what these swings have."""
    per_session = found.group_by("session", "day", maintain_order=True).len()
    days = {s: f"{on(day)}, {count(n, 'swing')}" for s, day, n in per_session.iter_rows()}
    families = [code for code in FAMILIES if code in found["club_family"].to_list()]
    drills = dict(
        found.drop_nulls("drill").unique("drill").sort("drill_name").select("drill", "drill_name").iter_rows()
    )
    shown = set(found["faults"].explode().drop_nulls())
    return {
        "session": (_("Session"), {ALL: _("All sessions")} | days),
        "club": (_("Clubs"), {ALL: _("All clubs")} | {code: FAMILIES[code] for code in families}),
        "drill": (_("Drill before it"), {ALL: _("With and without"), NONE: _("None")} | drills),
        "fault": (
            _("Fault"),
            {ALL: _("With and without"), ANY: _("Any fault"), NONE: _("No fault shown")}
            | {code: name for code, name in chosen.fault_names.items() if code in shown},
        ),
    }


def filtered(found: pl.DataFrame, by: Filter) -> pl.DataFrame:
    """The swings that pass."""
    has = pl.col("faults").list.len() > 0
    faulty = {ALL: pl.lit(value=True), ANY: has, NONE: ~has & (pl.col("judged") > 0)}
    drilled = {ALL: pl.lit(value=True), NONE: pl.col("drill").is_null()}
    return found.filter(
        pl.lit(by.session == ALL) | (pl.col("session") == by.session),
        pl.lit(by.club == ALL) | (pl.col("club_family") == by.club),
        drilled.get(by.drill, pl.col("drill") == by.drill),
        faulty.get(by.fault, pl.col("faults").list.contains(by.fault)),
    )


def table(chosen: StudentSeason, found: pl.DataFrame) -> pl.DataFrame:
    """The swings as they are read: a row each, its faults in words, a column for each measure."""
    nothing = _("No swing passes all of these choices; change one of them.")
    nonempty(found, nothing)
    names = chosen.fault_names
    faults = [
        listed([names[code] for code in codes if code in names])
        if codes
        else _("none")
        if judged
        else _("not judged")
        for codes, judged in found.select("faults", "judged").iter_rows()
    ]
    words = {
        _("Swing"): found["swing_no"],
        _("Faults shown"): pl.Series(faults, dtype=pl.String),
        _("Pace"): _worded(found["pace"], PACES),
        _("Made"): _made(found),
        _("Club"): found["club"],
    }
    values = {}
    for metric in (name for name in found.columns if name in chosen.measures):
        measure = chosen.measures[metric]
        unit = f" ({_(measure.unit)})" if measure.unit else ""
        values[f"{measure.label}{unit}"] = found[metric].round(measure.decimals)
    return pl.DataFrame({_("Day"): found["day"]} | words | values)


def _worded(codes: pl.Series, words: Mapping[str, str]) -> pl.Series:
    return pl.Series([words.get(code, code) for code in codes], dtype=pl.String)


def _made(found: pl.DataFrame) -> pl.Series:
    """In which part of the session, with the drill's name."""
    return pl.Series(
        [
            _("after {drill}").format(drill=drill) if drill else PARTS.get(part, part)
            for part, drill in found.select("part", "drill_name").iter_rows()
        ],
        dtype=pl.String,
    )


def summary(found: pl.DataFrame, shown: pl.DataFrame) -> str:
    """How many of the swings are shown, and how many of those show a fault."""
    judged = shown.filter(pl.col("judged") > 0)
    text = _("{shown} of {swings}.").format(shown=len(shown), swings=count(len(found), "swing"))
    if judged.is_empty():
        return text
    faulty = _("Of {judged} that could be judged, {n} show a fault.")
    return f"{text} " + faulty.format(judged=len(judged), n=int((judged["faults"].list.len() > 0).sum()))


def players(chosen: StudentSeason) -> dict[str, str]:
    """Whose swing may be the reference: the student, then other players who agree, the most alike first."""
    reader = chosen.reader
    found = {chosen.student: _("{name}'s own").format(name=chosen.person["name"])}
    for row in swings.others(reader, chosen.student, chosen.family).iter_rows(named=True):
        if len(found) > MOST_PLAYERS:
            break
        if reference_swing.agreed(reader, row["student"]):
            build = [
                _("foot {length}").format(length=number(row["foot_length_mm"], "mm"))
                * bool(row["foot_length_mm"]),
                number(row["body_mass_kg"], "kg") * bool(row["body_mass_kg"]),
            ]
            found[row["student"]] = ", ".join([row["name"], *filter(None, build)])
    return found


def offered(reader: Reader, owner: str, family: str) -> dict[str, str]:
    """A player's swings to choose from, the cleanest first: "session swing" → what it is called."""
    nothing = _("No full swing with these clubs is measured well enough to be a reference.")
    best = nonempty(swings.best_swings(reader, owner, family).head(MOST_OFFERED), nothing)
    return {
        f"{row['session']} {row['swing_no']}": _("{day}, swing {n}: {faults}").format(
            day=on(row["day"]), n=row["swing_no"], faults=count(row["n_faults"], "fault")
        )
        for row in best.iter_rows(named=True)
    }
