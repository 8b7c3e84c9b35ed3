"""What is said of a drill: what was kept, on how much data, and how it ranks; never more than its label."""

from collections.abc import Mapping
from typing import Any

import polars as pl

from dashboard.charts.drill_forest import effect, rests_on, worthwhile
from dashboard.text.catalogue import Words, _, ngettext
from dashboard.text.labels import AGES, SHAPES, label, marked
from dashboard.text.numbers import NBSP, capitalized, count, joined, listed, lowered, number, quoted
from warehouse.vocabulary import (
    CHANGE,
    DRAW_LOOKS,
    DRAW_STUDENTS,
    DRILL_ADVICE,
    HARMS,
    HELPS,
    KEEP,
    STOP,
    TOO_LITTLE_DATA,
    TRY,
)

ADVICE = Words({KEEP: "Keep", CHANGE: "Change", STOP: "Stop", TRY: "Try"})


def advised(effects: pl.DataFrame) -> pl.DataFrame:
    """Every drill on its own aim: to keep, to change, to stop, to try; the surest of each first."""
    order = pl.col("advice").replace_strict(list(DRILL_ADVICE), range(len(DRILL_ADVICE)), default=None)
    sure = pl.col("kept").abs() / (pl.col("kept_hi") - pl.col("kept_lo"))
    return (
        effects.filter("own")
        .with_columns(pl.col("advice").fill_null(TRY))
        .sort(order, sure, "name", descending=[False, True, False], nulls_last=True)
    )


def kept_sentence(row: Mapping[str, Any]) -> str:
    """How much of a drill is kept, and how sure that is."""
    row = dict(row)
    if row["label"] == TOO_LITTLE_DATA or row["kept"] is None:
        return _("Too little data to say.")
    if row["advice"] == KEEP or row["label"] == HARMS:
        return _("{effect} kept.").format(effect=effect(row, "kept", row["unit"], row["places"]))
    most = number(max(row["kept_hi"], 0.0), row["unit"], row["places"], signed=True)
    if row["kept_lo"] > 0:
        return _("{effect} kept, not sure yet.").format(
            effect=effect(row, "kept", row["unit"], row["places"])
        )
    if row["kept_hi"] < row["swc"]:
        return _("At most {most} kept: below what matters, {smallest}.").format(
            most=most, smallest=worthwhile(row)
        )
    return _("At most {most} kept, perhaps nothing; {smallest} would matter.").format(
        most=most, smallest=worthwhile(row)
    )


def settled_by(row: Mapping[str, Any], rows: pl.DataFrame) -> str:
    """What would settle an open drill, of the drills `rows`; "" for one that is settled."""
    if row["advice"] not in (CHANGE, TRY):
        return ""
    others = rows.filter(pl.col("aim") == row["aim"], pl.col("drill") != row["drill"])
    if others.is_empty():
        return _("a second drill for the same aim")
    return _("underfoot draw {drill} {other}").format(drill=row["drill"], other=others["drill"][0])


def settling(rows: pl.DataFrame) -> str:
    """What would settle the open drills of `rows`, in a sentence; "" where every drill is settled."""
    ways = {row["name"]: settled_by(row, rows) for row in rows.iter_rows(named=True)}
    draws = sorted({way for way in ways.values() if way.startswith("underfoot")})
    alone = [name for name, way in ways.items() if way and way not in draws]
    said = []
    if draws:
        said.append(
            _("A random draw will settle what is still open: {commands}.").format(commands=listed(draws))
        )
    if alone:
        said.append(
            _("Before chance can decide about {drills}, add a second drill for the same aim to drills.csv.")
            .format(drills=listed([quoted(name) for name in alone]))
        )  # fmt: skip
    return " ".join(said)


def given(row: Mapping[str, Any]) -> str:
    """How often it was given, to how many, and the minutes spent on it."""
    said = _("{times} set or practised, {students} measured before and after").format(
        times=count(row["times"], "time"), students=count(row["n_students"], "student")
    )
    return said if row["minutes"] is None else f"{said}, {number(row['minutes'], _('minutes'))}"


def worked_for(groups: pl.DataFrame) -> str:
    """Groups of students whose own interval lies above zero; "" where there is none."""
    sure = groups.filter(pl.col("kept_lo") > 0)
    names = [AGES.get(name, capitalized(str(name))) for name in sure["name"]]
    return _("Worked for: {groups}.").format(groups=listed(names)) if names else ""


def finding(rows: pl.DataFrame) -> str:
    """The page's first sentence: which drills to keep, change and stop, and how many to go on trying."""
    named = {code: rows.filter(pl.col("advice") == code)["name"].to_list() for code in (KEEP, CHANGE, STOP)}
    parts = [
        f"{lowered(ADVICE[code])} {listed([quoted(name) for name in names])}"
        for code, names in named.items() if names
    ]  # fmt: skip
    if trying := len(rows.filter(pl.col("advice") == TRY)):
        parts.append(_("go on trying {drills}").format(drills=count(trying, "drill")))
    return capitalized("; ".join(parts))


def sentence(row: Mapping[str, Any], groups: pl.DataFrame) -> str:
    """One drill in a line: its aim, how sure, how often given, and for whom it worked."""
    said = _("For “{aim}”: {kept}").format(aim=row["aim_name"] or "–", kept=kept_sentence(row))
    return joined(said, f"{capitalized(given(row))}.", worked_for(groups))


def advice_table(rows: pl.DataFrame) -> pl.DataFrame:
    """The drills as rows to read and to save."""
    return pl.DataFrame(
        [
            {
                _("Drill"): row["name"], _("Do"): ADVICE[row["advice"]], _("For"): row["aim_name"] or "–",
                _("How sure"): kept_sentence(row), _("Given"): given(row),
                _("What would settle it"): settled_by(row, rows),
            }
            for row in rows.iter_rows(named=True)
        ]
    )  # fmt: skip


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
        "Assigned by random draw between it and {other}: at look {look} of {looks} it had kept {effect} "
        "compared with {other}. So far {students} have been measured twice since their draw; {planned} were "
        "planned. This part is a fair comparison. It allows for looking {looks} times: of 100 pairs of "
        "equally good drills, about 5 would still seem to differ."
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
