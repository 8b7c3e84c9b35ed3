"""What coaches saw by eye: which visits were looked at for what, and how often each fault or sign was seen.

A visit counts as looked at by a coach who wrote any `saw` note in it, and a code as looked for when that
coach named it at least once in the season; in such a visit a code not named counts as not seen. A `saw` note
of grade 0 says so outright: looked for, and not there. A nudge check looks for two faults of its own: balance
lost backward is weight seen in the heels, lost forward in the toes, and a direction that was held counts as
not seen.
"""

from collections.abc import Iterator

import polars as pl

from models.season.spans import in_spans, with_rate
from warehouse.store import Writer
from warehouse.tables import columns

LEAST_VISITS = 3
SAW = "SELECT *, coalesce(grade, 1) > 0 AS seen FROM academy.note WHERE kind = 'saw' AND code IS NOT NULL"
NUDGED = """
    SELECT *, lost AS seen,
        CASE direction WHEN 'back' THEN 'heels_at_address' ELSE 'toes_at_address' END AS code
    FROM academy.steadiness
    WHERE direction IN ('back', 'forward')
"""


def saw_and_nudged(writer: Writer) -> Iterator[pl.DataFrame]:
    """season, session, visit, student, day, coach, code, seen of saw notes in a season; and of nudges."""
    for noted in (SAW, NUDGED):
        yield writer.sql(
            "SELECT coalesce(session.season, dated.season) AS season, noted.session, "
            "coalesce(noted.session, noted.student || ' ' || noted.day) AS visit, noted.student, noted.day, "
            f"noted.author AS coach, noted.code, noted.seen FROM ({noted}) AS noted "
            "LEFT JOIN academy.session USING (session) "
            'LEFT JOIN academy.season AS dated ON noted.day BETWEEN dated."from" AND dated."to" '
            "WHERE coalesce(session.season, dated.season) IS NOT NULL ORDER BY noted.note"
        )


def looked_for(saw: pl.DataFrame, nudges: pl.DataFrame) -> pl.DataFrame:
    """season, visit, coach, code, seen: one row for each visit, coach and code that was looked for.

    `saw` and `nudges`: season, visit, coach, code, seen of each saw note and nudge.
    """
    keys = ["season", "visit", "coach", "code"]
    visits = saw.select("season", "visit", "coach").unique()
    named = saw.select("season", "coach", "code").unique()
    seen = saw.group_by(keys).agg(pl.col("seen").any())
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
    touched = set(writer.sql("SELECT student FROM touched")["student"])
    return eye_rates(*saw_and_nudged(writer)).filter(pl.col("student").is_in(touched))


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
    counts = (
        in_spans(found.sort("day", "visit"), own, LEAST_VISITS)
        .group_by(*own, "span")
        .agg(
            looked=pl.len().cast(pl.Int32),
            seen=pl.col("seen").sum().cast(pl.Int32),
            last_seen=pl.col("day").filter("seen").max(),
        )
        .sort(*own, "span")
    )
    return with_rate(counts, "seen", "looked").select(columns("season.eye_rate").keys())
