"""What the Data quality page says: what was left out, by reason, device and coach, over time."""

from datetime import datetime
from importlib import metadata, resources
from typing import Any

import polars as pl

from dashboard.charts import left_out
from dashboard.charts.look import in_words
from dashboard.kept import kept
from dashboard.queries import academy
from dashboard.section import Picture, Section, nonempty
from dashboard.text.catalogue import Words, _, mark
from dashboard.text.labels import ROLES
from dashboard.text.numbers import capitalized, count, number
from dashboard.text.reasons import USABLE, reason
from warehouse import access_log
from warehouse.access import Reader

ALL = "all"
LINES_SHOWN = 500  # of the access log, the newest
GROUPINGS = Words({"reason": "Reason", "device": "Device", "coach": "Coach"})  # what the picture can be by
HOW_TO_READ = mark(
    "Each circle is a week; its area is the number left out. A swing counts once, under the first reason "
    "that kept it out. A refused delivery counts once, under the day it came in if its own day could not be "
    "read. Nothing is thrown away: once corrected, it counts."
)


def health(reader: Reader) -> pl.DataFrame:
    """Swings taken in and left out: season, day, week, device, coach, reason (a code), said, n."""
    nothing = _("Nothing has come in yet. Drop a delivery on the Deliveries page.")
    rows = nonempty(academy.data_health(reader), nothing)
    return rows.with_columns(
        pl.col("device", "coach").fill_null(_("Not named")),
        in_words(rows["reason"], _sentence_case, "said"),
        pl.col("day").dt.truncate("1w").alias("week"),
    )


def looked(reader: Reader) -> pl.DataFrame:
    """Who opened a young player's page, and who was refused what; the newest first.

    Raises
        UnderfootError: nobody has looked yet.
    """
    names = dict(reader.sql("SELECT person, display_name FROM person").iter_rows())

    def named(line: dict[str, Any], column: str) -> str | None:
        return names.get(line.get(column), line.get(column))

    outcomes = {"opened": _("opened"), "refused": _("refused"), "rewritten": _("log shortened")}
    zone = reader.settings.zone
    rows = [
        {
            _("When"): datetime.fromisoformat(line["at"]).astimezone(zone).strftime("%Y-%m-%d %H:%M"),
            _("Who"): named(line, "viewer"),
            _("Role"): ROLES.get(str(line.get("role")), line.get("role")),
            _("Page"): _(str(line.get("page") or "")),
            _("Student"): named(line, "student"),
            _("Outcome"): outcomes.get(str(line.get("outcome"))),
            _("From"): line.get("from"),
            _("Why"): _(str(line.get("why") or "")),
        }
        for line in list(access_log.lines(reader.home))[: -LINES_SHOWN - 1 : -1]
    ]
    found = pl.DataFrame(rows, infer_schema_length=None)
    return nonempty(found.select(pl.all().cast(pl.String)), _("Nobody has opened a young player's page yet."))


def version() -> str:
    """Which version runs, as underfoot --version prints it."""
    return _("Underfoot, version {version}").format(version=metadata.version("underfoot"))


def changelog() -> str:
    """What has changed, version by version."""
    return resources.files("warehouse").joinpath("CHANGELOG.md").read_text(encoding="utf-8")


def _sentence_case(code: str) -> str:
    return capitalized(reason(code))


def filters(rows: pl.DataFrame) -> dict[str, tuple[str, dict[str, str]]]:
    """Season, device and coach: column → its title, and what it can be, by code."""
    names = {column: rows[column].drop_nulls().unique().sort() for column in ("season", "device", "coach")}
    each = {column: {name: name for name in values} for column, values in names.items()}
    return {
        "season": (_("Season"), {ALL: _("All seasons"), **dict(reversed(each["season"].items()))}),
        "device": (GROUPINGS["device"], {ALL: _("All devices"), **each["device"]}),
        "coach": (GROUPINGS["coach"], {ALL: _("All coaches"), **each["coach"]}),
    }


@kept
def left_out_weekly(
    reader: Reader,  # noqa: ARG001 - kept with its reader
    rows: pl.DataFrame,
    by: str,
    *,
    narrow: bool,
) -> Section:
    """What was left out of `rows`, pictured `by` reason, device or coach."""
    usable = int(rows.filter(pl.col("reason") == USABLE)["n"].sum())
    nothing = _("Nothing was left out here: all of {swings} count.").format(swings=count(usable, "swing"))
    out = nonempty(rows.filter(pl.col("reason") != USABLE), nothing)
    name = GROUPINGS[by]
    weekly = out.group_by("week", group="said" if by == "reason" else by).agg(pl.col("n").sum())
    chart = left_out.picture(weekly, name, left_out.finding(weekly, usable, name), narrow=narrow)
    columns = {"day": _("Day"), "said": GROUPINGS["reason"], "n": _("Left out")}
    columns |= {column: GROUPINGS[column] for column in ("device", "coach")}
    table = out.select("day", "said", "device", "coach", "n").rename(columns)
    return Section(Picture(chart, left_out.words(weekly, name), table, _(HOW_TO_READ)))


def totals(rows: pl.DataFrame, column: str) -> pl.DataFrame:
    """By device or by coach: usable, left out, the share left out, and the most frequent reason."""
    usable = pl.col("reason") == USABLE
    found = rows.group_by(column).agg(
        pl.col("n").filter(usable).sum().alias("usable"), pl.col("n").filter(~usable).sum().alias("out")
    )
    often = (
        rows.filter(~usable)
        .group_by(column, "said")
        .agg(pl.col("n").sum())
        .sort("n", "said", descending=[True, False])
        .unique(column, keep="first", maintain_order=True)
    )
    totalled = found.join(often.select(column, "said"), on=column, how="left").sort(column)
    share = 100 * totalled["out"] / (totalled["out"] + totalled["usable"])
    return totalled.select(
        pl.col(column).alias(GROUPINGS[column]),
        pl.col("usable").alias(_("Usable swings")),
        pl.col("out").alias(_("Left out")),
        in_words(share, lambda v: number(v, "%", 1), _("Share left out")),
        pl.col("said").alias(_("Most often")),
    )
