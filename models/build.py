"""The two ways to go through the plan (plan.py).

`refresh` follows a load: new sessions are reduced and judged, and the season tables of the students they
touch are made again. `build` makes everything again for everyone, and is the only one to refit what is fitted
on the academy (`academy.parameter`). Either is one transaction: it happens whole or not at all, and doing it
twice changes nothing.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from models import consent
from models.plan import PLAN, Progress, Run
from models.samples import temporary
from models.swing import faults
from warehouse.home import Home
from warehouse.store import Writer


@dataclass(frozen=True)
class Refreshed:
    """What a refresh or build did; `problems` are sentences for the person who ran it."""

    sessions: int
    swings: int
    students: list[str]
    problems: list[str] = field(default_factory=list)


def refresh(
    home: Home, writer: Writer, *, touched: Iterable[str] = (), progress: Progress | None = None
) -> Refreshed:
    """Reduce and judge the sessions that wait (`reduced` false), then the season of the students they touch.

    `touched` names further students whose season is to be made again. A student whose session was corrected
    to be another student's is touched as well.

    Raises
        UnderfootError: academy.toml or a rule file is not right. Samples that can't be read don't raise: the
            session waits on, and `problems` has a sentence.
    """
    waiting = writer.sql("SELECT session, student FROM academy.session WHERE NOT reduced ORDER BY session")
    moved = writer.sql(
        "SELECT DISTINCT student FROM season.session_metric "
        "ANTI JOIN academy.session USING (session, student)"
    )
    students = set(touched) | set(waiting["student"]) | set(moved["student"])
    run = _run(home, writer, waiting["session"].to_list(), progress, whole=False)
    return _go(run, sorted(students))


def build(home: Home, writer: Writer, *, progress: Progress | None = None) -> Refreshed:
    """Make everything again for everyone, and refit what is fitted on the academy.

    Raises
        UnderfootError: academy.toml or a rule file is not right (see `refresh` for samples).
    """
    sessions = writer.sql("SELECT session FROM academy.session ORDER BY session")["session"].to_list()
    students = writer.sql("SELECT DISTINCT student FROM academy.session ORDER BY 1")["student"].to_list()
    return _go(_run(home, writer, sessions, progress, whole=True), students)


def _run(home: Home, writer: Writer, sessions: list[str], progress: Progress | None, *, whole: bool) -> Run:
    return Run(home, writer, faults.load_rules(home.settings()), whole, sessions, progress)


def _go(run: Run, students: list[str]) -> Refreshed:
    writer, settings = run.writer, run.home.settings()
    with writer.transaction():
        temporary(writer, "place", "time_zone", [settings.time_zone])
        if run.whole:
            _clear(writer)
            consent.keep_left_out(writer, settings)
        with consent.recordings_aside(writer):
            apart = consent.out_of_figures(writer) if run.whole else []
            if apart:
                _build_apart(run, students, apart)
            else:
                _make(run, students)
    return Refreshed(len(run.sessions), run.swings, students, run.problems)


def _build_apart(run: Run, students: list[str], apart: list[str]) -> None:
    """A build whose academy-wide fits are without some students; they are then answered by those fits."""
    owned = dict(run.writer.sql("SELECT session, student FROM academy.session").iter_rows())
    theirs = [session for session in run.sessions if owned[session] in apart]
    others = replace(run, sessions=sorted(set(run.sessions) - set(theirs)))
    with consent.students_aside(run.writer, apart):
        _make(others, sorted(set(students) - set(apart)))
    afterwards = replace(run, sessions=theirs, whole=False)
    _make(afterwards, apart)
    run.swings = others.swings + afterwards.swings


def _make(run: Run, students: list[str]) -> None:
    """Go through the plan for these students."""
    report = run.progress or (lambda *_: None)
    temporary(run.writer, "touched", "student", students)
    for done, step in enumerate(PLAN):
        report(done, len(PLAN), step.tables[0])
        step.run(run)
    report(len(PLAN), len(PLAN), "done")


def _clear(writer: Writer) -> None:
    """Before a build: rows of sessions and students that are no more would otherwise stay."""
    writer.execute("UPDATE academy.session SET reduced = false")
    for table in (table for step in PLAN for table in step.tables):
        writer.execute(f"DELETE FROM {table}")
