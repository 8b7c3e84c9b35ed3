"""The weekly review: its signals, how many of them chance may have made, and what was talked about."""

from datetime import date
from typing import Any

import polars as pl

from dashboard.queries.lesson import as_of
from warehouse.access import Reader
from warehouse.body import has_lasted
from warehouse.vocabulary import KEEP, SELDOM


def signals(reader: Reader) -> pl.DataFrame:
    """The newest week's signals in reach, first things first; names, talked_* and the aim are joined on.

    `talked_day` is the last day the signal was ticked off, `talked_by` who did; null when nobody has.
    """
    return reader.sql(
        """
        WITH newest AS (
            SELECT max(week) AS week, arg_max(as_of, week) AS as_of FROM signal
        ), talked AS (
            SELECT n.student, n.code, max(n.day) AS talked_day, arg_max(n.author, n.at) AS author
            FROM note n WHERE n.kind = 'talked' GROUP BY n.student, n.code
        )
        SELECT s.week, s.as_of, s.rank, s.signal, s.kind, s.student, s.coach, s.subject, s.club_family,
            s.kindred, s.label, s.p, s.weeks,
            p.display_name AS name, c.display_name AS coach_name,
            t.talked_day, coalesce(a.display_name, t.author) AS talked_by,
            f.aim, f.reason, f.cause, f.follows
        FROM signal s
        LEFT JOIN person p ON p.person = s.student
        LEFT JOIN person c ON c.person = s.coach
        LEFT JOIN talked t ON t.student = s.student AND t.code = s.signal
        LEFT JOIN person a ON a.person = t.author
        LEFT JOIN aim f ON f.student = s.student AND f.club_family = s.club_family AND NOT f.shared
            AND f.season = (SELECT arg_max(season, "from") FROM season, newest WHERE "from" <= as_of)
        WHERE s.week = (SELECT week FROM newest)
        ORDER BY s.rank, p.display_name
        """
    )


def gone(reader: Reader) -> list[tuple[str, str]]:
    """Kind and student's name of what was listed a week before the newest week, and is not in it."""
    rows = reader.sql(
        """
        SELECT s.kind, p.display_name AS name
        FROM signal s JOIN person p ON p.person = s.student
        WHERE s.week = (SELECT max(week) FROM signal) - 7 AND NOT EXISTS (
            FROM signal now WHERE now.week = s.week + 7 AND now.kind = s.kind AND now.student = s.student
        )
        ORDER BY s.rank
        """
    )
    return [(kind, name) for kind, name in rows.iter_rows()]


def drills_given(reader: Reader, since: date) -> pl.DataFrame:
    """Drills set from a day on that nobody overruled: student, student_name, born, day, the drill's columns.

    Each student and drill once, the latest day.
    """
    return reader.sql(
        """
        SELECT d.student, p.display_name AS student_name, p.born, max(d.day) AS day,
            r.drill, r.name, r.how, r.cautions, r.aim, r.min_age
        FROM drill_dose d JOIN drill r USING (drill) JOIN person p ON p.person = d.student
        LEFT JOIN note n ON n.note = d.note
        WHERE d.kind = 'drill' AND d.day >= ? AND n.overruled_by IS NULL
            AND d.student IN (SELECT unnest(CAST(? AS VARCHAR[])))
        GROUP BY ALL ORDER BY p.display_name, r.name
        """,
        [since, reader.students],
    )


def evidence(reader: Reader) -> dict[str, list[dict[str, Any]]]:
    """Signal → what it rests on, in order.

    `sentence` is the first refusal's own of a refused delivery; `drill_name` and `drill_aim` are of a drill;
    `lasts`: of discomfort, whether it is pain that lasts.
    """
    rows = reader.sql(
        """
        WITH first_refusal AS (
            SELECT "at", session, coalesce(name, session, delivery, 'unnamed') AS subject,
                min(sentence) AS sentence
            FROM refusal WHERE swing_no IS NULL GROUP BY ALL
        )
        SELECT e.*, d.name AS drill_name, d.aim AS drill_aim, r.sentence
        FROM signal_evidence e
        LEFT JOIN drill d ON d.drill = e.subject
        LEFT JOIN first_refusal r
            ON r."at" = e.refused_at AND r.session IS NOT DISTINCT FROM e.session AND r.subject = e.subject
        WHERE e.week = (SELECT max(week) FROM signal)
        ORDER BY e.signal, e.place
        """
    )
    found = rows.rows_by_key("signal", named=True, include_key=True)
    now = as_of(reader)
    for row in (row for kindred in found.values() for row in kindred):
        since = row["since"] or row["day"]  # no `since` in a home that an earlier version made
        row["lasts"] = since is not None and has_lasted(since, now)
    return found


def week(reader: Reader) -> dict[str, Any] | None:
    """The newest week looked through: week, as_of, judged, listed, expected_by_chance; null before any."""
    rows = reader.sql("SELECT * FROM signal_week ORDER BY week DESC LIMIT 1")
    return None if rows.is_empty() else rows.row(0, named=True)


def done(reader: Reader, monday: date) -> dict[str, Any]:
    """Since a Monday: sessions, how many students they were of, and notes; ticks are not counted as notes."""
    rows = reader.sql(
        """
        SELECT (SELECT count(*) FROM session WHERE day >= ?) AS sessions,
            (SELECT count(DISTINCT student) FROM session WHERE day >= ?) AS students,
            (SELECT count(*) FROM note WHERE day >= ? AND kind <> 'talked') AS notes
        """,
        [monday, monday, monday],
    )
    return rows.row(0, named=True)


def top_faults(reader: Reader, season: str, most: int) -> pl.DataFrame:
    """The faults with the highest mean share of swings now: fault, now, now_half, before, before_half, ...

    Each share is the mean of the students' own, all clubs together, ± its half: 1.645 · sd / √n. `often`: of
    `students`, those with it in one swing in five or more (`often_before`, `students_before` likewise).
    `drills`: those to keep that aim at it.
    """
    return reader.sql(
        """
        WITH own AS (
            SELECT fault, student,
                sum(flagged) FILTER (span = 'now') / sum(usable) FILTER (span = 'now') AS rate,
                sum(flagged) FILTER (span = 'before') / sum(usable) FILTER (span = 'before') AS earlier
            FROM student_fault_rate
            WHERE season = ? AND span IN ('now', 'before') AND usable > 0
            GROUP BY ALL
        ), most AS (
            SELECT fault, avg(rate) AS now, 1.645 * stddev_samp(rate) / sqrt(count(rate)) AS now_half,
                avg(earlier) AS before, 1.645 * stddev_samp(earlier) / sqrt(count(earlier)) AS before_half,
                count(*) FILTER (rate >= ?) AS often, count(rate) AS students,
                count(*) FILTER (earlier >= ?) AS often_before, nullif(count(earlier), 0) AS students_before
            FROM own GROUP BY fault HAVING count(rate) > 0
        )
        SELECT m.*, coalesce((
            SELECT list(DISTINCT d.drill ORDER BY d.drill) FROM drill_effect d
            WHERE d.season = ? AND d.advice = ? AND (d.aim = m.fault OR list_contains(f.metrics, d.aim))
        ), []) AS drills
        FROM most m JOIN fault f USING (fault) ORDER BY m.now DESC, m.fault LIMIT ?
        """,
        [season, SELDOM, SELDOM, season, KEEP, most],
    )


def recent(reader: Reader, few: int, days: int = 28) -> dict[str, Any]:
    """What the `days` up to the newest session rest on: sessions, students, sessions of under `few` swings.

    Swings count when they are usable; a session without plate or film is not counted.
    """
    rows = reader.sql(
        """
        WITH recent AS (
            SELECT s.session, s.student, count(*) FILTER (WHERE w.usable) AS usable
            FROM session s JOIN swing w USING (session)
            WHERE s.day > (SELECT max(day) FROM session) - CAST(? AS INTEGER)
            GROUP BY ALL
        )
        SELECT count(*) AS sessions, count(DISTINCT student) AS students,
            count(*) FILTER (WHERE usable < ?) AS few
        FROM recent
        """,
        [days, few],
    )
    return rows.row(0, named=True)
