"""What to do with each drill: keep, change, stop or try, how sure that is, and what would settle it."""

from collections.abc import Mapping
from typing import Any

import polars as pl

from dashboard.charts.drill_forest import effect, worthwhile
from dashboard.text.catalogue import Words, _
from dashboard.text.labels import AGES
from dashboard.text.numbers import capitalized, count, joined, listed, lowered, number, quoted
from warehouse.vocabulary import CHANGE, DRILL_ADVICE, HARMS, KEEP, STOP, TOO_LITTLE_DATA, TRY

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
