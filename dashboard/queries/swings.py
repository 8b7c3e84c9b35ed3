"""Every swing of a student by itself: how it was made, what it showed, and which swing it is held against."""

from typing import Any

import polars as pl

from warehouse.access import Reader


def swings(reader: Reader, student: str, season: str | None) -> pl.DataFrame:
    """One row per swing, newest session first: its facts, then a column for each core metric in screen order.

    `faults`: codes in the order of the swing; `judged`: how many faults could be judged. `season` None: of
    all time. Swings whose feet may be swapped have no values here, as they stay out of every answer.
    """
    core = reader.sql("SELECT metric FROM metric WHERE core ORDER BY position")["metric"].to_list()
    known = set(reader.sql("SELECT * FROM swing_metric LIMIT 0").columns)
    columns = "".join(f", m.{name}" for name in core if name in known)
    return reader.sql(
        f"""
        WITH mine AS (
            SELECT session, day, started_at FROM session
            WHERE student = ? AND (CAST(? AS VARCHAR) IS NULL OR season = ?)
        ), fault_of AS (
            SELECT f.session, f.swing_no, count(f.flagged) AS judged,
                list(f.fault ORDER BY r.position) FILTER (WHERE f.flagged) AS faults
            FROM swing_fault f JOIN fault r USING (fault)
            WHERE f.student = ? GROUP BY ALL
        ), measured AS (
            FROM swing_metric WHERE session IN (SELECT session FROM mine)
        )
        SELECT w.session, s.day, w.swing_no, w.club, w.club_family, w.part, w.pace, w.drill,
            d.name AS drill_name, w.usable, coalesce(f.judged, 0) AS judged,
            coalesce(f.faults, []) AS faults{columns}
        FROM swing w
        JOIN mine s USING (session)
        LEFT JOIN drill d ON d.drill = w.drill
        LEFT JOIN fault_of f ON f.session = w.session AND f.swing_no = w.swing_no
            AND NOT list_contains(w.flags, 'feet_swapped')
        LEFT JOIN measured m ON m.session = w.session AND m.swing_no = w.swing_no
            AND NOT list_contains(w.flags, 'feet_swapped')
        ORDER BY s.day DESC, s.started_at DESC, w.session, w.swing_no
        """,
        [student, season, season, student],
    )


def best_swings(reader: Reader, student: str, family: str) -> pl.DataFrame:
    """Full-pace baseline swings on plates with every part of the swing timed, the cleanest first.

    session, day, swing_no, n_faults, severity. Fewest faults first, then the smallest sum of severities, then
    the newest. A swing in which fewer than half of all faults could be judged is not among them.
    """
    return reader.sql(
        """
        WITH mine AS (
            SELECT session, day FROM session WHERE student = ? AND has_plate
        ), timed AS (
            SELECT session, swing_no FROM swing_event
            WHERE event IN ('takeaway', 'top', 'impact') AND session IN (SELECT session FROM mine)
            GROUP BY ALL HAVING count(DISTINCT event) = 3
        ), fault_of AS (
            SELECT session, swing_no, count(*) FILTER (WHERE flagged) AS n_faults,
                coalesce(sum(severity) FILTER (WHERE flagged), 0) AS severity
            FROM swing_fault WHERE student = ?
            GROUP BY ALL HAVING 2 * count(flagged) >= (SELECT count(*) FROM fault)
        )
        SELECT w.session, s.day, w.swing_no, f.n_faults, f.severity
        FROM swing w
        JOIN mine s USING (session)
        JOIN timed USING (session, swing_no)
        JOIN fault_of f USING (session, swing_no)
        WHERE w.club_family = ? AND w.n_samples > 0 AND w.usable
            AND w.part = 'baseline' AND w.pace = 'full' AND NOT list_contains(w.flags, 'feet_swapped')
        ORDER BY n_faults, severity, s.day DESC, w.session DESC, w.swing_no
        """,
        [student, student, family],
    )


def reference(reader: Reader, student: str, family: str) -> dict[str, Any] | None:
    """The swing that a coach chose last to hold this student's swings against, with clubs of a family.

    day (of the choice), author, session, swing_no, and where the viewer may see that swing: owner,
    owner_name, swing_day; None where none is chosen, or the last one was ended. A chosen swing outside
    the viewer's reach has no family, so it is found whichever is asked for.
    """
    rows = reader.sql(
        """
        SELECT n.day, coalesce(a.display_name, n.author) AS author, n.code AS session,
            CAST(n.value AS INTEGER) AS swing_no, s.student AS owner, p.display_name AS owner_name,
            s.day AS swing_day
        FROM note n
        LEFT JOIN person a ON a.person = n.author
        LEFT JOIN session s ON s.session = n.code
        LEFT JOIN swing w ON w.session = n.code AND w.swing_no = n.value
        LEFT JOIN person p ON p.person = s.student
        WHERE n.student = ? AND n.kind = 'reference' AND (s.session IS NULL OR w.club_family = ?)
            AND NOT EXISTS (
                SELECT 1 FROM note o
                WHERE o.student = n.student AND o.kind = 'reference_over' AND o.code = n.code
                    AND o.value = n.value AND o."at" > n."at"
            )
        ORDER BY n."at" DESC, n.note LIMIT 1
        """,
        [student, family],
    )
    return None if rows.is_empty() else rows.row(0, named=True)


def others(reader: Reader, student: str, family: str) -> pl.DataFrame:
    """Other players in reach with full swings of a family, the most alike in build first.

    student, name, handed, foot_length_mm, body_mass_kg (the last one given), unlike. `unlike` is the larger
    of the two differences, foot length and body mass, each in % of this student's own; null where neither is
    known of both. Common practice, no source.
    """
    return reader.sql(
        """
        WITH mass AS (
            SELECT student, arg_max(body_mass_kg, started_at) AS body_mass_kg
            FROM session WHERE body_mass_kg IS NOT NULL GROUP BY student
        ), build AS (
            SELECT p.person AS student, p.display_name AS name, p.handed, p.foot_length_mm, m.body_mass_kg
            FROM person p LEFT JOIN mass m ON m.student = p.person WHERE p.role = 'student'
        )
        SELECT o.*, greatest(
            100 * abs(o.foot_length_mm / me.foot_length_mm - 1),
            100 * abs(o.body_mass_kg / me.body_mass_kg - 1)
        ) AS unlike
        FROM build o, build me
        WHERE me.student = ? AND o.student <> me.student
            AND o.student IN (SELECT unnest(CAST(? AS VARCHAR[])))
            AND o.student IN (
                SELECT student FROM session WHERE has_plate AND session IN (
                    SELECT session FROM swing
                    WHERE club_family = ? AND part = 'baseline' AND pace = 'full' AND usable
                )
            )
        ORDER BY unlike NULLS LAST, o.name, o.student
        """,
        [student, reader.students, family],
    )
