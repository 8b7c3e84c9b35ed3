"""Drills: what each changed on the day and kept, for whom, on how much data; and a planner for a fault."""

from typing import Any

import polars as pl
import streamlit as st

from dashboard import frame, layout
from dashboard.charts import drill_forest
from dashboard.pages.drills.content import (
    FEWEST_STUDENTS,
    HOW_TO_READ,
    NOT_A_TRIAL,
    age_sentence,
    best_sentence,
    drill_sentence,
    lots_sentence,
    ranked,
    thin_sentence,
)
from dashboard.queries import drills, people
from dashboard.text.cautions import CLEAR_SPACE, EYES_CLOSED, IF_IT_HURTS
from dashboard.text.labels import AGES, HARMS, HELPS, SHAPES, marked
from dashboard.text.numbers import NBSP, count, listed, on
from warehouse.access import Reader


def show(reader: Reader) -> None:
    """The page."""
    st.title("Drills", anchor=False)
    roster = drills.roster(reader)
    if roster.is_empty():
        layout.empty("No drill is on the roster yet.", "Drop drills.csv on the Deliveries page.")
    layout.aside(NOT_A_TRIAL)
    seasons = drills.seasons(reader)
    if not seasons:
        layout.say(
            "No effect has been worked out yet: it takes drills set in lessons, and sessions measured "
            "before and after. The drills themselves stand below."
        )
        effects = None
    else:
        when = layout.choose("Season", {name: name for name in seasons}, "season")
        effects = drills.effects(reader, when)
        _forest(effects)
        _planner(reader, effects)
    _one(reader, roster, effects, when if seasons else None)
    layout.aside(f"{IF_IT_HURTS} {CLEAR_SPACE}")


def _forest(effects: pl.DataFrame) -> None:
    st.header("All drills, each on its own aim")
    own = effects.filter(pl.col("own")).with_columns(row=pl.col("name"))
    drawn = own.filter(pl.col("kept").is_not_null() & (pl.col("swc") > 0))
    drawn = drawn.sort(pl.col("kept") / pl.col("swc"), descending=True)
    if drawn.is_empty():
        layout.say("No drill has been set and re-measured often enough to draw. More sessions will bring it.")
        return
    layout.picture(
        drill_forest.picture(drawn, _finding(own), narrow=layout.narrow()),
        drill_forest.words(drawn),
        drill_forest.table(own, "Drill"),
    )
    layout.aside(HOW_TO_READ)
    left = own.filter(~pl.col("drill").is_in(drawn["drill"].implode()))["name"].to_list()
    if left:
        layout.aside(f"Not drawn, for want of data: {listed(left)}.")


def _finding(own: pl.DataFrame) -> str:
    by = {label: own.filter(pl.col("label") == label)["name"].to_list() for label in (HELPS, HARMS)}
    said = [
        f"{SHAPES[label]}{NBSP}{listed(names)} {verb if len(names) == 1 else verb[:-1]}"
        for (label, names), verb in zip(by.items(), ("helps", "harms"), strict=True)
        if names
    ]
    rest = len(own) - sum(map(len, by.values()))
    if not said:
        return f"None of {count(len(own), 'drill')} is shown to help or to harm yet"
    others = f"; nothing clear about {count(rest, 'other')}" if rest else ""
    return f"{'; '.join(said)}{others}"


def _planner(reader: Reader, effects: pl.DataFrame) -> None:
    st.header("Which drill for a fault?")
    faults = people.faults(reader)
    if not faults:
        layout.say("The list of faults is not built yet; run: underfoot build")
        return
    aims = set(effects["aim"].drop_nulls())
    start = next((code for code in faults if code in aims), None)
    fault = layout.choose("Fault", faults, "fault", default=start)
    candidates = drills.aimed_at(reader, fault)
    st.write(people.fault_about(reader, fault)["looks_like"])
    if candidates.is_empty():
        layout.say("No drill on the roster aims at this fault or at what its rule measures.")
        return
    ranks = ranked(_candidates(candidates, effects, fault))
    st.write(f"**{best_sentence(ranks, faults[fault])}**")
    table = _ranking(ranks)
    for place, row in enumerate(table.iter_rows(named=True), 1):
        kept = f" Kept {row['Kept']} on “{row['Measured on']}”." if row["Kept"] != "–" else ""
        st.markdown(
            f"{place}. **{row['Drill']}**: {row['In a word']}.{kept} {row['How thin']} {row['Who for']}"
        )
    with st.container(horizontal=True):
        for row in ranks.head(6).iter_rows(named=True):
            frame.link("drills", f"{row['name']} →", drill=row["drill"], fault=fault)
        layout.save_table(table, f"drills for {faults[fault]}")


def _candidates(candidates: pl.DataFrame, effects: pl.DataFrame, fault: str) -> pl.DataFrame:
    """Each drill with its effect on the fault itself where there is one, else on its own aim."""
    found = effects.filter((pl.col("aim") == fault) | pl.col("own"))
    best = found.sort(pl.col("aim") == fault, descending=True).unique("drill", keep="first")
    wanted = [name for name in best.columns if name not in ("name", "aim", "min_age")]
    return candidates.join(best.select(*wanted), on="drill", how="left")


def _ranking(ranks: pl.DataFrame) -> pl.DataFrame:
    rows: list[dict[str, Any]] = []
    for row in ranks.iter_rows(named=True):
        kept = row["label"] and drill_forest.effect(row, "kept", row["unit"], row["places"])
        rows.append(
            {
                "Drill": row["name"],
                "In a word": marked(row["label"]) if row["label"] else "Not tried yet",
                "Kept": kept or "–",
                "Measured on": row["aim_name"] or "–",
                "How thin": thin_sentence(row),
                "Who for": age_sentence(row["min_age"]) or "All ages.",
            }
        )
    return pl.DataFrame(rows)


def _one(reader: Reader, roster: pl.DataFrame, effects: pl.DataFrame | None, when: str | None) -> None:
    st.header("One drill")
    names = dict(roster.select("drill", "name").iter_rows())
    chosen = layout.choose("Drill", names, "drill")
    about = roster.row(by_predicate=pl.col("drill") == chosen, named=True)
    st.subheader(about["name"], anchor=False)
    st.write(about["how"] or "How it is done stands nowhere yet: add it to drills.csv.")
    for caution in _cautions(about):
        st.write(f"**Take care.** {caution}")
    if effects is None or when is None:
        return
    rows = effects.filter(pl.col("drill") == chosen)
    if rows.is_empty():
        layout.say("It was never set and measured before and after, so nothing is known of its effect.")
    for row in rows.iter_rows(named=True):
        st.write(drill_sentence(row))
    if len(rows):
        st.write(lots_sentence(rows.row(0, named=True)))
        _for_whom(reader, rows.row(0, named=True), when)
    _set_lately(reader, chosen)


def _cautions(about: dict[str, Any]) -> list[str]:
    said = [text for text in (age_sentence(about["min_age"]), about["cautions"]) if text]
    if (
        "eyes closed" in f"{about['name']} {about['how']}".lower().replace("close the eyes", "eyes closed")
        or about["aim"] == "unsteady_at_address"
    ):
        said.append(EYES_CLOSED)
    return said


def _for_whom(reader: Reader, row: dict[str, Any], when: str) -> None:
    """Kept effects by level and by age; groups of few students by their number only."""
    found = drills.groups(reader, when, row["drill"], row["aim"])
    st.subheader("For whom", anchor=False)
    if found.is_empty():
        layout.say("Nobody has been measured before and after it yet.")
        return
    named = found.with_columns(
        pl.when(pl.col("grouping") == "age_band")
        .then(pl.col("name").replace(AGES))
        .otherwise(pl.col("name").str.to_titlecase())
        .alias("row"),
        same_day=pl.lit(None, pl.Float64), same_day_lo=pl.lit(None, pl.Float64),
        same_day_hi=pl.lit(None, pl.Float64), swc=pl.lit(row["swc"], pl.Float64), unit=pl.lit(row["unit"]),
        places=pl.lit(row["places"]), label=pl.format("{} students", "n_students"),
    )  # fmt: skip
    drawn = named.filter(pl.col("kept").is_not_null())
    if len(drawn) and row["swc"]:
        title = f"Kept on “{row['aim_name']}” by group; groups differ by chance too"
        picture = drill_forest.picture(drawn, title, narrow=layout.narrow())
        layout.picture(picture, drill_forest.words(drawn), drill_forest.table(drawn, "Group"))
    few = [f"{r['row']} ({r['n_students']})" for r in named.iter_rows(named=True) if r["kept"] is None]
    if few:
        layout.aside(f"Under {FEWEST_STUDENTS} students, so not shown: {listed(few)}.")


def _set_lately(reader: Reader, drill: str) -> None:
    found = drills.set_lately(reader, drill)
    if found.is_empty():
        return
    st.subheader("Set lately to", anchor=False)
    with st.container(horizontal=True):
        for row in found.iter_rows(named=True):
            frame.link("student", f"{row['name']}, {on(row['day'])} →", student=row["student"])
