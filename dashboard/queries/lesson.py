"""What a lesson sheet needs: the last session against those before, what was set, what helped."""

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any

import polars as pl

from warehouse.access import Reader
from warehouse.vocabulary import SELDOM

USUAL_REPS = 10  # common practice, no source; a coach's own dose goes before it
BEFORE = 3  # sessions that the last one is held against


def as_of(reader: Reader, student: str | None = None) -> date:
    """Today; in a demo academy, whose seasons lie behind, the newest day with a session or home practice.

    Of a student; None: of everybody in reach. Today as well when there is no such day, or it lies ahead.
    """
    if student is not None:
        return as_of_each(reader, [student])[student]
    if not reader.settings.demo:
        return reader.today
    return min(max(_newest_days(reader).values(), default=reader.today), reader.today)


def as_of_each(reader: Reader, students: Sequence[str]) -> dict[str, date]:
    """The day of `as_of` of each of these students."""
    if not reader.settings.demo:
        return dict.fromkeys(students, reader.today)
    newest = _newest_days(reader)
    return {student: min(newest.get(student, reader.today), reader.today) for student in students}


def _newest_days(reader: Reader) -> dict[str, date]:
    """Of everybody in reach, by student: the newest day with a session or home practice."""
    rows = reader.sql(
        """
        WITH done AS (
            SELECT student, day FROM session
            UNION ALL SELECT student, day FROM drill_dose WHERE kind = 'practice'
        )
        SELECT student, max(day) FROM done GROUP BY student
        """
    )
    return dict(rows.iter_rows())


def last_against_before(reader: Reader, student: str, family: str, season: str) -> pl.DataFrame:
    """One row per metric of the last session: metric, day, device, last, before, n_before, beyond.

    `before` is the mean of up to three sessions before it on the same device with the same heel source (null:
    there is none). `beyond` is the change that those sessions' own scatter passes once in twenty:
    1.96 · √(v_last + Σv / k²), v = σ²_session + σ²_swing / n of each session; null where no parts are fitted.
    Full-pace baseline swings only.
    """
    return reader.sql(
        """
        WITH mine AS (
            SELECT m.metric, m.session, m.started_at, m.day, m.device, m.heel_source, m.mean,
                r.sd_session ** 2 + r.sd_swing ** 2 / m.n AS v
            FROM session_metric m LEFT JOIN reliability r USING (season, metric, club_family)
            WHERE m.student = ? AND m.club_family = ? AND m.season = ?
                AND m.part = 'baseline' AND m.pace = 'full'
            QUALIFY row_number() OVER (PARTITION BY m.session, m.metric ORDER BY m.n DESC) = 1
        ), newest AS (
            SELECT * FROM mine WHERE session = (SELECT arg_max(session, started_at) FROM mine)
        ), earlier AS (
            SELECT m.metric, m.mean, m.v,
                row_number() OVER (PARTITION BY m.metric ORDER BY m.started_at DESC) AS k
            FROM mine m JOIN newest l ON l.metric = m.metric AND m.started_at < l.started_at
                AND m.device IS NOT DISTINCT FROM l.device AND m.heel_source = l.heel_source
        )
        SELECT l.metric, l.day, l.device, l.mean AS last, avg(e.mean) AS before, count(e.k) AS n_before,
            1.96 * sqrt(l.v + sum(e.v) / count(e.k) ** 2) AS beyond
        FROM newest l
        JOIN metric x ON x.metric = l.metric
        LEFT JOIN earlier e ON e.metric = l.metric AND e.k <= ?
        GROUP BY l.metric, l.day, l.device, l.mean, l.v, x.position ORDER BY x.position
        """,
        [student, family, season, BEFORE],
    )


def doses(reader: Reader, student: str, *, shared_only: bool = False) -> pl.DataFrame:
    """Drills set and practised, newest first, with the drill's own columns; or those the student may see.

    `felt`: of practice, how it felt, 1 (hard) to 3 (easy); null where nobody said. `by_family`: the student
    or a guardian reported it.
    """
    return reader.sql(
        """
        SELECT d.day, d.kind, d.place, d.dose, d.unit, d.pace,
            CASE WHEN d.kind = 'practice' THEN n.grade END AS felt,
            coalesce(a.role IN ('student', 'guardian'), false) AS by_family,
            r.drill, r.name, r.aim, r.how, r.cautions, r.min_age
        FROM drill_dose d JOIN drill r USING (drill) LEFT JOIN note n ON n.note = d.note
        LEFT JOIN person a ON a.person = n.author
        WHERE d.student = ? AND (NOT ? OR n.shared)
        ORDER BY d.at DESC, r.name
        """,
        [student, shared_only],
    )


def practised_lately(doses: pl.DataFrame, last: date) -> tuple[int, float]:
    """Home practice among `doses` in the seven days up to a day: on how many days, and its timed minutes."""
    done = doses.filter(
        pl.col("kind") == "practice", pl.col("day").is_between(last - timedelta(days=6), last)
    )
    return done["day"].n_unique(), float(done.filter(unit="minutes")["dose"].sum() or 0)


def set_last(doses: pl.DataFrame) -> pl.DataFrame:
    """Of `doses`, the drills set on the last day on which any was set."""
    drills = doses.filter(kind="drill")
    return drills.filter(pl.col("day") == pl.col("day").max())


def pace(reader: Reader, student: str, fault: str, family: str, season: str) -> list[dict[str, Any]]:
    """Rows of the pace ladder of one fault, slow first."""
    rows = reader.sql(
        """
        SELECT * FROM pace_ladder WHERE student = ? AND fault = ? AND club_family = ? AND season = ?
        ORDER BY list_position(['slow', 'half', 'full'], pace)
        """,
        [student, fault, family, season],
    )
    return rows.to_dicts()


def kindred_aims(reader: Reader, aim: str) -> list[str]:
    """An aim and its kin: the metrics that a fault's rule reads, or the faults that read a metric."""
    rows = reader.sql("SELECT fault, metrics FROM fault")
    found = {fault: list(metrics) for fault, metrics in rows.iter_rows()}
    more = found.get(aim) or [fault for fault, metrics in found.items() if aim in metrics]
    return [aim, *more]


def drills_for(
    reader: Reader, aims: Sequence[str], season: str, level: str | None, age_band: str | None
) -> pl.DataFrame:
    """Every drill of the roster with one of these aims, and what it kept; null where nobody knows.

    `kept_alike`: what it kept with students of this level, else of this age, which `alike` names.
    """
    return reader.sql(
        """
        SELECT r.drill, r.name, r.aim, r.how, r.cautions, r.min_age, e.label, e.kept, e.kept_lo, e.kept_hi,
            e.swc, e.unit, e.n_students, e.n_doses, e.advice, g.kept AS kept_alike, g."group" AS alike
        FROM drill r
        LEFT JOIN drill_effect e ON e.drill = r.drill AND e.aim = r.aim AND e.season = ?
        LEFT JOIN (
            SELECT DISTINCT ON (drill, aim) drill, aim, "group", kept FROM drill_group
            WHERE season = ? AND kept IS NOT NULL
                AND ((grouping = 'level' AND "group" = ?) OR (grouping = 'age_band' AND "group" = ?))
            ORDER BY drill, aim, grouping DESC
        ) g ON g.drill = r.drill AND g.aim = r.aim
        WHERE list_contains(CAST(? AS VARCHAR[]), r.aim) ORDER BY r.name
        """,
        [season, season, level, age_band, list(aims)],
    )


def level_faults(reader: Reader, level: str) -> pl.DataFrame:
    """fault, n: how many students of this level in reach have it in one swing in five now; the most first.

    `students`: how many of them were measured.
    """
    return reader.sql(
        """
        WITH now AS (
            SELECT r.student, r.fault, max(r.rate) AS rate
            FROM student_fault_rate r JOIN person p ON p.person = r.student
            WHERE p.level = ? AND r.span = 'now' AND r.rate IS NOT NULL GROUP BY r.student, r.fault
        )
        SELECT now.fault, count(*) AS n, (SELECT count(DISTINCT student) FROM now) AS students
        FROM now JOIN fault f USING (fault) WHERE now.rate >= ? GROUP BY now.fault, f.position
        ORDER BY n DESC, f.position
        """,
        [level, SELDOM],
    )


def effects_of(reader: Reader, drills: Sequence[str], season: str) -> pl.DataFrame:
    """What these drills kept of their own aims, in the order given; those never measured are left out."""
    return reader.sql(
        """
        SELECT e.*, r.name FROM drill_effect e JOIN drill r ON r.drill = e.drill AND r.aim = e.aim
        WHERE e.season = ? AND list_contains(CAST(? AS VARCHAR[]), e.drill)
        ORDER BY list_position(CAST(? AS VARCHAR[]), e.drill)
        """,
        [season, list(drills), list(drills)],
    )


def own_bands(reader: Reader, student: str) -> pl.DataFrame:
    """day, metric, lo, hi of bands that a coach set for this student alone, newest first."""
    return reader.sql(
        """
        SELECT DISTINCT ON (code) day, code AS metric, value AS lo, value_to AS hi, text
        FROM note WHERE student = ? AND kind = 'target' ORDER BY code, "at" DESC
        """,
        [student],
    )


def reps(dose: Mapping[str, Any]) -> int:
    """How often a drill of `doses` is done at a time: as often as the coach set it, else a usual number."""
    return int(dose["dose"]) if dose["dose"] and dose["unit"] == "reps" else USUAL_REPS


def last_visit(reader: Reader, student: str) -> date | None:
    """The last day with a session, or with a note of the staff; null: they have not been here yet."""
    found: date | None = reader.sql(
        """
        SELECT max(day) FROM (
            SELECT day FROM session WHERE student = ?
            UNION ALL
            SELECT n.day FROM note n JOIN person a ON a.person = n.author
            WHERE n.student = ? AND a.role IN ('coach', 'head_coach')
        )
        """,
        [student, student],
    ).item()
    return found


def last_plan(reader: Reader, student: str) -> dict[str, Any] | None:
    """The newest plan that has words: day, author, text."""
    rows = reader.sql(
        """
        SELECT n.day, coalesce(a.display_name, n.author) AS author, n.text
        FROM note n LEFT JOIN person a ON a.person = n.author
        WHERE n.student = ? AND n.kind = 'plan' AND n.text IS NOT NULL ORDER BY n.at DESC LIMIT 1
        """,
        [student],
    )
    return None if rows.is_empty() else rows.row(0, named=True)


def full_swings(reader: Reader, students: Sequence[str]) -> pl.DataFrame:
    """One row per student and day with full swings, measured or practised: student, day, swings, not_counted.

    Measured: at full pace with any club but the putter, usable or not. Practised: reps at full pace.
    `not_counted`: there was practice at full pace, or at none named, that has no count of reps at full pace.
    """
    return reader.sql(
        """
        WITH wanted AS (
            SELECT unnest(CAST(? AS VARCHAR[])) AS student
        ), done AS (
            SELECT s.student, s.day, count(*) AS swings, false AS not_counted
            FROM swing w JOIN session s USING (session)
            WHERE s.student IN (FROM wanted) AND w.pace = 'full'
                AND w.club_family IS DISTINCT FROM 'putter' GROUP BY s.student, s.day
            UNION ALL
            SELECT student, day, CASE WHEN pace = 'full' AND unit = 'reps' THEN coalesce(dose, 0) ELSE 0 END,
                pace IS NULL OR unit <> 'reps' OR dose IS NULL
            FROM drill_dose
            WHERE student IN (FROM wanted) AND kind = 'practice' AND coalesce(pace, 'full') = 'full'
        )
        SELECT student, day, CAST(sum(swings) AS BIGINT) AS swings, bool_or(not_counted) AS not_counted
        FROM done GROUP BY student, day ORDER BY student, day
        """,
        [list(students)],
    )


def active_days(reader: Reader, student: str, first: date, last: date) -> pl.DataFrame:
    """One row per day with practice or a session between two days: day, minutes, untimed, lesson.

    `minutes` is the sum of the day's practice that was timed; `untimed`: there was practice without minutes.
    """
    return reader.sql(
        """
        WITH done AS (
            SELECT day, CASE WHEN unit = 'minutes' THEN dose END AS minutes,
                coalesce(unit <> 'minutes', true) OR dose IS NULL AS untimed, false AS lesson
            FROM drill_dose WHERE student = ? AND kind = 'practice'
            UNION ALL SELECT day, NULL, false, true FROM session WHERE student = ?
        )
        SELECT day, coalesce(sum(minutes), 0) AS minutes, bool_or(untimed) AS untimed,
            bool_or(lesson) AS lesson
        FROM done WHERE day BETWEEN ? AND ? GROUP BY day ORDER BY day
        """,
        [student, student, first, last],
    )
