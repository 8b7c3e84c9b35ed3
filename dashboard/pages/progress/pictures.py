"""The pictures of the progress page."""

from dataclasses import replace
from typing import Any

import polars as pl

from dashboard.charts import practice_weeks as weeks_chart
from dashboard.charts import ten_swings as swings_chart
from dashboard.section import Picture
from dashboard.student_season import MeasureSeason
from dashboard.text.catalogue import _
from dashboard.text.numbers import capitalized, count, in_ten, lowered, on

TEN = 10  # swings; fewer are counted as they are, not as so many of ten


def ten_swings(
    clean: str | None, now: dict[str, Any], before: dict[str, Any] | None, *, narrow: bool
) -> Picture:
    """How many of ten swings go well, lately and before."""
    rows = [(swings_chart.NOW, 1 - now["rate"])]
    if before is not None and before["usable"] >= TEN:
        rows.append((swings_chart.BEFORE, 1 - before["rate"]))
    rates = pl.DataFrame(rows, schema={"when": pl.String, "good": pl.Float64}, orient="row")
    clean = _(clean) if clean else _("swings without “{fault}”").format(fault=lowered(now["fault"]))
    finding = _("{clean}: {good} swings lately").format(
        clean=capitalized(clean), good=in_ten(1 - now["rate"])
    )
    return Picture(
        swings_chart.picture(rates, finding, narrow=narrow),
        swings_chart.words(rates),
        swings_chart.table(rates),
    )


def season_line(found: MeasureSeason, finding: str, *, narrow: bool) -> Picture:
    """The season line, without lessons and changes of device; its title, or its value at the last session."""
    line, measure = found.line, found.line.measure
    finding = finding or _("{measure}: {value} at your last session").format(
        measure=measure.label, value=measure.say(found.last)
    )
    key = [_("Each dot is one session; the bar through it shows how far it can be trusted.")]
    if line.band != (None, None):
        key.append(_("The pale strip is the aim."))
    if not line.line.is_empty():
        key.append(_("The line runs through the season, and its shading shows how far it can be trusted."))
    ticks = line.ticks.filter(pl.col("kind") != "lesson")
    own = replace(found, line=replace(line, ticks=ticks, changes=line.changes.clear()))
    return own.picture(finding, " ".join(key), narrow=narrow)


def practice_weeks(practice: pl.DataFrame, *, narrow: bool) -> Picture:
    """The eight weeks up to the last practice, so that the work done is what is seen."""
    rows = weeks_chart.weeks(practice, practice.get_column("day").sort()[-1])
    finding = _("Home practice on {days} in the {weeks} weeks to {day}").format(
        days=count(int(rows["days"].sum()), "day"),
        weeks=weeks_chart.WEEKS,
        day=on(practice.get_column("day").sort()[-1]),
    )
    chart = weeks_chart.picture(rows, finding, narrow=narrow)
    return Picture(chart, weeks_chart.words(rows), weeks_chart.table(rows))
