"""What is said of a drill: what was kept, on how much data, and how it ranks; never more than its label."""

from collections.abc import Mapping
from typing import Any

import polars as pl

from dashboard.charts.drill_forest import effect, rests_on, worthwhile
from dashboard.text.catalogue import _, ngettext
from dashboard.text.labels import SHAPES, label, marked
from dashboard.text.numbers import NBSP, capitalized, count, listed
from warehouse.vocabulary import DRAW_LOOKS, DRAW_STUDENTS, HARMS, HELPS, TOO_LITTLE_DATA


def drill_sentence(row: Mapping[str, Any]) -> str:
    """One drill on one aim: what was kept, what changed on the day, on how much data, and the verdict."""
    row = dict(row)
    if row["label"] == TOO_LITTLE_DATA or row["kept"] is None:
        return _("On “{aim}”: {basis}. {too_little} to say whether it helps.").format(
            aim=row["aim_name"], basis=rests_on(row), too_little=label(TOO_LITTLE_DATA)
        )
    kept = _("On “{aim}”: {kept} kept at the end of the season, where plus is better; {basis}. {verdict}.")
    kept = kept.format(
        aim=row["aim_name"], kept=effect(row, "kept", row["unit"], row["places"]), basis=rests_on(row),
        verdict=marked(row["label"]),
    )  # fmt: skip
    parts = [kept]
    if row["label"] not in (HELPS, HARMS) and row["swc"] is not None:
        parts.append(_("A change is worth the time from {smallest} up.").format(smallest=worthwhile(row)))
    if row["same_day"] is not None:
        text = (
            _("On the same day, compared with sessions without a drill: {effect}.")
            if row["same_day_kind"] == "effect"
            else _("Change on the day, warming up included: {effect}.")
        )
        parts.append(text.format(effect=effect(row, "same_day", row["unit"], row["places"])))
        parts.append(_("The change on the day overstates what is kept, and can even point the other way."))
    return " ".join(parts)


def random_draw_sentence(row: Mapping[str, Any]) -> str:
    """What random draws between a drill and another say, which is the only fair comparison."""
    n = row["n_lots"] or 0
    if not n:
        return _(
            "It has not been assigned by random draw yet. When either of two drills would do, let chance "
            "decide with: underfoot draw"
        )
    said = {
        "students": count(n, "student"), "planned": DRAW_STUDENTS, "looks": len(DRAW_LOOKS),
        "look": row["lots_look"], "other": row["lots_against_name"] or row["lots_against"],
    }  # fmt: skip
    if row["lots"] is None:
        return _(
            "Assigned by random draw between it and {other}: {students} measured twice since, of {planned} "
            "planned. The result is looked at only {looks} times, first when half of them have been measured."
        ).format(**said)
    return _(
        "Assigned by random draw between it and {other} ({students} of {planned} planned, look {look} of "
        "{looks}): kept {effect} compared with {other}. This part is a fair comparison. It allows for "
        "looking {looks} times: of 100 pairs of equally good drills, about 5 would still seem to differ."
    ).format(effect=effect(dict(row), "lots", row["unit"], row["places"]), **said)


def evidence_sentence(row: Mapping[str, Any]) -> str:
    """How much data a drill's effect rests on, and whether that is enough."""
    if row["label"] is None:
        return _("Never set, or never measured before and after: its effect is unknown.")
    basis = capitalized(rests_on(dict(row)))
    if row["label"] == TOO_LITTLE_DATA or row["kept"] is None:
        return _("{basis}: too little data to rank.").format(basis=basis)
    width = (row["kept_hi"] - row["kept_lo"]) / 2
    if row["swc"] and width > 2 * row["swc"]:
        return _("{basis}: weak evidence, the true effect may be quite different.").format(basis=basis)
    return f"{basis}."


def age_sentence(min_age: int | None) -> str:
    """From which age a drill is meant; empty for all."""
    return "" if min_age is None else _("For players aged {age} and over.").format(age=min_age)


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


def answer(ranks: pl.DataFrame, fault: str) -> str:
    """The answer for a fault in a sentence; claims no more than the labels do."""
    helps = ranks.filter(pl.col("label") == HELPS)["name"].to_list()
    if helps:
        return ngettext(
            "For “{fault}”, {drills} helps, as far as this season shows.",
            "For “{fault}”, {drills} help, as far as this season shows.",
            len(helps),
        ).format(fault=fault, drills=listed(helps))
    if ranks.filter(pl.col("tier") == 0).is_empty():
        return _(
            "For “{fault}”, no drill has enough data to be ranked. Every time a drill is set and measured "
            "again adds to it."
        ).format(fault=fault)
    return _(
        "For “{fault}”, no drill has been shown to help yet. The order below follows the data so far, and "
        "may be chance."
    ).format(fault=fault)


def forest_finding(own: pl.DataFrame) -> str:
    """The title of the forest: what helps, what harms, and about how many nothing is clear."""
    helps, harms = (own.filter(pl.col("label") == code)["name"].to_list() for code in (HELPS, HARMS))
    rest = len(own) - len(helps) - len(harms)
    if not helps and not harms:
        return _("None of {drills} is shown to help or to harm yet").format(drills=count(len(own), "drill"))
    parts = []
    if helps:
        text = ngettext("{drills} helps", "{drills} help", len(helps)).format(drills=listed(helps))
        parts.append(f"{SHAPES[HELPS]}{NBSP}{text}")
    if harms:
        text = ngettext("{drills} harms", "{drills} harm", len(harms)).format(drills=listed(harms))
        parts.append(f"{SHAPES[HARMS]}{NBSP}{text}")
    if rest:
        parts.append(_("nothing clear about {others}").format(others=count(rest, "other")))
    return "; ".join(parts)
