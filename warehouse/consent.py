"""Which consents hold: what may be used of whom, for which purpose, on a day. The one place that says so.

A consent in consents.csv is for a student and a purpose, from a day to a day, both included:

- measure: plate samples, and the numbers made from them
- film: films, and what was marked in them
- keep_film: a minor's film as it was delivered, not cut to the feet
- share_page: a link to the progress page
- family_page: guardians see the progress page, on screen, by link or on paper
- show_swing: swings shown beside another player's
- academy_figures: a part in what is fitted on the whole academy, as drills, coaches and the usual spread

Two questions are asked. Before something new is taken or handed out, a consent must be *given* that day. What
is there already stays in use until its consent is *withheld*: it was recorded, and covers the day no more. A
new consent brings it back, but not a film that was kept whole under keep_film: that is removed (`retention`).
A purpose that was never recorded for a student withholds nothing, with one exception: a minor's films, which
nobody agreed to, are not used. Where consents are kept elsewhere, a student and purpose without a line in
consents.csv count as agreed; `keeps_film` alone asks for a line.

What that takes out of use is SQL over the temporary tables ended_consent(student, purpose) and
outdated(student). Readers fill them for today; the models go by `academy.withheld`, what the last build left
out. Both use the rules below, so no page shows what the models may not read.
"""

from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from typing import Any, Protocol

import duckdb
import polars as pl

from warehouse.settings import Settings
from warehouse.vocabulary import is_minor

WITHHOLDABLE = ("measure", "film", "family_page", "academy_figures")
NO_CONSENT = "no_consent"
Spans = Iterable[tuple[date, date | None]]

# For the writer and for readers of every kind: whose rows are withheld for a purpose.
_OF = "student IN (SELECT student FROM ended_consent WHERE purpose = '{}')"
_MEASURE, _FILM = _OF.format("measure"), _OF.format("film")
_IN_SESSION = "session IN (SELECT session FROM {{source}}academy.session WHERE {})"
_MEASURED, _FILMED = _IN_SESSION.format(_MEASURE), _IN_SESSION.format(_FILM)
RECORDED = {
    "academy.swing_event": f"(clock = 'plate' AND {_MEASURED}) OR ('clip' IN (clock, source) AND {_FILMED})",
    "academy.hold": _MEASURED,
    "academy.clip_point": _FILMED,
    "academy.heel_seen": _FILMED,
    "academy.outline_rise": _FILMED,
}
"""Rows of recordings that are withheld."""
_SILENT = _IN_SESSION.format(
    f"(has_plate OR has_clip) AND (NOT has_plate OR {_MEASURE}) AND (NOT has_clip OR {_FILM})"
)
_NO_FLAGS = {
    name: f"CASE WHEN {_SILENT} THEN {value} ELSE {name} END"
    for name, value in {
        "file_flags": f"['{NO_CONSENT}']",
        "file_flag_counts": "[1::INTEGER]",
    }.items()
}
VALUES = {
    "academy.session": {
        "has_plate": f"has_plate AND NOT {_MEASURE}",
        "has_clip": f"has_clip AND NOT {_FILM}",
        "body_mass_kg": f"CASE WHEN NOT {_MEASURE} THEN body_mass_kg END",
    },
    "academy.swing": _NO_FLAGS,
}
"""Columns of rows that stay, as they are while something of them is withheld. A visit took place, and its
swings keep their ball results; a swing of which nothing may be used has the flag no_consent."""
_SEEN_ONLY = {
    "academy.swing": _NO_FLAGS | {
        name: f"CASE WHEN {_SILENT} THEN {value} ELSE {name} END"
        for name, value in {
            "usable": "false", "flags": f"['{NO_CONSENT}']", "flag_counts": "[1::INTEGER]",
            "heel_source": "'none'", "rate_hz": "NULL", "n_samples": "0", "kind": "NULL", "sure": "NULL",
        }.items()
    }
}  # fmt: skip
# What is made of recordings: a student's rows are left out until they were made without what is withheld.
_MADE = "student IS NULL OR student NOT IN (SELECT student FROM outdated)"
_MADE_OF_STUDENT = (
    "academy.setup_target", "academy.band", "academy.swing_fault", "season.session_metric",
    "season.session_fault", "season.student_trend", "season.trend_line", "season.style",
    "season.student_fault_rate", "season.pace_ladder", "season.fault_chain", "season.felt",
    "season.felt_agreement", "season.aim", "season.agreed_aim", "season.aim_forecast", "season.ball_link",
    "season.outcome_chance", "season.student_outcome",
)  # fmt: skip
_SIGNAL = f"kind IN ('discomfort', 'refused') OR {_MADE}"
_MADE_OF = {
    **dict.fromkeys(_MADE_OF_STUDENT, _MADE),
    "academy.swing_metric": f"NOT {_IN_SESSION.format('student IN (SELECT student FROM outdated)')}",
    "season.signal": _SIGNAL,
    "season.signal_evidence": f"signal IN (SELECT signal FROM {{source}}season.signal WHERE {_SIGNAL})",
}
# Whether a student has anything that a purpose is about.
_HAS = {
    "measure": "SELECT student FROM academy.session WHERE has_plate",
    "film": "SELECT student FROM academy.session WHERE has_clip",
    "family_page": "SELECT person FROM academy.person",
    "academy_figures": "SELECT student FROM academy.session UNION SELECT student FROM academy.note",
}


class Roster(Protocol):
    """What answers questions about people: a published snapshot, or the warehouse being written."""

    def sql(self, query: str, params: Sequence[Any] | None = None) -> pl.DataFrame:
        """Run one SELECT."""


def recorded(roster: Roster) -> dict[tuple[str, str], list[tuple[date, date | None]]]:
    """The first and last day of every consent, by student and purpose."""
    spans: dict[tuple[str, str], list[tuple[date, date | None]]] = {}
    rows = roster.sql('SELECT student, purpose, "from", "to" FROM academy.consent')
    for student, purpose, first, last in rows.iter_rows():
        spans.setdefault((student, purpose), []).append((first, last))
    return spans


def covers(spans: Spans, day: date) -> bool:
    """Whether one of these spans holds the day; a span without a last day goes on."""
    return any(first <= day and (last is None or day <= last) for first, last in spans)


def last_day(spans: Spans, day: date) -> date:
    """The last day that a consent begun by this day covers; the latest date there is if it has no end."""
    begun = (last or date.max for first, last in spans if first <= day)
    return max(begun, default=day - timedelta(days=1))


def is_given(spans: Spans, day: date, settings: Settings) -> bool:
    """Whether a consent of these spans, all those of a student and purpose, lets something new begin."""
    recorded = list(spans)
    return covers(recorded, day) if recorded else settings.consents_kept_elsewhere


def keeps_film(born: date | None, spans: Spans, day: date, settings: Settings) -> bool:
    """Whether a film is kept as delivered: a minor's only by these spans of keep_film.

    Consents kept elsewhere do not count here. Who is under age that day by the academy's own age, or whose
    birth date is not known, is a minor.
    """
    return not is_minor(born, day, settings.minor_until_age) or covers(spans, day)


def given(roster: Roster, student: str, purpose: str, day: date, settings: Settings) -> bool:
    """Whether a student's consent to a purpose lets something new begin."""
    rows = roster.sql(
        'SELECT "from", "to" FROM academy.consent WHERE student = ? AND purpose = ?', [student, purpose]
    )
    return is_given(rows.iter_rows(), day, settings)


def withheld(roster: Roster, day: date, settings: Settings) -> frozenset[tuple[str, str]]:
    """Each student and purpose for which nothing of theirs may be used on a day."""
    spans = recorded(roster)
    found = {key for key, days in spans.items() if key[1] in WITHHOLDABLE and not covers(days, day)}
    if not settings.consents_kept_elsewhere:
        students = roster.sql("SELECT person, born FROM academy.person WHERE role = 'student'")
        found |= {
            (student, "film")
            for student, born in students.iter_rows()
            if (student, "film") not in spans and is_minor(born, day, settings.minor_until_age)
        }
    return frozenset(found)


def to_leave_out(roster: Roster, day: date, settings: Settings) -> frozenset[tuple[str, str]]:
    """Of what is `withheld`, that of which there is something: what a build on this day leaves out."""
    found = withheld(roster, day, settings)
    having = {
        purpose: set(roster.sql(query).to_series()) if any(of == purpose for _, of in found) else set()
        for purpose, query in _HAS.items()
    }
    return frozenset((student, purpose) for student, purpose in found if student in having[purpose])


def left_out(roster: Roster) -> frozenset[tuple[str, str]]:
    """Each student and purpose that the last build left out."""
    return frozenset(roster.sql("SELECT student, purpose FROM academy.withheld").iter_rows())


def is_owed(roster: Roster, settings: Settings) -> bool:
    """Whether a consent has ended or begun again since the last build, so that another is to be made."""
    return to_leave_out(roster, settings.today, settings) != left_out(roster)


def ended_since(roster: Roster, settings: Settings) -> list[str]:
    """Students of whom a page written before the last build may show what is withheld by now."""
    new = to_leave_out(roster, settings.today, settings) - left_out(roster)
    return sorted({student for student, purpose in new if purpose != "academy_figures"})


def left_out_now(roster: Roster, settings: Settings) -> pl.DataFrame:
    """Rows of academy.withheld for a build that begins now."""
    pairs = sorted(to_leave_out(roster, settings.today, settings))
    return pl.DataFrame(pairs, {"student": pl.String, "purpose": pl.String}, orient="row")


def make_tables(
    connection: duckdb.DuckDBPyConnection, ended: Iterable[tuple[str, str]], outdated: Iterable[str] = ()
) -> None:
    """The temporary tables that the SQL of `in_use` and of the models reads."""
    pairs = list(ended)
    for query, params in (
        ("CREATE OR REPLACE TEMP TABLE ended_consent (student VARCHAR, purpose VARCHAR)", []),
        (
            "INSERT INTO ended_consent SELECT unnest(CAST($1 AS VARCHAR[])), unnest(CAST($2 AS VARCHAR[]))",
            [[student for student, _ in pairs], [purpose for _, purpose in pairs]],
        ),
        ("CREATE OR REPLACE TEMP TABLE outdated (student VARCHAR)", []),
        ("INSERT INTO outdated SELECT unnest(CAST(? AS VARCHAR[]))", [sorted(outdated)]),
    ):
        connection.execute(query, params).fetchall()  # fetched, as a pending result would block the next call


def outdated(roster: Roster, day: date, settings: Settings) -> list[str]:
    """Students of whom numbers were made from recordings that are withheld by now."""
    new = to_leave_out(roster, day, settings) - left_out(roster)
    return sorted({student for student, purpose in new if purpose in ("measure", "film")})


def in_use(table: str, source: str = "") -> str | None:
    """The SELECT of a table's rows that may be used; null where no consent is about them.

    `source` stands before the names of tables: of an attached database, with its dot.
    """
    values = _SEEN_ONLY.get(table) or VALUES.get(table)
    if values is not None:
        replaced = ", ".join(f"{value} AS {name}" for name, value in values.items())
        return f"SELECT * REPLACE ({replaced}) FROM {{source}}{table}".format(source=source)
    kept = f"NOT ({RECORDED[table]})" if table in RECORDED else _MADE_OF.get(table)
    return f"SELECT * FROM {{source}}{table} WHERE {kept}".format(source=source) if kept else None
