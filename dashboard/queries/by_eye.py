"""Films that somebody marked by eye: when each moment was, and which heel was up or down then."""

import polars as pl

from warehouse.access import Reader
from warehouse.errors import UnderfootError

USUAL_CLUBS = ("7-iron", "wedge", "hybrid", "3-wood", "driver")


def heels_seen(reader: Reader, student: str) -> pl.DataFrame:
    """A row per marked moment of a film, newest film first, moments in their order.

    session, day, swing_no, club, pace, event, t_s; and of each foot, as lead_…: up (by eye, else by its
    points; null where neither told), rise_mm, rise_se_mm, differ (eye and points say different things).
    """
    return reader.sql(
        """
        WITH heel AS (
            SELECT session, swing_no, event, foot, arg_min(up, source) AS up, max(rise_mm) AS rise_mm,
                max(rise_se_mm) AS rise_se_mm, count(DISTINCT up) > 1 AS differ
            FROM heel_seen WHERE session IN (SELECT session FROM session WHERE student = ?) GROUP BY ALL
        )
        SELECT s.session, s.day, w.swing_no, w.club, w.pace, e.event, e.t_s,
            l.up AS lead_up, l.rise_mm AS lead_rise_mm, l.rise_se_mm AS lead_rise_se_mm,
            l.differ AS lead_differ,
            t.up AS trail_up, t.rise_mm AS trail_rise_mm, t.rise_se_mm AS trail_rise_se_mm,
            t.differ AS trail_differ
        FROM swing_event e
        JOIN swing w USING (session, swing_no)
        JOIN session s USING (session)
        LEFT JOIN (FROM heel WHERE foot = 'lead') l USING (session, swing_no, event)
        LEFT JOIN (FROM heel WHERE foot = 'trail') t USING (session, swing_no, event)
        WHERE s.student = ? AND e.clock = 'clip' AND e.source = 'marked'
            AND (e.session, e.swing_no) IN (SELECT (session, swing_no) FROM heel)
        ORDER BY s.started_at DESC, s.session, w.swing_no, e.t_s
        """,
        [student, student],
    )


def outline_rises(reader: Reader, student: str) -> pl.DataFrame:
    """A row per foot of a film without tape, newest film first, the lead foot before the trail foot.

    session, day, swing_no, club, pace, foot, times_s, rises_mm, refused; and impact_s, where impact is marked
    on the film (null elsewhere).
    """
    return reader.sql(
        """
        SELECT o.session, s.day, o.swing_no, w.club, w.pace, o.foot, o.times_s, o.rises_mm, o.refused,
            e.t_s AS impact_s
        FROM outline_rise o
        JOIN session s USING (session)
        JOIN swing w USING (session, swing_no)
        LEFT JOIN (FROM swing_event WHERE event = 'impact' AND clock = 'clip' AND source = 'marked') e
            USING (session, swing_no)
        WHERE s.student = ? ORDER BY s.started_at DESC, o.session, o.swing_no, o.foot
        """,
        [student],
    )


def known_clubs(reader: Reader, student: str) -> list[str]:
    """Clubs to choose from: the student's own, then usual ones; those that a family is known for."""
    found = []
    for club in dict.fromkeys([*clubs(reader, student), *USUAL_CLUBS]):
        try:
            reader.settings.club_family(club)
        except UnderfootError:
            continue
        found.append(club)
    return found


def clubs(reader: Reader, student: str) -> list[str]:
    """Clubs a student has hit, the most used first."""
    rows = reader.sql(
        """
        SELECT w.club, count(*) AS n FROM swing w JOIN session s USING (session)
        WHERE s.student = ? AND w.club IS NOT NULL GROUP BY 1 ORDER BY n DESC, 1
        """,
        [student],
    )
    return rows["club"].to_list()
