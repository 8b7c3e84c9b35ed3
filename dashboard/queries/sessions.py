"""Single sessions and what belongs to them: swings, events, notes, drills, discomfort."""

from typing import Any, NamedTuple

import polars as pl

from dashboard.queries import translated
from warehouse import body
from warehouse.access import Reader
from warehouse.observations import feelings, signs
from warehouse.vocabulary import LIFTED_PCT_BW, LONGEST_CLUBS, STRUCK_FROM_PCT


def sessions(reader: Reader, student: str, season: str | None = None, *, every: bool = False) -> pl.DataFrame:
    """One row per session, newest first: session, day, coach_name, device, has_plate, swings, usable.

    Of a season; None: outside all of them; `every`: of all time.
    """
    return reader.sql(
        """
        SELECT s.session, s.day, c.display_name AS coach_name, s.device, s.has_plate, s.has_clip,
            count(w.swing_no) AS swings, count(w.swing_no) FILTER (WHERE w.usable) AS usable
        FROM session s
        LEFT JOIN swing w USING (session)
        LEFT JOIN person c ON c.person = s.coach
        WHERE s.student = ? AND (? OR s.season IS NOT DISTINCT FROM ?)
        GROUP BY ALL ORDER BY s.day DESC, s.session DESC
        """,
        [student, every, season],
    )


def plate_sessions(reader: Reader, student: str, family: str) -> pl.DataFrame:
    """Sessions with plate samples of a family's full-pace baseline swings, oldest first."""
    return reader.sql(
        """
        SELECT s.session, s.day, s.device, count(*) AS swings
        FROM session s JOIN swing w USING (session)
        WHERE s.student = ? AND s.has_plate AND w.club_family = ? AND w.part = 'baseline'
            AND w.pace = 'full' AND w.usable AND w.n_samples > 0
            AND NOT list_contains(w.flags, 'feet_swapped')
        GROUP BY ALL ORDER BY s.day, s.session
        """,
        [student, family],
    )


def events(reader: Reader, session: str, family: str) -> pl.DataFrame:
    """swing_no, part, pace, drill, event, t_s on the plate's clock, of a session's swings of a family."""
    return reader.sql(
        """
        SELECT e.swing_no, w.part, w.pace, w.drill, e.event,
            CASE WHEN e.clock = 'clip' THEN e.t_s + w.clip_offset_s ELSE e.t_s END AS t_s
        FROM swing_event e JOIN swing w USING (session, swing_no)
        WHERE e.session = ? AND w.club_family = ? AND w.usable AND w.n_samples > 0
            AND (e.clock <> 'clip' OR w.clip_offset_s IS NOT NULL)
        QUALIFY row_number() OVER (PARTITION BY e.swing_no, e.event ORDER BY e.clock = 'clip') = 1
        ORDER BY e.swing_no, t_s
        """,
        [session, family],
    )


def device_changes(reader: Reader, student: str, season: str | None) -> pl.DataFrame:
    """day, device: the first session on another device than the one before."""
    return reader.sql(
        """
        WITH ordered AS (
            SELECT day, device, lag(device) OVER (ORDER BY started_at) AS earlier
            FROM session WHERE student = ? AND season IS NOT DISTINCT FROM ? AND device IS NOT NULL
        )
        SELECT day, device FROM ordered WHERE earlier <> device ORDER BY day
        """,
        [student, season],
    )


def ticks(reader: Reader, student: str, season: str | None) -> pl.DataFrame:
    """day, kind (lesson, drill, practice), what: what was done, for the line below a season."""
    return reader.sql(
        """
        WITH span AS (SELECT "from", "to" FROM season WHERE season IS NOT DISTINCT FROM ?)
        SELECT day, 'lesson' AS kind, 'Lesson' || coalesce(' with ' || c.display_name, '') AS what
        FROM session s LEFT JOIN person c ON c.person = s.coach
        WHERE s.student = ? AND s.season IS NOT DISTINCT FROM ?
        UNION ALL
        SELECT d.day, CASE d.kind WHEN 'practice' THEN 'practice' ELSE 'drill' END, r.name
        FROM drill_dose d JOIN drill r USING (drill), span
        WHERE d.student = ? AND d.day BETWEEN span."from" AND span."to"
        ORDER BY 1
        """,
        [season, student, season, student],
    )


def notes(reader: Reader, student: str) -> pl.DataFrame:
    """Notes, newest first: day, author, kind, about (in words), code, grade, value, unit, text, shared.

    Of a nudge check held and lost, its directions; overruled_by: the head coach who answers for it, by name.
    """
    names = {one.code: one.name for one in signs()} | {one.code: one.question for one in feelings()}
    rows = reader.sql(
        """
        SELECT n.day, coalesce(a.display_name, n.author) AS author, n.kind,
            CASE WHEN n.kind NOT IN ('reference', 'reference_over')
                THEN coalesce(f.name, d.name, m.label, replace(n.code, '_', ' ')) END AS about,
            n.code, n.grade, n.value, n.value_to, coalesce(n.unit, m.unit) AS unit, n.text, n.shared,
            n.held, n.lost, coalesce(h.display_name, n.overruled_by) AS overruled_by
        FROM note n
        LEFT JOIN person a ON a.person = n.author
        LEFT JOIN person h ON h.person = n.overruled_by
        LEFT JOIN fault f ON f.fault = n.code
        LEFT JOIN drill d ON d.drill = n.code
        LEFT JOIN metric m ON m.metric = n.code
        WHERE n.student = ? ORDER BY n.at DESC, n.note
        """,
        [student],
    )
    named = pl.col("code").replace_strict(names, default=None, return_dtype=pl.String)
    return translated(rows.with_columns(about=pl.coalesce(named, "about")), "about")


def body_notes(reader: Reader, student: str) -> pl.DataFrame:
    """Notes that `warehouse.body` reads, newest first, and area: the code in words."""
    return reader.sql(
        """
        SELECT student, "at", day, kind, code, grade, replace(code, '_', ' ') AS area, text FROM note
        WHERE student = ? AND list_contains(CAST(? AS VARCHAR[]), kind) ORDER BY "at" DESC
        """,
        [student, list(body.BODY_NOTES)],
    )


def open_discomfort(reader: Reader, student: str) -> pl.DataFrame:
    """day, code, area (the code in words), text of discomfort notes nobody has closed yet, newest first.

    `since`: the day of the first of them of the same place.
    """
    found = body.open_discomfort(body_notes(reader, student))
    return found.select("day", "code", "area", "text", since=pl.col("day").min().over("code"))


def left_out(reader: Reader, student: str | None, season: str | None) -> tuple[dict[str, Any], pl.DataFrame]:
    """Counts of a student's swings (swings, out), and flag → number of swings carrying it.

    `out`: unusable, or with feet that may be swapped; a swing that is both counts once. `student` None: of
    everybody in reach.
    """
    counts = reader.sql(
        """
        SELECT count(*) AS swings,
            count(*) FILTER (WHERE NOT w.usable OR list_contains(w.flags, 'feet_swapped')) AS out
        FROM swing w JOIN session s USING (session)
        WHERE s.student = coalesce(?, s.student) AND s.season IS NOT DISTINCT FROM ?
        """,
        [student, season],
    )
    flags = reader.sql(
        """
        WITH flagged AS (
            SELECT unnest(CASE WHEN len(w.flags) = 0 THEN ['no_metric'] ELSE w.flags END) AS flag
            FROM swing w JOIN session s USING (session)
            WHERE (len(w.flags) > 0 OR NOT w.usable)
                AND s.student = coalesce(?, s.student) AND s.season IS NOT DISTINCT FROM ?
        )
        SELECT flag, count(*) AS swings FROM flagged GROUP BY flag ORDER BY swings DESC, flag
        """,
        [student, season],
    )
    return counts.row(0, named=True), flags


def swing_groups(reader: Reader, session: str, family: str) -> pl.DataFrame:
    """part, pace, drill, drill_name, swings: a session's drawable swings of a family, alike ones together.

    In the order in which they were made.
    """
    return reader.sql(
        """
        SELECT w.part, w.pace, w.drill, d.name AS drill_name, count(*) AS swings
        FROM swing w LEFT JOIN drill d ON d.drill = w.drill
        WHERE w.session = ? AND w.club_family = ? AND w.usable AND w.n_samples > 0
            AND NOT list_contains(w.flags, 'feet_swapped')
        GROUP BY ALL ORDER BY min(w.swing_no)
        """,
        [session, family],
    )


def swing_numbers(reader: Reader, session: str, family: str) -> list[int]:
    """Full-pace baseline swings of a family in a session, in their order."""
    rows = reader.sql(
        """
        SELECT swing_no FROM swing WHERE session = ? AND club_family = ? AND part = 'baseline'
            AND pace = 'full' AND usable ORDER BY swing_no
        """,
        [session, family],
    )
    return rows["swing_no"].to_list()


def lead_foot_left(reader: Reader, session: str, family: str) -> list[int]:
    """Swings of a session after whose strike the lead foot left the ground; only of the longest clubs."""
    if family not in LONGEST_CLUBS:
        return []
    rows = reader.sql(
        """
        SELECT swing_no FROM swing JOIN swing_metric USING (session, swing_no)
        WHERE session = ? AND club_family = ? AND usable AND lead_least_after_impact_pct_bw < ?
            AND impact_lead_share_pct > ? ORDER BY swing_no
        """,
        [session, family, LIFTED_PCT_BW, STRUCK_FROM_PCT],
    )
    return rows["swing_no"].to_list()


def clip_sessions(reader: Reader, student: str, family: str) -> pl.DataFrame:
    """session, day of sessions with a clip, of a club family or of clubs not named, newest first."""
    return reader.sql(
        """
        SELECT s.session, s.day FROM session s
        WHERE s.student = ? AND s.has_clip AND EXISTS (
            SELECT 1 FROM swing w
            WHERE w.session = s.session AND (w.club_family IS NULL OR w.club_family = ?)
        )
        ORDER BY s.day DESC, s.session DESC
        """,
        [student, family],
    )


def every_swing(reader: Reader, session: str) -> pl.DataFrame:
    """swing_no, club, part, pace, on_plate (whether it has plate samples) of a session, in their order."""
    return reader.sql(
        """
        SELECT w.swing_no, w.club, w.part, w.pace, s.has_plate AND w.n_samples > 0 AS on_plate
        FROM swing w JOIN session s USING (session) WHERE session = ? ORDER BY w.swing_no
        """,
        [session],
    )


def swing_events(reader: Reader, session: str, swing_no: int) -> pl.DataFrame:
    """event, t_s of one swing on the plate's clock, in order."""
    return reader.sql(
        """
        SELECT e.event, CASE WHEN e.clock = 'clip' THEN e.t_s + w.clip_offset_s ELSE e.t_s END AS t
        FROM swing_event e JOIN swing w USING (session, swing_no)
        WHERE e.session = ? AND e.swing_no = ? AND (e.clock <> 'clip' OR w.clip_offset_s IS NOT NULL)
        QUALIFY row_number() OVER (PARTITION BY e.event ORDER BY e.clock = 'clip') = 1
        ORDER BY t
        """,
        [session, swing_no],
    )


class FilmClock(NamedTuple):
    """Where a film lies on the plate's clock: seconds to add to its own, their error, and what says so."""

    offset_s: float | None
    se_s: float | None
    source: str | None
    flags: list[str]
    fps: float | None
    candidates_s: list[float] | None = None  # offsets among which a coach may choose
    strikes: int | None = None  # clicks heard in its sound; None without sound


def film_clock(reader: Reader, session: str, swing_no: int) -> FilmClock:
    """Where a swing's film lies; no offset where none was found."""
    rows = reader.sql(
        """
        SELECT clip_offset_s, clip_offset_se_s, clip_offset_source, flags, clip_fps, clip_candidates_s,
            len(clip_strikes_s)
        FROM swing JOIN session USING (session) WHERE session = ? AND swing_no = ?
        """,
        [session, swing_no],
    )
    return FilmClock(None, None, None, [], None) if rows.is_empty() else FilmClock(*rows.row(0))
