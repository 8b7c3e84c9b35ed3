"""The academy as a whole: what came in, drills, coaches, how sure its answers are, and what was left out."""

import polars as pl

from dashboard.queries import translated
from warehouse.access import Reader


def reliability(reader: Reader, season: str, family: str) -> pl.DataFrame:
    """One row per metric in screen order, with its label, unit, decimals and whether it is shown first."""
    rows = reader.sql(
        """
        SELECT r.*, m.label, m.unit, m.explain, m.better, m.decimals, m.phase, m.core
        FROM reliability r JOIN metric m USING (metric)
        WHERE r.season = ? AND r.club_family = ? ORDER BY m.position
        """,
        [season, family],
    )
    return translated(rows, "label", "explain")


def reliability_families(reader: Reader, season: str) -> list[str]:
    """Club families with a row of reliability, the most measured first."""
    rows = reader.sql(
        """
        SELECT club_family, max(n_sessions) AS n FROM reliability
        WHERE season = ? GROUP BY 1 ORDER BY n DESC, 1
        """,
        [season],
    )
    return rows["club_family"].to_list()


def calibration(reader: Reader) -> pl.DataFrame:
    """How often the season's claims held in simulated academies whose truth was known."""
    return reader.sql("SELECT * FROM calibration")


def self_audit(reader: Reader, season: str) -> pl.DataFrame:
    """What was claimed on the first of each month, and what the visits since say of it, in order of time."""
    return reader.sql("SELECT * FROM self_audit WHERE season = ? ORDER BY made, kind", [season])


def eye_plate(reader: Reader, season: str, coach: str | None) -> pl.DataFrame:
    """One row per fault in swing order: what was seen against what was measured, of a coach or of all."""
    rows = reader.sql(
        """
        SELECT e.*, f.name, f.position FROM eye_plate e JOIN fault f USING (fault)
        WHERE e.season = ? AND e.coach IS NOT DISTINCT FROM CAST(? AS VARCHAR) ORDER BY f.position
        """,
        [season, coach],
    )
    return translated(rows, "name")


def eye_plate_coaches(reader: Reader, season: str) -> dict[str, str]:
    """Coaches with rows of their own in reach, by name."""
    rows = reader.sql(
        """
        SELECT DISTINCT e.coach, p.display_name FROM eye_plate e JOIN person p ON p.person = e.coach
        WHERE e.season = ? AND e.coach IS NOT NULL ORDER BY p.display_name
        """,
        [season],
    )
    return dict(rows.iter_rows())


def coach_gains(reader: Reader, season: str) -> pl.DataFrame:
    """One row per coach, by name; to a coach, the others have neither code nor name."""
    return reader.sql(
        """
        SELECT g.*, p.display_name AS name FROM coach_gain g LEFT JOIN person p ON p.person = g.coach
        WHERE g.season = ? ORDER BY p.display_name NULLS LAST, g.raw_se
        """,
        [season],
    )


def coach_groups(reader: Reader, season: str) -> pl.DataFrame:
    """One row per coach with students in reach today, by name: coach, name, students, visits, of students ...

    better, steady, worse: of who was measured, by the season's labels of the core measures; slipping goes
    before improving, anything else is steady. unseen: without a session for six weeks up to the newest day.
    in_pain: with an open discomfort. visits: sessions of the season.
    """
    return reader.sql(
        """
        WITH here AS (
            SELECT p.person AS student, arg_max(c.coach, c."from") AS coach
            FROM person p JOIN coaching c ON c.student = p.person
            WHERE c."from" <= ? AND (c."to" IS NULL OR c."to" >= ?) AND (p."left" IS NULL OR p."left" > ?)
                AND p.person IN (SELECT unnest(CAST(? AS VARCHAR[])))
            GROUP BY p.person
        ), labels AS (
            SELECT t.student, bool_or(t.label = 'slipping') AS worse, bool_or(t.label = 'improving') AS better
            FROM student_trend t JOIN metric m USING (metric)
            WHERE t.season = ? AND m.core GROUP BY t.student
        ), visits AS (
            SELECT student, count(*) FILTER (WHERE season = ?) AS n, max(day) AS last FROM session GROUP BY 1
        )
        SELECT here.coach, max(c.display_name) AS name, count(*) AS students,
            CAST(coalesce(sum(v.n), 0) AS BIGINT) AS visits,
            count(*) FILTER (WHERE l.better AND NOT l.worse) AS better,
            count(*) FILTER (WHERE NOT l.better AND NOT l.worse) AS steady,
            count(*) FILTER (WHERE l.worse) AS worse,
            count(*) FILTER (WHERE v.last IS NULL OR v.last < (SELECT max(day) FROM session) - 42) AS unseen,
            count(*) FILTER (WHERE here.student IN (
                SELECT student FROM signal
                WHERE kind = 'discomfort' AND week = (SELECT max(week) FROM signal)
            )) AS in_pain
        FROM here JOIN person c ON c.person = here.coach
        LEFT JOIN labels l ON l.student = here.student LEFT JOIN visits v ON v.student = here.student
        GROUP BY here.coach ORDER BY name, here.coach
        """,
        [reader.today, reader.today, reader.today, reader.students, season, season],
    )


def level_lines(reader: Reader, season: str, family: str) -> pl.DataFrame:
    """One row per level and core measure, by level: level, metric, its students' start and now (lists)."""
    return reader.sql(
        """
        SELECT p.level, t.metric, list(t.start_value) AS start, list(t.value_now) AS now
        FROM student_trend t JOIN person p ON p.person = t.student JOIN metric m USING (metric)
        WHERE t.season = ? AND t.club_family = ? AND m.core AND p.level IS NOT NULL
            AND t.start_value IS NOT NULL AND t.value_now IS NOT NULL
        GROUP BY p.level, t.metric, m.position ORDER BY p.level, m.position
        """,
        [season, family],
    )


def data_health(reader: Reader) -> pl.DataFrame:
    """Swings taken in and left out: season, day, device, coach (a name), reason (a code), n; newest first."""
    return reader.sql(
        """
        SELECT h.season, h.day, h.device, p.display_name AS coach, h.reason, sum(h.n)::INTEGER AS n
        FROM data_health h LEFT JOIN person p ON p.person = h.coach
        GROUP BY ALL ORDER BY h.day DESC, h.reason
        """
    )


def device_accuracy(reader: Reader) -> pl.DataFrame:
    """One row per device and half of it that was checked with a known weight, those that read off first."""
    return reader.sql("SELECT * FROM device_accuracy ORDER BY found_at IS NULL, device, side")


def unchecked_devices(reader: Reader) -> list[str]:
    """Devices that were never checked with a known weight."""
    rows = reader.sql("SELECT device FROM device ANTI JOIN device_check USING (device) ORDER BY device")
    return rows["device"].to_list()


def head_coaches(reader: Reader) -> list[str]:
    """The head coaches of today, by name."""
    rows = reader.sql(
        'SELECT display_name FROM person WHERE role = \'head_coach\' AND ("left" IS NULL OR "left" >= ?) '
        "ORDER BY person",
        [reader.today],
    )
    return rows["display_name"].to_list()


def drill_effects(reader: Reader, season: str) -> pl.DataFrame:
    """One row per drill and aim, by the drill's name; aim_name in words, `own` for the drill's own aim.

    Effects are toward better, in `unit` (points for a change of a share); `places` is how many decimals they
    are shown with, one more than the measure itself; `times` and `minutes` are what was set and practised of
    the drill, as far as it is in reach.
    """
    rows = reader.sql(
        """
        SELECT e.* REPLACE (CASE e.unit WHEN '%' THEN 'points' ELSE e.unit END AS unit),
            d.name, d.how, d.cautions, d.min_age, e.aim = d.aim AS own, other.name AS lots_against_name,
            coalesce(f.name, m.label, replace(e.aim, '_', ' ')) AS aim_name,
            coalesce(f.position, 1000 + m.position) AS aim_position,
            coalesce(m.decimals + (m.decimals < 2)::INTEGER, 0) AS places,
            coalesce(g.times, 0) AS times, g.minutes
        FROM drill_effect e
        JOIN drill d USING (drill)
        LEFT JOIN drill other ON other.drill = e.lots_against
        LEFT JOIN (
            SELECT drill, count(*) AS times, sum(dose) FILTER (WHERE unit = 'minutes') AS minutes
            FROM drill_dose GROUP BY drill
        ) g ON g.drill = e.drill
        LEFT JOIN fault f ON f.fault = e.aim
        LEFT JOIN metric m ON m.metric = e.aim
        WHERE e.season = ?
        ORDER BY d.name, d.drill, own DESC, aim_position
        """,
        [season],
    )
    return translated(rows, "aim_name")


def drill_groups(reader: Reader, season: str, drill: str, aim: str) -> pl.DataFrame:
    """For whom: one row per level and per age band, with kept, kept_lo, kept_hi, n_students, n_doses."""
    return reader.sql(
        """
        SELECT grouping, "group" AS name, n_students, n_doses, kept, kept_lo, kept_hi
        FROM drill_group WHERE season = ? AND drill = ? AND aim = ?
        ORDER BY grouping DESC, list_position(['under_18', '18_to_39', '40_to_59', '60_and_over'], "group"), 2
        """,
        [season, drill, aim],
    )


def drills_aimed_at(reader: Reader, fault: str) -> pl.DataFrame:
    """Drills that aim at this fault or at a measure its rule reads: the columns of `drill`."""
    return reader.sql(
        """
        SELECT d.drill, d.name, d.how, d.cautions, d.aim, d.min_age
        FROM drill d, fault f
        WHERE f.fault = ? AND (d.aim = f.fault OR list_contains(f.metrics, d.aim))
        ORDER BY d.name
        """,
        [fault],
    )


def drill_set_lately(reader: Reader, drill: str, newest: int = 8) -> pl.DataFrame:
    """Students in reach who were set this drill, the latest first: student, name, day, times."""
    return reader.sql(
        """
        SELECT d.student, p.display_name AS name, max(d.day) AS day, count(*) AS times
        FROM drill_dose d JOIN person p ON p.person = d.student
        WHERE d.drill = ? AND d.kind = 'drill' AND d.student IN (SELECT unnest(CAST(? AS VARCHAR[])))
        GROUP BY ALL ORDER BY day DESC, name LIMIT ?
        """,
        [drill, reader.students, newest],
    )


def deliveries(reader: Reader, newest: int = 200) -> pl.DataFrame:
    """The latest accepted deliveries, one a row; received_at is UTC, student a name."""
    return reader.sql(
        """
        SELECT d.received_at, d.name, d.kind, d.session, p.display_name AS student, s.day, d.outcome,
            d.n_files, d.n_bytes
        FROM delivery d
        LEFT JOIN session s ON s.session = d.session
        LEFT JOIN person p ON p.person = s.student
        ORDER BY d.sequence DESC LIMIT ?
        """,
        [newest],
    )


def refusals(reader: Reader) -> pl.DataFrame:
    """What was refused, newest first; at is UTC, place the column, student and coach are names."""
    return reader.sql(
        """
        SELECT r.at, r.delivery, r.name, r.session, r.swing_no, r.file, r.line, r."column" AS place, r.reason,
            r.sentence, p.display_name AS student, c.display_name AS coach
        FROM refusal r
        LEFT JOIN person p ON p.person = r.student
        LEFT JOIN person c ON c.person = r.coach
        ORDER BY r.at DESC, r.name, r.session, r.swing_no
        """
    )


def swings_left_out(reader: Reader) -> pl.DataFrame:
    """One row per session and flag: day, student (name), session, flag, swings, unusable (of those)."""
    return reader.sql(
        """
        WITH flagged AS (
            SELECT session, usable, unnest(CASE WHEN len(flags) = 0 THEN ['no_metric'] ELSE flags END) AS flag
            FROM swing WHERE len(flags) > 0 OR NOT usable
        )
        SELECT s.day, p.display_name AS student, s.session, f.flag, count(*) AS swings,
            count(*) FILTER (WHERE NOT f.usable) AS unusable
        FROM flagged f JOIN session s USING (session) JOIN person p ON p.person = s.student
        GROUP BY ALL ORDER BY s.day DESC, p.display_name, f.flag
        """
    )


def swing_counts(reader: Reader) -> tuple[int, int]:
    """Swings in reach, and those without any metric."""
    rows = reader.sql("SELECT count(*) AS n, count(*) FILTER (WHERE NOT usable) AS unusable FROM swing")
    return int(rows.item(0, 0)), int(rows.item(0, 1))


def swapped_feet(reader: Reader) -> pl.DataFrame:
    """Sessions that ask whether the feet were swapped.

    session, day, student (name), swings, finish_lead_share_pct and on_plate.
    """
    return reader.sql(
        """
        SELECT s.session, s.day, p.display_name AS student, count(*) AS swings,
            median(m.finish_lead_share_pct) AS finish_lead_share_pct, bool_or(s.has_plate) AS on_plate
        FROM swing w
        JOIN session s USING (session)
        JOIN person p ON p.person = s.student
        LEFT JOIN swing_metric m USING (session, swing_no)
        WHERE list_contains(w.flags, 'feet_swapped')
        GROUP BY ALL ORDER BY s.day DESC
        """
    )
