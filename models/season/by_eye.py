"""What coaches saw by eye: which visits were looked at for what, and how often each fault or sign was seen.

A visit counts as looked at by a coach who wrote any `saw` note in it, and a code as looked for when that
coach named it at least once in the season; in such a visit a code not named counts as not seen. A nudge check
looks for two faults of its own: balance lost backward is weight seen in the heels, lost forward in the toes,
and a direction that was held counts as not seen.
"""

import polars as pl

from models.season.estimation import wilson
from models.sql import columns
from warehouse.store import Writer

LOST_MEANS = {"back": "heels_at_address", "forward": "toes_at_address"}
NOW_DAYS, LEAST_VISITS = 28, 3
_SEASON = (
    "LEFT JOIN academy.session USING (session) LEFT JOIN academy.season AS dated "
    'ON {0}.day BETWEEN dated."from" AND dated."to"'
)
_VISIT = (
    "coalesce(session.season, dated.season) AS season, {0}.session, "
    "coalesce({0}.session, {0}.student || ' ' || {0}.day) AS visit, {0}.student, {0}.day, {0}.author AS coach"
)


def saw_rows(writer: Writer) -> pl.DataFrame:
    """season, session, visit, student, day, coach, code: one row a saw note inside a season."""
    return writer.sql(
        f"SELECT {_VISIT.format('note')}, note.code FROM academy.note AS note "
        f"{_SEASON.format('note')} WHERE note.kind = 'saw' AND note.code IS NOT NULL "
        f"AND coalesce(session.season, dated.season) IS NOT NULL ORDER BY note.note"
    )


def nudge_rows(writer: Writer) -> pl.DataFrame:
    """season, session, visit, student, day, coach, code, seen: one row a nudge that looks for a fault."""
    rows = writer.sql(
        f"SELECT {_VISIT.format('nudge')}, nudge.direction, nudge.lost AS seen "
        f"FROM academy.steadiness AS nudge {_SEASON.format('nudge')} "
        f"WHERE coalesce(session.season, dated.season) IS NOT NULL ORDER BY nudge.note"
    )
    tried = rows.filter(pl.col("direction").is_in(list(LOST_MEANS)))
    return tried.with_columns(
        code=pl.col("direction").replace_strict(LOST_MEANS, return_dtype=pl.String)
    ).drop("direction")


def looked_for(saw: pl.DataFrame, nudges: pl.DataFrame) -> pl.DataFrame:
    """season, visit, coach, code, seen: one row for each visit, coach and code that was looked for.

    `saw`: season, visit, coach, code of each saw note; `nudges`: the same and `seen`.
    """
    keys = ["season", "visit", "coach", "code"]
    visits, named = (
        saw.select("season", "visit", "coach").unique(),
        saw.select("season", "coach", "code").unique(),
    )
    seen = saw.select(keys).unique().with_columns(seen=pl.lit(value=True))
    looked = (
        visits.join(named, on=["season", "coach"])
        .join(seen, on=keys, how="left")
        .select(*keys, pl.col("seen").fill_null(value=False))
    )
    return (
        pl.concat([looked, nudges.select(*keys, "seen")]).group_by(keys).agg(pl.col("seen").any()).sort(keys)
    )


def eye_rate_rows(writer: Writer) -> pl.DataFrame:
    """Rows of season.eye_rate of the touched students.

    What a coach looks for is known from all their notes, so these are read for everyone.
    """
    saw, nudges = saw_rows(writer), nudge_rows(writer)
    touched = set(writer.sql("SELECT student FROM touched")["student"])
    return eye_rates(saw, nudges).filter(pl.col("student").is_in(touched))


def eye_rates(saw: pl.DataFrame, nudges: pl.DataFrame) -> pl.DataFrame:
    """Rows of season.eye_rate: visits that looked for a code, and those that saw it.

    `now` is the last 28 days up to the last visit that looked for it, reaching back to three such visits.
    Rates have Wilson's 90 % interval.
    """
    both = [frame.select("visit", "student", "day") for frame in (saw, nudges)]
    days = pl.concat(both).group_by("visit", "student").agg(pl.col("day").min())
    found = (
        looked_for(saw, nudges)
        .group_by("season", "visit", "code")
        .agg(pl.col("seen").any())
        .join(days, on="visit")
    )
    own = ["season", "student", "code"]
    newest_first = pl.col("day").rank("ordinal", descending=True).over(own)
    recent = pl.col("day") > pl.col("day").max().over(own) - pl.duration(days=NOW_DAYS)
    span = pl.when(recent | (newest_first <= LEAST_VISITS)).then(pl.lit("now")).otherwise(pl.lit("before"))
    dated = found.sort("day", "visit").with_columns(span=span)
    counts = (
        pl.concat([dated, dated.with_columns(span=pl.lit("season"))])
        .group_by(*own, "span")
        .agg(
            looked=pl.len().cast(pl.Int32),
            seen=pl.col("seen").sum().cast(pl.Int32),
            last_seen=pl.col("day").filter("seen").max(),
        )
        .sort(*own, "span")
    )
    lo, hi = wilson(counts["seen"].to_numpy(), counts["looked"].to_numpy())
    return counts.with_columns(
        rate=pl.col("seen") / pl.col("looked"), rate_lo=pl.Series(lo, dtype=pl.Float64),
        rate_hi=pl.Series(hi, dtype=pl.Float64),
    ).select(columns("season.eye_rate").keys())  # fmt: skip
