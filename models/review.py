"""From the warehouse to the weekly review and back: season.signal and season.signal_week."""

from datetime import timedelta

import polars as pl

from models.answers import BASELINE, bands
from models.comparisons import eye_plate_looks
from models.season.phrases import Words
from models.season.signals import Review, Week, review
from warehouse.store import Writer

ENROLLED = 'role = \'student\' AND ("left" IS NULL OR "left" > ?) AND (joined IS NULL OR joined <= ?)'


def week_rows(writer: Writer) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Rows of season.signal and season.signal_week of the newest week; none before the first session."""
    as_of = writer.sql("SELECT max(day) FROM academy.session").item()
    if as_of is None:
        return pl.DataFrame(), pl.DataFrame()
    found = review(_week(writer, as_of))
    monday = as_of - timedelta(days=as_of.weekday())
    told = {
        "week": monday, "as_of": as_of, "judged": found.judged, "listed": found.listed,
        "expected_by_chance": found.expected_by_chance,
    }  # fmt: skip
    return _signal_frame(found), pl.DataFrame([told])


def _signal_frame(found: Review) -> pl.DataFrame:
    texts = dict.fromkeys(("student", "coach", "subject", "club_family", "label"), pl.String())
    types: dict[str, pl.DataType] = {**texts, "kindred": pl.List(pl.String), "p": pl.Float64()}
    return pl.DataFrame(found.signals, schema_overrides=types, infer_schema_length=None)


def _week(writer: Writer, as_of: object) -> Week:
    seasons = writer.sql(
        'SELECT season FROM academy.season WHERE "from" <= ? ORDER BY "from" DESC LIMIT 1', [as_of]
    )
    season = [seasons.item() if len(seasons) else ""]
    looks = eye_plate_looks(writer)
    metrics = writer.sql("SELECT metric, label, unit, decimals FROM academy.metric")
    return Week(
        as_of=as_of,  # type: ignore[arg-type]
        trend=writer.sql("SELECT * FROM season.student_trend WHERE season = ?", season),
        rates=writer.sql("SELECT * FROM season.student_fault_rate WHERE season = ?", season),
        values=writer.sql(
            "SELECT season, student, metric, club_family, day, session, mean FROM season.session_metric "
            f"WHERE {BASELINE} AND season = ? "
            "AND metric IN (SELECT metric FROM academy.metric WHERE core AND better = 'band')",
            season,
        ),
        looks=looks.filter(pl.col("season") == season[0]),
        discomfort=_open_discomfort(writer),
        enrolled=writer.sql(
            f"SELECT person AS student, joined FROM academy.person WHERE {ENROLLED} ORDER BY 1",
            [as_of, as_of],
        ),
        last_day=dict(
            writer.sql(
                "SELECT student, max(day) FROM academy.session WHERE has_plate OR has_clip GROUP BY 1"
            ).iter_rows()
        ),
        refused=_refused(writer, as_of),
        coach=_coaches(writer, as_of),
        bands=bands(writer),
        words=Words(
            {code: (label, unit, decimals) for code, label, unit, decimals in metrics.iter_rows()},
            dict(writer.sql("SELECT fault, name FROM academy.fault").iter_rows()),
        ),
    )


def _open_discomfort(writer: Writer) -> pl.DataFrame:
    """Discomfort notes that no later note of the same student has closed, for their place or for all."""
    return writer.sql(
        """
        SELECT n.student, coalesce(n.code, 'place not named') AS code, max(n.day) AS day
        FROM academy.note n
        WHERE n.kind = 'discomfort' AND NOT EXISTS (
            FROM academy.note o
            WHERE o.student = n.student AND o.kind = 'discomfort_over'
                AND (o.code IS NULL OR replace(lower(o.code), ' ', '_') = replace(lower(n.code), ' ', '_'))
                AND o."at" >= n."at"
        )
        GROUP BY 1, 2
        """
    )


def _refused(writer: Writer, as_of: object) -> pl.DataFrame:
    """Whole deliveries and sessions refused since the week's Monday that have not loaded after all."""
    return writer.sql(
        """
        SELECT
            coalesce(r.name, r.session, r.delivery, 'without a name') AS delivery,
            r.student, r.coach, r.sentence
        FROM academy.refusal r
        WHERE r.swing_no IS NULL
            AND r."at" >= date_trunc('week', CAST(? AS DATE))
            AND NOT EXISTS (FROM academy.session s WHERE s.session = r.session)
        ORDER BY r."at", r.sentence
        """,
        [as_of],
    )


def _coaches(writer: Writer, as_of: object) -> dict[str, str]:
    """Who coaches each student on that day, the newest coaching first; else who held the last session."""
    rows = writer.sql(
        """
        SELECT student, coach, 1 AS sure, "from" AS since FROM academy.coaching
        WHERE "from" <= $1 AND ("to" IS NULL OR "to" >= $1)
        UNION ALL
        SELECT student, coach, 0, day FROM academy.session WHERE coach IS NOT NULL
        ORDER BY sure, since, coach
        """,
        [as_of],
    )
    return dict(rows.select("student", "coach").iter_rows())
