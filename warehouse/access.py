"""Who may read what: a `Viewer` opens a `Reader`, and a `Reader` cannot return a row they may not see.

A reader runs plain SQL over unqualified table names. Each name is a temporary view cut to what the viewer
may see (`permissions.py`), and every query is parsed before it runs (`statements.py`).

A reader holds what its viewer might see when it was opened. Whoever acts on it later, at a click or to write
something, asks for it `anew`.
"""

import threading
from collections import OrderedDict
from collections.abc import Callable, Sequence
from contextlib import closing
from copy import copy
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from typing import Any

import duckdb
import polars as pl

from warehouse import access_log, consent, links
from warehouse.body import BODY_NOTES_OF, FallsAnswer, falls_answer, open_discomfort
from warehouse.errors import AccessError, CallError, UnderfootError, UnknownViewerError
from warehouse.filed import kept_film
from warehouse.home import Home
from warehouse.lessons import Lesson, lessons, of_students
from warehouse.permissions import views
from warehouse.reach import Viewer, may_write, viewer_of, visible_students
from warehouse.settings import Settings
from warehouse.statements import check_select
from warehouse.store import Snapshot, first_line, open_snapshot, read_frame, run
from warehouse.traces import SessionTrace, read_trace, trace_path
from warehouse.vocabulary import STAFF, is_minor

_ANSWERS_KEPT = 256  # a reader's; some hundred are asked on a walk through all pages
MEASURE_ENDED = "The consent to measure has ended, so these samples are not shown."
PROGRESS = "Progress page"
CHANGED = "What you may see has changed since this page was opened; open it again."


class Reader:
    """The only way a face reads the warehouse. Made by `open_reader`."""

    def __init__(
        self, snapshot: Snapshot, viewer: Viewer, settings: Settings, today: date, *, all_kept: bool = False
    ) -> None:
        self.viewer, self.settings, self.today = viewer, settings, today
        self.snapshot_name = snapshot.name
        self.students = visible_students(snapshot, viewer, settings, today)
        self.home = home = snapshot.home
        self.way_in: Callable[[], Reader] = lambda: open_reader(home, viewer.person)
        self.made: OrderedDict[bytes, Any] = OrderedDict()  # what pages keep of it, with its visits' readers
        self._snapshot = snapshot
        self._lock = threading.Lock()
        self._connection = snapshot.connection.cursor()
        self.withheld = frozenset() if all_kept else consent.withheld(snapshot, today, settings)
        # Without anything withheld, which is usual, the views are as plain as can be.
        self._views = views(viewer.role, by_link=viewer.link is not None, all_kept=not self.withheld)
        self._made_views: set[str] = set()
        self._answers: OrderedDict[tuple[str, Any], pl.DataFrame] = OrderedDict()
        if self.withheld:
            outdated = consent.outdated(snapshot, today, settings)
            consent.make_tables(self._connection, self.withheld, outdated)
        visible = "CREATE TEMP TABLE visible AS SELECT unnest(CAST(? AS VARCHAR[])) AS student"
        run(self._connection, visible, [self.students])
        viewers = "CREATE TEMP TABLE viewer AS SELECT CAST(? AS VARCHAR) AS person"
        run(self._connection, viewers, [viewer.person])

    def _make_views(self, names: frozenset[str]) -> None:
        """Those of the views that are not there yet: a viewer asks for some of the tables, seldom for all."""
        for name in names - self._made_views:
            try:
                run(self._connection, f'CREATE TEMP VIEW "{name}" AS {self._views[name]}')
            except duckdb.Error as error:
                raise CallError(
                    f"The published warehouse is not complete ({first_line(error)}); run: underfoot build"
                ) from error
            self._made_views.add(name)

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
                self._make_views(check_select(self._connection, query, self._views.keys()))
                self._answers[key] = read_frame(self._connection, query, params)
                if len(self._answers) > _ANSWERS_KEPT:
                    self._answers.popitem(last=False)
            return self._answers[key].clone()

    def by(self, way_in: "Callable[[], Reader]") -> "Reader":
        """The same reader for one visit, which was let in by `way_in` and is asked for there `anew`."""
        own = copy(self)
        own.way_in = way_in
        return own

    def anew(self) -> "Reader":
        """What the viewer may read now, by the newest published roster and academy.toml.

        Raises
            AccessError: they may not look any more, or are in another role; the refusal is logged.
        """
        try:
            now = self.way_in()
            if now.viewer.role != self.viewer.role:
                raise AccessError(CHANGED)
        except UnderfootError as refusal:
            self._log(None, None, outcome="refused", why=str(refusal))
            raise AccessError(str(refusal)) from refusal
        return now.by(self.way_in)

    def still(self) -> "Reader":
        """As `anew`, for what was made from this reader's own rows: they must all be in reach today.

        Raises
            AccessError: some are not, a consent to use them has ended, or as `anew`; the refusal is logged.
        """
        now = self.anew()
        withheld = {student for student, _ in now.withheld - self.withheld}
        lost = sorted(set(self.students) - (set(now.students) - withheld))
        if lost:
            self._log(None, None, outcome="refused", why=CHANGED, lost=lost)
            raise AccessError(CHANGED)
        return now

    def to_write(self, what: str, student: str) -> "Reader":
        """As `anew`, for whoever is about to write this (of `reach.WRITINGS`) about a student.

        Raises
            AccessError: they may not, or not any more; the refusal is logged.
        """
        now = self.anew()
        if not now.may_write(what, student):
            now.refused(what, student)
            raise AccessError(f"There is no student {student} for whom you may do this.")
        return now

    def may_write(self, what: str, student: str) -> bool:
        """Whether the viewer may write this (of `reach.WRITINGS`) about a student, as this reader knows."""
        return may_write(what, self.viewer.role, self.students, student)

    def wrote(self, what: str, student: str) -> None:
        """Log that something was written about a student."""
        self._log(what, student, outcome="wrote")

    def trace(self, session: str, columns: Sequence[str] | None = None) -> SessionTrace:
        """Samples of one session that the viewer may see.

        Raises
            AccessError: the viewer may not see the session, or it does not exist: the two look alike; or the
                consent to measure has ended.
        """
        rows = self.sql("SELECT season, student, has_plate FROM session WHERE session = ?", [session])
        if len(rows) and self.is_withheld("measure", rows.item(0, "student")):
            raise AccessError(f"{MEASURE_ENDED} A new consent in consents.csv shows them again.")
        if rows.is_empty() or not rows.item(0, "has_plate"):
            self._log("trace", None, session=session, outcome="refused")
            raise AccessError(f"There is no session {session} with plate samples that you may see.")
        return read_trace(trace_path(self.home, rows.item(0, "season"), session), columns)

    def film(self, session: str, swing_no: int) -> Path | None:
        """The film kept of a swing, cut to the feet; None where there is none or the consent has ended.

        Raises
            AccessError: the viewer may not see the session, or it does not exist: the two look alike.
        """
        rows = self.sql("SELECT delivery, student FROM session WHERE session = ?", [session])
        if rows.is_empty():
            self._log("film", None, session=session, outcome="refused")
            raise AccessError(f"There is no session {session} that you may see.")
        if self.is_withheld("film", rows.item(0, "student")):
            return None
        path = kept_film(self.home.filed / rows.item(0, "delivery"), swing_no)
        return path if path.is_file() else None

    def lessons(self, day: date) -> list[Lesson]:
        """The lessons of a day for staff (see `lessons.of_students`); a calendar may be refused."""
        seen = self.students if self.viewer.role in STAFF else ()
        return of_students(lessons(self.home, self.settings, self._snapshot, day), seen)

    def is_withheld(self, purpose: str, student: str) -> bool:
        """Whether nothing of a student may be used for a purpose today (see `consent`)."""
        return (student, purpose) in self.withheld

    def out_of_use(self, student: str) -> list[str]:
        """The purposes for which something is kept of a student that may not be used today."""
        if student not in self.students or not self.withheld:
            return []
        found = consent.to_leave_out(self._snapshot, self.today, self.settings)
        return [purpose for purpose in consent.WITHHOLDABLE if (student, purpose) in found]

    def all_kept(self) -> "Reader":
        """The same viewer's reader of all that is kept, also of what is out of use as its consent has ended.

        For the family's own copy. Withdrawing a consent takes nobody's right to it.

        Raises
            AccessError: the viewer is no head coach; the refusal is logged.
        """
        if self.viewer.role != "head_coach":
            self.refused("Export")
            raise AccessError("Only a head coach may read what is kept out of use.")
        found = Reader(self._snapshot, self.viewer, self.settings, self.today, all_kept=True)
        return found.by(self.way_in)

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

    def something_hurts(self, student: str) -> bool:
        """Whether a student in reach has an open discomfort, also where its notes are not for the viewer.

        What sets exercises asks here: it holds them back for everyone, and says why to those who may know.
        """
        return not open_discomfort(self._body_notes(student)).is_empty()

    def falls_answer(self, student: str) -> FallsAnswer | None:
        """What a student in reach said of falls, also where that note is not for the viewer; as above."""
        return falls_answer(self._body_notes(student), self.today)

    def _body_notes(self, student: str) -> pl.DataFrame:
        with self._lock:
            return read_frame(
                self._connection, BODY_NOTES_OF, [student if student in self.students else None]
            )

    def refused(self, page: str, student: str | None = None) -> None:
        """Log that a page, or something on it, was refused to the viewer."""
        self._log(page, student, outcome="refused")

    def _log(self, page: str | None, student: str | None, **more: object) -> None:
        line = {"viewer": self.viewer.person, "role": self.viewer.role, "page": page, "student": student}
        access_log.write(self.home, line | more | ({"link": self.viewer.link} if self.viewer.link else {}))


def open_by_link(
    home: Home, token: str, *, snapshot: Snapshot | None = None, now: datetime | None = None
) -> Reader:
    """Open a reader for whoever holds a link: what its student's own page shows, and nothing else.

    Raises
        AccessError: the link is not valid, has ended, or the page is no longer shared; the refusal is logged.
        CallError: nothing is published, or the student has left.
    """
    opened = snapshot or open_snapshot(home)
    try:
        link = links.read_link(home, opened, token, now=now)
    except AccessError as refusal:
        access_log.refused(home, PROGRESS, str(refusal), role="link")
        raise
    today = now.astimezone(home.settings().zone).date() if now else None
    reader = open_reader(home, link.student, snapshot=opened, today=today, link=link.name)
    return reader.by(lambda: open_by_link(home, token))


def check_viewer(home: Home, person: str) -> None:
    """Make sure that somebody of this code may look today.

    Raises
        UnknownViewerError, CallError: as of `open_reader`.
    """
    with closing(open_snapshot(home)) as snapshot:
        open_reader(home, person, snapshot=snapshot)


def open_reader(
    home: Home,
    person: str,
    *,
    snapshot: Snapshot | None = None,
    today: date | None = None,
    link: str | None = None,
) -> Reader:
    """Open a reader for one person of the academy, in the role the roster gives them today.

    Whoever comes by a link, which `link` names, is a student.

    Raises
        UnknownViewerError: the roster has no such person, or they have left.
        CallError: nothing is published.
    """
    settings = home.settings()
    opened = snapshot or open_snapshot(home)
    day = today or settings.today
    viewer = viewer_of(opened, person, day)
    if viewer is None:
        raise UnknownViewerError(f"The roster has no person {person} who may look; check people.csv.")
    if link is not None:
        viewer = replace(viewer, role="student", link=link)
    return Reader(opened, viewer, settings, day)
