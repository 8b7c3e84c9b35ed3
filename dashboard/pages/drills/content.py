"""What the Drills page says: what each drill changed and kept, which to try for a fault, and for whom."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from dashboard.charts import drill_forest
from dashboard.charts.drill_forest import effect
from dashboard.charts.look import in_words
from dashboard.kept import kept
from dashboard.pages.drills.verdicts import (
    ADVICE,
    advised,
    age_sentence,
    answer,
    drill_sentence,
    evidence_sentence,
    forest_finding,
    random_draw_sentence,
    ranked,
    sentence,
)
from dashboard.queries import academy, lesson, people
from dashboard.safety import caution_sentences
from dashboard.section import Picture, Section, nonempty
from dashboard.text.catalogue import _, mark
from dashboard.text.labels import AGES
from dashboard.text.numbers import count, joined, listed, on
from warehouse.access import Reader
from warehouse.body import Exercise, from_age

FEWEST_STUDENTS = 8  # of a group, before anything is shown of it
MOST_LINKS = 6
NOT_A_TRIAL = mark(
    "These data are not a trial: coaches chose who was given which drill, mostly on a day that looked bad. "
    "The season's model allows for that choice as far as it shows in the measurements; it can't allow for "
    "what only the coach saw."
)
NO_EFFECTS = mark(
    "No effect has been estimated yet: it takes drills set in lessons, and sessions measured before and "
    "after. The drills themselves are below."
)
NO_FOREST = mark(
    "No drill has been set and measured again often enough to draw. It will appear as more sessions come in."
)
NO_FAULTS = mark("The list of faults is not built yet; run: underfoot build")
HOW_TO_READ = mark(
    "Filled: what was kept at the end of the season by those given the drill. Hollow: what changed on the "
    "same day. The true effect is probably inside the bar (9 in 10); a bar that reaches the edge goes on "
    "beyond it. Changes within the pale strip are too small to be worth the time."
)


@dataclass(frozen=True)
class Season:
    """Effects as of `academy.drill_effects`, the drill with the clearest one, and a fault of its."""

    name: str
    effects: pl.DataFrame
    clearest: str | None
    first_fault: str | None


@dataclass(frozen=True)
class Candidate:
    """One drill that may help with a fault."""

    drill: str
    name: str
    verdict: str
    kept: str  # with its interval; empty where there is none
    aim: str
    evidence: str
    ages: str

    @property
    def sentence(self) -> str:
        """The candidate in a line of the list, after its name."""
        kept = _("Kept {effect} on “{aim}”.").format(effect=self.kept, aim=self.aim) if self.kept else ""
        return joined(f"{self.verdict}.", kept, self.evidence, self.ages)


@dataclass(frozen=True)
class Plan:
    """Which drill for a fault: the answer, then the candidates, best first."""

    answer: str
    candidates: tuple[Candidate, ...]
    file: str

    def rows(self) -> pl.DataFrame:
        """The candidates as rows to save."""
        return pl.DataFrame(
            [
                {
                    _("Drill"): c.name, _("Verdict"): c.verdict, _("Kept"): c.kept or "–",
                    _("Measured on"): c.aim or "–", _("Evidence"): c.evidence, _("Suitable for"): c.ages,
                }
                for c in self.candidates
            ]
        )  # fmt: skip


def roster(reader: Reader) -> dict[str, dict[str, Any]]:
    """The rows of the roster of drills by code."""
    nothing = _("No drill is on the roster yet. Drop drills.csv on the Deliveries page.")
    return {row["drill"]: row for row in nonempty(people.drills(reader), nothing).iter_rows(named=True)}


def seasons(reader: Reader) -> list[str]:
    """Seasons in which a drill's effect was looked for, newest first."""
    return nonempty(people.seasons(reader, of="drill_effect"), _(NO_EFFECTS))


def faults(reader: Reader) -> dict[str, str]:
    """Every fault by name."""
    return nonempty(people.faults(reader), _(NO_FAULTS))


def season(reader: Reader, name: str) -> Season:
    """The effects of a season."""
    effects = academy.drill_effects(reader, name)
    known = effects.filter(pl.col("own") & pl.col("kept").is_not_null())
    clear = known.sort(pl.col("kept").abs() / (pl.col("kept_hi") - pl.col("kept_lo")), descending=True)
    clearest = None if clear.is_empty() else str(clear["drill"][0])
    known_faults = people.faults(reader)
    aims = [aim for aim in advised(effects)["aim"] if aim is not None]
    about = [kin for aim in aims for kin in lesson.kindred_aims(reader, aim) if kin in known_faults]
    return Season(name, effects, clearest, next(iter(about), None))


@kept
def advice_lines(reader: Reader, season: Season) -> list[tuple[str, str]]:
    """Each drill with what to do with it, and all there is to say of that."""
    rows = advised(season.effects)
    return [
        (
            f"{ADVICE[row['advice']]}: {row['name']}",
            sentence(row, academy.drill_groups(reader, season.name, row["drill"], row["aim"])),
        )
        for row in rows.iter_rows(named=True)
    ]


@kept
def forest(reader: Reader, season: Season, *, narrow: bool) -> Section:  # noqa: ARG001 - kept with its reader
    """Every drill on its own aim, the largest kept effect first."""
    own = advised(season.effects).with_columns(row=pl.col("name"))
    drawn = nonempty(own.filter(pl.col("kept").is_not_null() & (pl.col("swc") > 0)), _(NO_FOREST))
    drawn = drawn.sort(pl.col("kept") / pl.col("swc"), descending=True)
    worded = drawn.with_columns(pl.col("advice").replace(dict(ADVICE)).alias("label"))
    chart = drill_forest.picture(worded, forest_finding(own), narrow=narrow)
    picture = Picture(chart, drill_forest.words(drawn), drill_forest.table(own, _("Drill")), _(HOW_TO_READ))
    left = listed(own.filter(~pl.col("drill").is_in(drawn["drill"].implode()))["name"].to_list())
    missing = _("Not drawn, for lack of data: {drills}.").format(drills=left)
    return Section(picture, notes=(missing if left else "",))


def looks_like(reader: Reader, fault: str) -> str:
    """How a fault can be seen."""
    return str(people.fault_about(reader, fault)["looks_like"])


def plan(reader: Reader, season: Season, fault: str, name: str) -> Plan:
    """The drills that aim at a fault or at what its rule measures, best first."""
    nothing = _("No drill on the roster aims at this fault or at what its rule measures.")
    aimed = nonempty(academy.drills_aimed_at(reader, fault), nothing)
    # Each drill with its effect on the fault itself where there is one, else on its own aim.
    found = season.effects.filter((pl.col("aim") == fault) | pl.col("own"))
    found = found.sort(pl.col("aim") == fault, descending=True).unique("drill", keep="first")
    known = found.drop("name", "how", "cautions", "aim", "min_age")
    ranks = ranked(aimed.join(known, on="drill", how="left"))
    closed_from = reader.settings.eyes_closed_from_age
    candidates = tuple(_candidate(row, closed_from) for row in ranks.iter_rows(named=True))
    return Plan(answer(ranks, name), candidates, _("drills for {fault}").format(fault=name))


def _candidate(row: dict[str, Any], eyes_closed_from_age: int) -> Candidate:
    tried = row["label"] is not None and row["kept"] is not None
    return Candidate(
        drill=row["drill"],
        name=row["name"],
        verdict=ADVICE[row["advice"]] if row["advice"] else _("Not tried yet"),
        kept=effect(row, "kept", row["unit"], row["places"]) if tried else "",
        aim=row["aim_name"] or "",
        evidence=evidence_sentence(row),
        ages=age_sentence(from_age(Exercise.of(row), eyes_closed_from_age)) or _("All ages."),
    )


def how(about: Mapping[str, Any]) -> str:
    """How a drill of the roster is done."""
    return about["how"] or _("No description yet: add how it is done to drills.csv.")


def known_effects(season: Season, drill: str) -> list[dict[str, Any]]:
    """Rows of what a drill changed, on its own aim first."""
    unknown = _("It has never been set and measured before and after, so nothing is known of its effect.")
    return nonempty(season.effects.filter(drill=drill), unknown).to_dicts()


def effects(known: list[dict[str, Any]]) -> list[str]:
    """What is known of a drill, a sentence for each aim, and for what was assigned by random draw."""
    return [*map(drill_sentence, known), random_draw_sentence(known[0])]


def recent(reader: Reader, drill: str) -> dict[str, str]:
    """Students whom a drill was set lately, with the words of a link to them."""
    rows = academy.drill_set_lately(reader, drill).iter_rows(named=True)
    return {row["student"]: f"{row['name']}, {on(row['day'])} →" for row in rows}


def cautions(reader: Reader, about: Mapping[str, Any]) -> tuple[str, ...]:
    """What to take care of with a drill of the roster: its age, its own cautions, and those of its kind."""
    exercise = Exercise.of(about)
    ages = age_sentence(from_age(exercise, reader.settings.eyes_closed_from_age))
    return tuple(filter(None, [ages, about["cautions"], *caution_sentences([exercise])]))


@kept
def groups(reader: Reader, season: Season, own: Mapping[str, Any], *, narrow: bool) -> Section:
    """Kept effects by level and by age on the drill's own aim; small groups by their number only."""
    nobody = _("Nobody has been measured before and after it yet.")
    found = nonempty(academy.drill_groups(reader, season.name, own["drill"], own["aim"]), nobody)
    named = found.with_columns(
        pl.when(pl.col("grouping") == "age_band")
        .then(pl.col("name").replace(dict(AGES)))
        .otherwise(pl.col("name").str.to_titlecase())
        .alias("row"),
        same_day=pl.lit(None, pl.Float64), same_day_lo=pl.lit(None, pl.Float64),
        same_day_hi=pl.lit(None, pl.Float64), swc=pl.lit(own["swc"], pl.Float64), unit=pl.lit(own["unit"]),
        places=pl.lit(own["places"]),
        label=in_words(found["n_students"], lambda n: count(n, "student"), "label"),
    )  # fmt: skip
    picture = None
    drawn = named.filter(pl.col("kept").is_not_null())
    if len(drawn) and own["swc"]:
        title = _("Kept on “{aim}” by group; groups differ by chance too").format(aim=own["aim_name"])
        chart = drill_forest.picture(drawn, title, narrow=narrow)
        picture = Picture(chart, drill_forest.words(drawn), drill_forest.table(drawn, _("Group")))
    few = named.filter(pl.col("kept").is_null()).select("row", "n_students").iter_rows()
    names = listed([f"{group} ({n})" for group, n in few])
    small = _("Not shown, with fewer than {fewest} students: {groups}.")
    return Section(picture, notes=(small.format(fewest=FEWEST_STUDENTS, groups=names) if names else "",))
