"""Who is there: students in reach, coaches, seasons, and the rosters of metrics, faults and club families."""

from collections import Counter
from datetime import date
from typing import Any

import polars as pl

from dashboard.text.catalogue import _
from dashboard.text.numbers import Measure
from warehouse import consent
from warehouse.access import Reader


def students(reader: Reader) -> pl.DataFrame:
    """One row per student in reach, by name, with their coach today and how often they were measured.

    Measured: in a session with plate samples or a clip; one with notes alone does not count. Of several with
    one name, each name has the year of birth beside it, and the code where that is not enough.
    """
    rows = reader.sql(
        """
        WITH now AS (
            SELECT student, arg_max(coach, "from") AS coach
            FROM coaching WHERE "from" <= ? AND ("to" IS NULL OR "to" >= ?) GROUP BY student
        ), measured AS (
            SELECT student, count(*) AS sessions, min(day) AS first_day, max(day) AS last_day
            FROM session WHERE has_plate OR has_clip GROUP BY student
        )
        SELECT p.person AS student, p.display_name AS name, p.level, p.handed, p.born, now.coach,
            c.display_name AS coach_name, coalesce(sessions, 0) AS sessions, first_day, last_day
        FROM person p
        LEFT JOIN now ON now.student = p.person
        LEFT JOIN person c ON c.person = now.coach
        LEFT JOIN measured ON measured.student = p.person
        WHERE p.person IN (SELECT unnest(CAST(? AS VARCHAR[])))
        ORDER BY p.display_name, p.person
        """,
        [reader.today, reader.today, reader.students],
    )
    return rows.with_columns(name=pl.Series(_apart(rows), dtype=pl.String))


def _apart(rows: pl.DataFrame) -> list[str]:
    """A name for each student, no two alike."""
    people = [(row["student"], row["name"], row["born"] and row["born"].year) for row in rows.to_dicts()]
    alike, of_a_year = Counter(name for _c, name, _y in people), Counter((name, y) for _c, name, y in people)
    return [
        name
        if alike[name] == 1
        else _("{name} (born {year})").format(name=name, year=year)
        if year and of_a_year[name, year] == 1
        else f"{name} ({code})"
        for code, name, year in people
    ]


def student(reader: Reader, code: str) -> dict[str, Any]:
    """The row of `students` of one student."""
    return students(reader).row(by_predicate=pl.col("student") == code, named=True)


def seasons(reader: Reader, of: str = "session") -> list[str]:
    """Seasons with a row of a table in reach, by itself a measured session; newest first."""
    rows = reader.sql(
        f"""
        SELECT season FROM season WHERE season IN (SELECT season FROM {of}) ORDER BY "from" DESC
        """
    )
    return rows["season"].to_list()


def newest_season(reader: Reader) -> str:
    """The newest season with a measured session in reach; "" where there is none."""
    return next(iter(seasons(reader)), "")


def measures(reader: Reader) -> dict[str, Measure]:
    """Every metric in screen order, by its code."""
    rows = reader.sql("SELECT * FROM metric ORDER BY position")
    return {row["metric"]: Measure.of(row) for row in rows.iter_rows(named=True)}


def core_measures(reader: Reader) -> list[str]:
    """Codes of the metrics shown first, in screen order."""
    return reader.sql("SELECT metric FROM metric WHERE core ORDER BY position")["metric"].to_list()


def faults(reader: Reader) -> dict[str, str]:
    """Every fault in swing order: code → its name on screen."""
    rows = reader.sql("SELECT fault, name FROM fault ORDER BY position")
    return {code: _(name) for code, name in rows.iter_rows()}


def fault_about(reader: Reader, fault: str) -> dict[str, Any]:
    """What a fault looks like, and what a swing without it is like; empty for what is no fault."""
    rows = reader.sql(
        "SELECT name, looks_like, instead, costs, feel, on_film, drill FROM fault WHERE fault = ?", [fault]
    )
    return (
        {key: _(text) if text else "" for key, text in rows.row(0, named=True).items()} if len(rows) else {}
    )


def families(reader: Reader, season: str | None, student: str | None = None) -> list[str]:
    """Club families measured in a season, the most measured first."""
    rows = reader.sql(
        """
        SELECT w.club_family, count(*) AS n
        FROM swing w JOIN session s USING (session)
        WHERE w.club_family IS NOT NULL AND NOT list_contains(w.flags, 'no_consent')
            AND s.season IS NOT DISTINCT FROM ?
            AND (CAST(? AS VARCHAR) IS NULL OR s.student = ?)
        GROUP BY 1 ORDER BY n DESC, 1
        """,
        [season, student, student],
    )
    return rows["club_family"].to_list()


def may_share(reader: Reader, student: str) -> bool:
    """Whether the progress page may be shared by link today."""
    return has_consent(reader, student, "share_page") and not reader.is_withheld("family_page", student)


def has_consent(reader: Reader, student: str, purpose: str, day: date | None = None) -> bool:
    """Whether a student in reach has agreed to a purpose, by itself as of today."""
    return consent.is_given(_spans(reader, student, purpose), day or reader.today, reader.settings)


def keeps_film(reader: Reader, student: str, day: date) -> bool:
    """Whether a film of that day is kept as it was taken, and not the feet alone."""
    born = reader.sql("SELECT born FROM person WHERE person = ?", [student]).item()
    return consent.keeps_film(born, _spans(reader, student, "keep_film"), day, reader.settings)


def _spans(reader: Reader, student: str, purpose: str) -> list[tuple[date, date | None]]:
    query = 'SELECT "from", "to" FROM consent WHERE student = ? AND purpose = ?'
    return reader.sql(query, [student, purpose]).rows()


def agreed(reader: Reader, purpose: str) -> set[str]:
    """The students in reach who have agreed to a purpose, as of today."""
    rows = reader.sql('SELECT student, "from", "to" FROM consent WHERE purpose = ?', [purpose])
    spans = rows.rows_by_key("student")
    return {
        student
        for student in reader.students
        if consent.is_given(spans.get(student, []), reader.today, reader.settings)
    }


def may_film(reader: Reader, student: str, day: date | None = None) -> bool:
    """Whether a student may be filmed on a day, by itself today."""
    return has_consent(reader, student, "film", day)


def drills(reader: Reader) -> pl.DataFrame:
    """Every drill, by its name."""
    return reader.sql("SELECT drill, name, aim, how, cautions, min_age FROM drill ORDER BY name, drill")


def faults_shown(reader: Reader, student: str) -> list[str]:
    """Faults that a student's swings show lately, the most frequent first."""
    rows = reader.sql(
        """
        SELECT fault, max(rate) AS most FROM student_fault_rate
        WHERE student = ? AND span = 'now' AND rate > 0 AND usable > 0
            AND season = (
                SELECT arg_max(season, "from") FROM season WHERE season IN (SELECT season FROM session)
            )
        GROUP BY fault ORDER BY most DESC, fault
        """,
        [student],
    )
    return rows["fault"].to_list()
