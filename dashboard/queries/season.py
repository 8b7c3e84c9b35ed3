"""A season's answers: session means, fitted lines, fault rates, bands and what was done in between."""

from collections.abc import Iterable, Sequence
from typing import Any

import polars as pl

from dashboard.queries import translated
from dashboard.text.numbers import Band
from warehouse.access import Reader

# 95th percentiles of Student's t, 1 to 20 degrees of freedom (published tables); 1.645 beyond.
T_95 = (
    6.314, 2.920, 2.353, 2.132, 2.015, 1.943, 1.895, 1.860, 1.833, 1.812,
    1.796, 1.782, 1.771, 1.761, 1.753, 1.746, 1.740, 1.734, 1.729, 1.725,
)  # fmt: skip
_T_LIST = "[" + ", ".join(map(str, T_95)) + "]"


def outside(values: Iterable[float], band: Band) -> int:
    """How many values lie outside a band; without ends, none does."""
    lo, hi = band
    return sum((lo is not None and value < lo) or (hi is not None and value > hi) for value in values)


def session_means(
    reader: Reader, metric: str, family: str, season: str | None, students: Sequence[str]
) -> pl.DataFrame:
    """One row per session: student, session, day, device, mean, lo, hi, n; full-pace baseline swings only.

    lo–hi holds the session's true value nine times in ten: ± 1.645 · √(σ²_session + σ²_swing / n) from the
    academy's own variance parts; where none are fitted, ± t · sd / √n of the session's own swings.
    """
    return reader.sql(
        f"""
        WITH kept AS (
            SELECT m.*, CASE
                WHEN r.sd_swing IS NOT NULL
                    THEN 1.645 * sqrt(coalesce(r.sd_session, 0) ** 2 + r.sd_swing ** 2 / m.n)
                WHEN m.n >= 2 THEN coalesce({_T_LIST}[m.n - 1], 1.645) * m.sd / sqrt(m.n)
            END AS half
            FROM session_metric m
            LEFT JOIN reliability r USING (season, metric, club_family)
            WHERE m.metric = ? AND m.club_family = ? AND m.season IS NOT DISTINCT FROM ?
                AND m.student IN (SELECT unnest(CAST(? AS VARCHAR[])))
                AND m.part = 'baseline' AND m.pace = 'full'
        )
        SELECT student, session, day, device, heel_source, mean, mean - half AS lo, mean + half AS hi, n
        FROM kept ORDER BY student, started_at
        """,
        [metric, family, season, list(students)],
    )


def session_rates(
    reader: Reader, fault: str, family: str, season: str | None, students: Sequence[str]
) -> pl.DataFrame:
    """The same rows for a fault: its rate in % of judged swings, with Wilson's 90 % interval."""
    return reader.sql(
        """
        WITH kept AS (
            SELECT student, session, started_at, day, device, heel_source,
                sum(flagged) AS k, sum(usable) AS n, 1.645 AS z
            FROM session_fault
            WHERE fault = ? AND club_family = ? AND season IS NOT DISTINCT FROM ?
                AND student IN (SELECT unnest(CAST(? AS VARCHAR[])))
                AND part = 'baseline' AND pace = 'full' AND usable > 0
            GROUP BY ALL
        ), parts AS (
            SELECT *, k / n AS p, z * z / n AS zn FROM kept
        )
        SELECT student, session, day, device, heel_source, 100 * p AS mean,
            100 * greatest((p + zn / 2 - z * sqrt(p * (1 - p) / n + zn / n / 4)) / (1 + zn), 0) AS lo,
            100 * least((p + zn / 2 + z * sqrt(p * (1 - p) / n + zn / n / 4)) / (1 + zn), 1) AS hi,
            CAST(n AS INTEGER) AS n
        FROM parts ORDER BY student, started_at
        """,
        [fault, family, season, list(students)],
    )


def ball_links(reader: Reader, student: str, family: str, season: str, outcome: str) -> pl.DataFrame:
    """Rows of what goes together with an outcome of the ball, by name in the order of the measures."""
    rows = reader.sql(
        """
        SELECT m.label AS name, m.position, b.per_sd, b.lo, b.hi, b.q, b.n_sessions, b.label
        FROM ball_link b JOIN metric m USING (metric)
        WHERE b.student = ? AND b.club_family = ? AND b.season = ? AND b.outcome = ? ORDER BY m.position
        """,
        [student, family, season, outcome],
    )
    return translated(rows, "name")


def trends(
    reader: Reader, metric: str, family: str, season: str | None, student: str | None = None
) -> pl.DataFrame:
    """Rows of the season's fit for a metric and family."""
    return reader.sql(
        """
        SELECT * FROM student_trend
        WHERE metric = ? AND club_family = ? AND season = ? AND (CAST(? AS VARCHAR) IS NULL OR student = ?)
        ORDER BY student
        """,
        [metric, family, season, student, student],
    )


def trend_labels(reader: Reader, student: str, season: str | None) -> pl.DataFrame:
    """One row per metric and family with a label: metric, club_family, label, n_sessions."""
    return reader.sql(
        """
        SELECT t.metric, t.club_family, t.label, t.n_sessions
        FROM student_trend t JOIN metric m USING (metric)
        WHERE t.student = ? AND t.season = ? ORDER BY t.club_family, m.position
        """,
        [student, season],
    )


def outcomes(reader: Reader, student: str, family: str, season: str) -> pl.DataFrame:
    """Rows of season.student_outcome in screen order, each with its measure's smallest worthwhile change."""
    return reader.sql(
        """
        SELECT o.*, r.worthwhile
        FROM student_outcome o
        JOIN metric m USING (metric)
        LEFT JOIN reliability r USING (season, metric, club_family)
        WHERE o.student = ? AND o.club_family = ? AND o.season = ?
            AND (r.worthwhile IS NOT NULL OR o.outcome = 'consistency')
        ORDER BY m.position, o.outcome
        """,
        [student, family, season],
    )


def trend_line(reader: Reader, student: str, metric: str, family: str, season: str | None) -> pl.DataFrame:
    """The fitted line: day, mean, lo, hi; empty before the first build."""
    return reader.sql(
        """
        SELECT day, mean, lo, hi FROM trend_line
        WHERE student = ? AND metric = ? AND club_family = ? AND season = ? ORDER BY day
        """,
        [student, metric, family, season],
    )


def fault_rates(reader: Reader, student: str, family: str, season: str | None) -> pl.DataFrame:
    """One row per fault and span (now, before) that has a rate; `fault` is its name, `code` its code."""
    rows = reader.sql(
        """
        SELECT r.fault AS code, f.name AS fault, f.position, f.phase, r.span, r.flagged, r.usable,
            r.rate, r.rate_lo, r.rate_hi, r.p_lower, r.label, r.n_sessions
        FROM student_fault_rate r JOIN fault f USING (fault)
        WHERE r.student = ? AND r.club_family = ? AND r.season = ? AND r.span IN ('now', 'before')
            AND r.rate IS NOT NULL AND r.usable > 0
        ORDER BY f.position, r.span
        """,
        [student, family, season],
    )
    return translated(rows, "fault")


def aim(reader: Reader, student: str, family: str, season: str, *, shared: bool) -> dict[str, Any] | None:
    """The row of season.aim; of a student not measured with these clubs, what was named without it."""
    rows = reader.sql(
        """
        SELECT * FROM aim
        WHERE student = ? AND shared = ? AND (season IS NULL OR (season = ? AND club_family = ?))
        ORDER BY season NULLS LAST LIMIT 1
        """,
        [student, shared, season, family],
    )
    return None if rows.is_empty() else rows.row(0, named=True)


def aim_forecasts(reader: Reader, student: str) -> pl.DataFrame:
    """Rows of season.aim_forecast of a student, set by set of metrics, the nearest weeks first."""
    return reader.sql("SELECT * FROM aim_forecast WHERE student = ? ORDER BY metrics, weeks", [student])


def agreed_aims(reader: Reader, student: str) -> pl.DataFrame:
    """Rows of season.agreed_aim of a student, the newest first."""
    return reader.sql("SELECT * FROM agreed_aim WHERE student = ? ORDER BY agreed DESC, note", [student])


def fault_chains(reader: Reader, student: str, season: str) -> pl.DataFrame:
    """Links between faults that the student's swings could be asked about, those borne out first."""
    return reader.sql(
        """
        SELECT c.* FROM fault_chain c LEFT JOIN fault f ON f.fault = c.earlier
        WHERE c.student = ? AND c.season = ?
        ORDER BY list_position(['goes_together', 'not_clear', 'too_few'], c.label), f.position,
            c.chain, c.place
        """,
        [student, season],
    ).unique(["earlier", "later"], maintain_order=True)


def fault_labels(reader: Reader, fault: str, family: str, season: str | None) -> pl.DataFrame:
    """student, label: how often the fault happens now against before."""
    return reader.sql(
        """
        SELECT student, label FROM student_fault_rate
        WHERE fault = ? AND club_family = ? AND season = ? AND span = 'now'
        """,
        [fault, family, season],
    )


def style(reader: Reader, student: str, family: str, season: str | None) -> tuple[str | None, int]:
    """The student's style by impact and from how many swings; (None, 0) while there are too few to tell."""
    rows = reader.sql(
        "SELECT student, style, n FROM style WHERE club_family = ? AND season = ?", [family, season]
    ).filter(student=student)
    return (None, 0) if rows.is_empty() else rows.row(0)[1:]


def bands(
    reader: Reader, family: str, person: dict[str, Any] | None = None, style_now: str | None = None
) -> dict[str, Band]:
    """Metric → (lo, hi) that holds for this student today: their own first, then level, then style, then all.

    A band for the front-foot style also holds for students without a style yet, as its rule does.
    """
    rows = reader.sql(
        """
        SELECT metric, student, level, style, lo, hi FROM band
        WHERE club_family = ? AND ("from" IS NULL OR "from" <= ?)
        ORDER BY metric, student IS NULL, level IS NULL, style IS NULL, "from" DESC NULLS LAST
        """,
        [family, reader.today],
    )  # of everybody: a page that looks at many students asks once
    whose = {**(person or {}), "style": style_now or "stays_forward"}
    holds = [
        pl.col(name).is_null() | pl.col(name).eq_missing(pl.lit(whose.get(name), pl.String))
        for name in ("student", "level", "style")
    ]
    first = (
        rows.filter(*holds).unique("metric", keep="first", maintain_order=True).select("metric", "lo", "hi")
    )
    return {metric: (lo, hi) for metric, lo, hi in first.iter_rows()}
