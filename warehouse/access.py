"""Who may read what: a `Viewer` opens a `Reader`, and a `Reader` cannot return a row they may not see.

A reader runs plain SQL over unqualified table names. Each name is a temporary view cut to what the viewer
may see (`permissions.py`), and every query is parsed before it runs: a schema-qualified name, a table
function, a file name or anything that is not one SELECT is refused.
"""

import json
import threading
from collections import OrderedDict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import duckdb
import polars as pl

from warehouse import links
from warehouse.errors import AccessError, CallError
from warehouse.filed import kept_film
from warehouse.home import Home
from warehouse.permissions import views
from warehouse.settings import Settings
from warehouse.store import Snapshot, open_snapshot, read_frame, run
from warehouse.traces import SessionTrace, read_trace, trace_path
from warehouse.vocabulary import ROLES, is_minor

_HARMLESS_FUNCTIONS = {"unnest", "range", "generate_series"}
_ANSWERS_KEPT = 256  # a reader's; some hundred are asked on a walk through all pages


@dataclass(frozen=True)
class Viewer:
    """One person looking: who they are and in which role."""

    person: str
    role: str
    display_name: str
    link: str | None = None  # came by a link, not by signing in: its name


def viewers(snapshot: Snapshot) -> list[Viewer]:
    """Everyone who could look, staff first; for the demo academy's "look as"."""
    rows = snapshot.sql(
        "SELECT person, role, display_name FROM academy.person "
        "ORDER BY list_position(['head_coach', 'coach', 'student', 'guardian'], role), display_name, person"
    )
    return [Viewer(*row) for row in rows.iter_rows()]


def visible_students(snapshot: Snapshot, viewer: Viewer, settings: Settings, today: date) -> list[str]:
    """The students whose rows this viewer may read.

    A head coach: all. A coach: those they coach today. A student: themselves. A guardian: their wards, until
    the day each comes of age (`minor_until_age`).
    """
    if viewer.role == "head_coach":
        found = snapshot.sql("SELECT person FROM academy.person WHERE role = 'student'")
    elif viewer.role == "coach":
        found = snapshot.sql(
            'SELECT DISTINCT student FROM academy.coaching WHERE coach = ? AND "from" <= ? '
            'AND ("to" IS NULL OR "to" >= ?)',
            [viewer.person, today, today],
        )
    elif viewer.role == "guardian":
        wards = snapshot.sql(
            "SELECT p.person, p.born FROM academy.person g JOIN academy.person p "
            "ON list_contains(g.guardian_of, p.person) WHERE g.person = ?",
            [viewer.person],
        )
        years = settings.minor_until_age
        return sorted(ward for ward, born in wards.iter_rows() if is_minor(born, today, years))
    else:
        found = snapshot.sql(
            "SELECT person FROM academy.person WHERE person = ? AND role = 'student'", [viewer.person]
        )
    return sorted(found.to_series().to_list())


class Reader:
    """The only way a face reads the warehouse. Made by `open_reader`."""

    def __init__(self, snapshot: Snapshot, viewer: Viewer, settings: Settings, today: date) -> None:
        self.viewer = viewer
        self.settings = settings
        self.today = today
        self.snapshot_name = snapshot.name
        self.students = visible_students(snapshot, viewer, settings, today)
        self._home = snapshot.home
        self._lock = threading.Lock()
        self._connection = snapshot.connection.cursor()
        self._names = set(views(viewer.role))
        self._allowed: set[str] = set()
        self._answers: OrderedDict[tuple[str, Any], pl.DataFrame] = OrderedDict()
        self._prepare()

    def _prepare(self) -> None:
        connection = self._connection
        run(connection, "CREATE TEMP TABLE visible (student VARCHAR)")
        run(connection, "INSERT INTO visible SELECT unnest(CAST(? AS VARCHAR[]))", [self.students])
        run(
            connection,
            "CREATE TEMP TABLE viewer AS SELECT CAST(? AS VARCHAR) AS person",
            [self.viewer.person],
        )
        for name, select in views(self.viewer.role).items():
            run(connection, f'CREATE TEMP VIEW "{name}" AS {select}')

    def sql(self, query: str, params: Sequence[Any] | None = None) -> pl.DataFrame:
        """Run one SELECT over the viewer's own views.

        A snapshot never changes, so what was asked before is answered from memory.

        Raises
            AccessError: the query names anything but those views.
            CallError: the query is not accepted by DuckDB.
        """
        key = query, tuple(tuple(p) if isinstance(p, list) else p for p in params or ())
        with self._lock:
            if key in self._answers:
                self._answers.move_to_end(key)
            else:
                if query not in self._allowed:
                    self._check(query)
                    self._allowed.add(query)
                self._answers[key] = read_frame(self._connection, query, params)
                if len(self._answers) > _ANSWERS_KEPT:
                    self._answers.popitem(last=False)
            return self._answers[key].clone()

    def _check(self, query: str) -> None:
        found = read_frame(self._connection, "SELECT json_serialize_sql(CAST(? AS VARCHAR))", [query])
        parsed: dict[str, Any] = json.loads(found.item())
        statements = parsed.get("statements", [])
        if parsed.get("error") or len(statements) != 1:
            reason = parsed.get("error_message", "one SELECT is expected")
            raise AccessError(f"A reader runs one SELECT and nothing else ({reason}).")
        nodes = list(_nodes(parsed))
        own = {entry["key"] for node in nodes for entry in node.get("cte_map", {}).get("map", [])}
        for node in nodes:
            kind = node.get("type")
            if kind == "BASE_TABLE":
                name = str(node.get("table_name"))
                path = node.get("qualified_name", {}).get("path", [name])
                if len(path) != 1 or name not in self._names | own:
                    raise AccessError(f"A reader has no table {'.'.join(map(str, path))}.")
            elif kind == "TABLE_FUNCTION":
                function = node.get("function", {}).get("function_name")
                if function not in _HARMLESS_FUNCTIONS:
                    raise AccessError(f"A reader may not call {function}().")
            elif kind == "SHOW_REF":
                raise AccessError("A reader may not list or describe tables.")

    def trace(self, session: str, columns: Sequence[str] | None = None) -> SessionTrace:
        """Samples of one session that the viewer may see.

        Raises
            AccessError: the viewer may not see the session, or it does not exist: the two look alike.
        """
        rows = self.sql("SELECT season, student FROM session WHERE session = ? AND has_plate", [session])
        if rows.is_empty():
            self._log("trace", None, session=session, outcome="refused")
            raise AccessError(f"There is no session {session} with plate samples that you may see.")
        return read_trace(trace_path(self._home, rows.item(0, "season"), session), columns)

    def film(self, session: str, swing_no: int) -> Path | None:
        """The film kept of a swing, cut to the feet; None where there is none.

        Raises
            AccessError: the viewer may not see the session, or it does not exist: the two look alike.
        """
        rows = self.sql("SELECT delivery FROM session WHERE session = ?", [session])
        if rows.is_empty():
            self._log("film", None, session=session, outcome="refused")
            raise AccessError(f"There is no session {session} that you may see.")
        path = kept_film(self._home.filed / rows.item(), swing_no)
        return path if path.is_file() else None

    def opened(self, page: str, student: str | None) -> None:
        """Note that a page was opened on a student; log it when they are under age.

        Raises
            AccessError: the viewer may not see the student; the refusal is logged.
        """
        if student is None:
            return
        if student not in self.students:
            self._log(page, student, outcome="refused")
            raise AccessError(f"There is no student {student} that you may see.")
        if self.is_minor(student):
            self._log(page, student, minor=True, outcome="opened")

    def is_minor(self, student: str) -> bool:
        """Under age today, by the academy's own age. Unknown birth dates count as under age."""
        rows = self.sql("SELECT born FROM person WHERE person = ?", [student])
        born = None if rows.is_empty() else rows.item()
        return is_minor(born, self.today, self.settings.minor_until_age)

    def refused(self, page: str) -> None:
        """Log that a page was refused to the viewer's role."""
        self._log(page, None, outcome="refused")

    def _log(self, page: str, student: str | None, **more: object) -> None:
        line = {
            "viewer": self.viewer.person,
            "role": self.viewer.role,
            "page": page,
            "student": student,
            **more,
        } | ({"link": self.viewer.link} if self.viewer.link else {})
        _write_log(self._home, line)


def log_refused_sign_in(home: Home, why: str) -> None:
    """Log that somebody signed in who may not look; `why` is what the page said."""
    line = {"viewer": None, "role": None, "page": "Sign-in", "student": None, "outcome": "refused"}
    _write_log(home, line | {"why": why})


def _write_log(home: Home, line: Mapping[str, object]) -> None:
    dated = {"at": datetime.now(UTC).isoformat(timespec="seconds"), **line}
    with home.access_log.open("a", encoding="utf-8") as file:
        file.write(json.dumps(dated, ensure_ascii=False) + "\n")


def _nodes(value: object) -> Iterator[dict[str, Any]]:
    """Every object inside a parsed query."""
    if isinstance(value, dict):
        yield value
        for inner in value.values():
            yield from _nodes(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _nodes(inner)


def open_by_link(
    home: Home, token: str, *, snapshot: Snapshot | None = None, now: datetime | None = None
) -> Reader:
    """Open a reader for whoever holds a link: what its student sees, and nothing else.

    Raises
        AccessError: the link is not good, has ended, or the page is no longer shared; the refusal is logged.
        CallError: nothing is published, or the student has left.
    """
    opened = snapshot or open_snapshot(home)
    try:
        link = links.read_link(home, opened, token, now=now)
    except AccessError as refusal:
        line = {"viewer": None, "role": "link", "page": "Progress page", "outcome": "refused"}
        _write_log(home, line | {"why": str(refusal)})
        raise
    today = now.astimezone(home.settings().zone).date() if now else None
    return open_reader(home, link.student, snapshot=opened, today=today, link=link.name)


def open_reader(
    home: Home,
    person: str,
    *,
    snapshot: Snapshot | None = None,
    today: date | None = None,
    link: str | None = None,
) -> Reader:
    """Open a reader for one person of the academy, in the role the roster gives them today.

    `link` is the name of the link they came by, for the access log.

    Raises
        CallError: nothing is published, or the roster has no such person, or they have left.
    """
    settings = home.settings()
    opened = snapshot or open_snapshot(home)
    day = today or datetime.now(settings.zone).date()
    rows = opened.sql(
        "SELECT person, role, display_name FROM academy.person "
        'WHERE person = ? AND ("left" IS NULL OR "left" >= ?)',
        [person, day],
    )
    if rows.is_empty() or rows.item(0, "role") not in ROLES:
        raise CallError(f"The roster has no person {person} who may look; check people.csv.")
    try:
        return Reader(opened, replace(Viewer(*rows.row(0)), link=link), settings, day)
    except duckdb.Error as error:
        said = str(error).strip().splitlines()[0]
        raise CallError(f"The published warehouse is not complete ({said}); run: underfoot build") from error
