"""Sentences about drills and coaches: what is claimed, on how much, and what can't be told."""

from collections.abc import Mapping
from typing import Any

import polars as pl

from dashboard.charts.drill_forest import effect, rests_on, worthwhile
from dashboard.text.labels import HARMS, HELPS, TOO_LITTLE_DATA, label, marked
from dashboard.text.numbers import count, listed

NOT_A_TRIAL = (
    "These data are not a trial: coaches chose who was given which drill, mostly on a day that looked bad. "
    "The season's model allows for that choice as far as it rests on what was measured; it can't allow for "
    "what only the coach saw."
)
OVERSTATED = "What changes on the day overstates what is kept, and at times reverses."
HOW_TO_READ = (
    "Filled: what was kept at the season's end among those given the drill. Hollow: what changed on the "
    "same day. Bars hold the true effect nine times in ten; one that runs to the edge goes on beyond it. "
    "The pale strip is smaller than a change worth the time."
)
CANNOT_TELL = (
    "This page can't tell who coaches best. Students are not shared out by lot, they differ in more than "
    "was measured, and only footwork is measured. It can tell when a group's gain lies outside what chance "
    "would make, and so is worth a talk."
)
FUNNEL_HOW = (
    "A dot is the gain of one coach's students, per 90 days, in smallest detectable changes, over the "
    "academy's core measures. The further right, the more precisely it is known. If all coaches were alike, "
    "80 of 100 dots would lie in the pale funnel and 95 of 100 between the dashed lines. In the table, the "
    "gain drawn toward the others allows for how few students a coach has. Nobody is ranked."
)
FEWEST_STUDENTS = 8  # of a coach or group, before anything is shown of them


def drill_sentence(row: Mapping[str, Any]) -> str:
    """One drill on one aim: what was kept, on the day, on how much, and the label."""
    aim = f"“{row['aim_name']}”"
    if row["label"] == TOO_LITTLE_DATA or row["kept"] is None:
        return f"On {aim}: {rests_on(dict(row))}. {label(TOO_LITTLE_DATA)} to say whether it helps."
    kept = effect(dict(row), "kept", row["unit"], row["places"])
    text = f"On {aim}: {kept} toward better, kept at the season's end; {rests_on(dict(row))}. "
    text += f"{marked(row['label'])}."
    if row["label"] not in (HELPS, HARMS) and row["swc"] is not None:
        text += f" A change is worth the time from {worthwhile(dict(row))} on."
    if row["same_day"] is not None:
        day = effect(dict(row), "same_day", row["unit"], row["places"])
        name = "On the same day, against sessions without a drill" if _compared(row) else "Change on the day"
        text += f" {name}: {day}. {OVERSTATED}"
    return text


def _compared(row: Mapping[str, Any]) -> bool:
    return bool(row["same_day_kind"] == "effect")


def lots_sentence(row: Mapping[str, Any]) -> str:
    """What doses that lots decided say; empty where none were drawn."""
    n = row["n_lots"] or 0
    if not n:
        return (
            "No lots have been drawn for it yet. When either of two drills would do, "
            "draw lots with: underfoot draw"
        )
    students = count(n, "student")
    if row["lots"] is None:
        return f"Lots decided for {students}: too few to speak of an effect. Their doses are kept apart."
    said = effect(dict(row), "lots", row["unit"], row["places"])
    return f"Where lots decided ({students}): kept {said}. This part is a fair comparison."


def thin_sentence(row: Mapping[str, Any]) -> str:
    """How thin the evidence of a drill is, for the planner."""
    if row["label"] is None:
        return "Never set, or not measured before and after: nothing is known."
    rests = rests_on(dict(row))
    if row["label"] == TOO_LITTLE_DATA or row["kept"] is None:
        return f"{rests.capitalize()}: too thin to rank."
    width = (row["kept_hi"] - row["kept_lo"]) / 2
    if row["swc"] and width > 2 * row["swc"]:
        return f"{rests.capitalize()}: thin, the true effect may be quite another."
    return f"{rests.capitalize()}."


def age_sentence(min_age: int | None) -> str:
    """From which age a drill is meant; empty for all."""
    return "" if min_age is None else f"For players from {min_age} years on."


def ranked(candidates: pl.DataFrame) -> pl.DataFrame:
    """Drills for a fault: those with enough data by what they kept, then those with too little, then untried.

    `candidates`: drill, label, kept, swc (null where nothing is known). Kept effects are compared in smallest
    worthwhile changes.
    """
    known = (
        pl.col("label").is_not_null() & (pl.col("label") != TOO_LITTLE_DATA) & pl.col("kept").is_not_null()
    )
    return (
        candidates.with_columns(
            pl.when(known).then(0).when(pl.col("label").is_not_null()).then(1).otherwise(2).alias("tier"),
            pl.when(known).then(pl.col("kept") / pl.col("swc")).alias("by"),
        )
        .sort("tier", "by", "name", descending=[False, True, False], nulls_last=True)
        .drop("by")
    )


def best_sentence(ranks: pl.DataFrame, fault: str) -> str:
    """The planner's answer in a sentence; claims nothing that the labels do not."""
    helps = ranks.filter(pl.col("label") == HELPS)["name"].to_list()
    if helps:
        verb = "helps" if len(helps) == 1 else "help"
        return f"For “{fault}”, {listed(helps)} {verb}, as far as this season shows."
    known = ranks.filter(pl.col("tier") == 0)
    if known.is_empty():
        return (
            f"For “{fault}”, no drill has data enough to be ranked. Each dose set and re-measured adds some."
        )
    return (
        f"For “{fault}”, no drill is shown to help yet. The order below is what the data lean to, and may be "
        "chance."
    )
