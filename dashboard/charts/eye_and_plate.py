"""Eye and plate: how far what a coach saw agrees with what was measured, fault by fault."""

from typing import Any

import altair as alt
import polars as pl

from dashboard.charts import look
from dashboard.text.catalogue import _, mark
from dashboard.text.numbers import count, number

ROW_HEIGHT = 30
# Landis and Koch 1977, Biometrics 33:159 (from memory).
GRADES = (
    (0.8, mark("almost always")), (0.6, mark("mostly")), (0.4, mark("fairly often")), (0.2, mark("a little")),
    (float("-inf"), mark("hardly more than chance")),
)  # fmt: skip


def grade(kappa: float | None) -> str:
    """Agreement beyond chance, in words; a dash where it is not known."""
    if kappa is None:
        return "–"
    return _(next(word for floor, word in GRADES if kappa > floor))


def picture(rows: pl.DataFrame, finding: str, *, narrow: bool = False) -> alt.LayerChart:
    """Draw one dot a fault. `rows`: name, position, kappa, kappa_lo, kappa_hi (90 %), n, agree_pct."""
    known = rows.drop_nulls("kappa")
    drawn = known.with_columns(
        look.broken(known["name"], 22 if narrow else 44), look.in_words(known["kappa"], grade, "grade")
    )
    y = alt.Y("row:N", sort=drawn.sort("position")["row"].to_list(), title=None, axis=look.name_axis())
    low = min([-0.2, *drawn["kappa_lo"].drop_nulls().to_list()])
    x = alt.X(
        "kappa:Q", title=_("Agreement beyond chance (Cohen's kappa)"),
        scale=alt.Scale(domain=[max(low, -1.0), 1], nice=False),
        axis=alt.Axis(tickCount=5, labelExpr=look.MINUS),
    )  # fmt: skip
    tips = look.tips({
        "name:N": _("Fault"), "kappa:Q": (_("Kappa"), ".2f"), "grade:N": _("Agree"),
        "agree_pct:Q": _("Same in % of sessions"), "n:Q": _("Sessions"),
    })  # fmt: skip
    layers = look.dots(drawn, x, y, ("kappa_lo", "kappa_hi"), tips)
    height = max((1.2 if narrow else 1) * ROW_HEIGHT * len(drawn), 60)
    return look.layered(layers, height, finding, narrow=narrow)


def finding(rows: pl.DataFrame) -> str:
    """The title: on which fault eye and plate agree least, and that neither is the truth."""
    known = rows.drop_nulls("kappa").filter(pl.col("kappa") <= GRADES[1][0])
    total = len(rows.drop_nulls("kappa"))
    if known.is_empty():
        return _("Eye and plate mostly agree, on all {faults} that both judged").format(
            faults=count(total, "fault")
        )
    least = known.sort("kappa").row(0, named=True)
    return _("Eye and plate agree least on “{fault}”; mostly on {n} of {total} faults").format(
        fault=least["name"], n=total - len(known), total=total
    )


def words(rows: pl.DataFrame) -> str:
    """The picture in words, one part a fault."""
    said = [
        f"{row['name']}: {grade(row['kappa'])} ({number(row['kappa'], '', 2)}, {count(row['n'], 'session')})"
        for row in rows.drop_nulls("kappa").sort("position").iter_rows(named=True)
    ]
    if not said:
        return _("Not known yet.")
    return f"{_('How often eye and plate agree beyond chance.')} {'; '.join(said)}."


def table(rows: pl.DataFrame) -> pl.DataFrame:
    """Every fault as a row, with what only the eye saw and what only the plate measured."""
    return pl.DataFrame([_row(row) for row in rows.sort("position").iter_rows(named=True)])


def _row(row: dict[str, Any]) -> dict[str, Any]:
    kappa, lo, hi = (number(row[name], "", 2) for name in ("kappa", "kappa_lo", "kappa_hi"))
    interval = _("{lo} to {hi}").format(lo=lo, hi=hi)
    return {
        _("Fault"): row["name"],
        _("Sessions"): row["n"],
        _("Same in"): number(row["agree_pct"], "%"),
        _("Agree beyond chance"): grade(row["kappa"]),
        _("Kappa"): "–" if row["kappa"] is None else f"{kappa} ({interval})",
        _("Seen only"): row["seen_only"],
        _("Measured only"): row["measured_only"],
    }
