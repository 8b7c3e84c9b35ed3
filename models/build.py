"""The plan: which tables the models make, in which order, from what; and the two ways to go through it.

`refresh` follows a load: new sessions are reduced and judged, and the season tables of the students they
touch are made again. `build` makes everything again for everyone, and is the only one to refit what is fitted
on the academy (`academy.parameter`). Either is one transaction: it happens whole or not at all, and doing it
twice changes nothing. `underfoot build --plan` prints the plan.
"""

import logging
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from types import ModuleType

import polars as pl

import models.sql
from models import consent, samples
from models.samples import temporary
from models.season import (
    aim,
    ball,
    ball_season,
    by_eye,
    chain,
    coach,
    drill,
    eye_plate,
    faultrate,
    felt,
    new_fault,
    reliability,
    setup_target,
    trend,
    week,
)  # fmt: skip
from models.season.cells import TOUCHED
from models.sql import query
from models.swing import faults
from warehouse import journal
from warehouse.chains import read_chains
from warehouse.home import Home
from warehouse.store import Writer

JUDGED_AT_ONCE = 2_000  # sessions: about 40,000 swings and 700,000 judgements
EVERYONE = "true"
Progress = Callable[[int, int, str], None]  # done, of how many, what
log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Refreshed:
    """What a refresh or build did; `problems` are sentences for the person who ran it."""

    sessions: int
    swings: int
    students: list[str]
    problems: list[str] = field(default_factory=list)


@dataclass
class Run:
    """One pass through the plan: the sessions to reduce, and whether it is a build."""

    home: Home
    writer: Writer
    rules: faults.Rules
    whole: bool
    sessions: list[str]
    progress: Progress | None
    problems: list[str] = field(default_factory=list)
    swings: int = 0

    def replace(self, table: str, rows: pl.DataFrame, within: str = EVERYONE) -> None:
        """Put `rows` in place of those of `table` that satisfy `within`."""
        self.writer.execute(f"DELETE FROM {table} WHERE {within}")
        self.writer.append(table, rows)


@dataclass(frozen=True)
class Step:
    """Tables that are made together, and what they are made from.

    `make` returns the rows of each table, which replace those `within`; none when it has put them in place
    itself. A step that is `build_only` reads the whole academy: a load keeps what the last build made.
    """

    tables: tuple[str, ...]
    needs: tuple[str, ...]
    by: ModuleType
    make: Callable[[Run], tuple[pl.DataFrame, ...]]
    build_only: bool = False
    within: str = EVERYONE

    def run(self, run: Run) -> None:
        """Make the tables, or leave them as they are."""
        if self.build_only and not run.whole:
            return
        with journal.step(log, "made %s", ", ".join(self.tables)):
            made = self.make(run)
            for table, rows in zip(self.tables, made, strict=bool(made)):
                run.replace(table, rows, self.within)


def _of_query(table: str, *needs: str, within: str = TOUCHED, build_only: bool = False) -> Step:
    """A step whose rows are those of the query of the same name."""

    def make(run: Run) -> tuple[pl.DataFrame, ...]:
        run.writer.execute(f"DELETE FROM {table} WHERE {within}")
        run.writer.execute(f"INSERT INTO {table} BY NAME {query(table)}")
        return ()

    return Step((table,), needs, models.sql, make, build_only, within)


def _swing_metrics(run: Run) -> tuple[()]:
    """Reduce the sessions at hand; only a build fits anew how events nobody marked are estimated."""
    if run.whole:
        samples.refit_events(run.home, run.writer)
    run.swings, problems = samples.reduce_into(
        run.home, run.writer, run.sessions, run.progress,
        event_fit=samples.event_fit(run.writer), spreads=run.rules.usual_spreads,
    )  # fmt: skip
    run.problems.extend(problems)
    return ()


def _swing_faults(run: Run) -> tuple[()]:
    """Judge every swing of the sessions at hand by the rules in force, some thousand sessions at a time.

    Students with a band of their own are judged again whenever they are touched: it may be new.
    """
    sessions = sorted({*run.sessions, *faults.sessions_with_own_bands(run.writer)})
    for first in range(0, len(sessions), JUDGED_AT_ONCE):
        temporary(run.writer, "batch", "session", sessions[first : first + JUDGED_AT_ONCE])
        rows = faults.judged_batch(run.writer, run.rules)
        run.replace("academy.swing_fault", rows, "session IN (SELECT session FROM batch)")
    return ()


def _bands(run: Run) -> tuple[pl.DataFrame]:
    """The rules' bands, the academy's own, and each student's own from target notes and steady stands."""
    own = run.writer.sql(query("academy.student_band"))
    return (pl.concat([faults.band_rows(run.rules), own], how="diagonal_relaxed"),)


_CELLS = ("season.session_metric", "academy.metric", "academy.parameter")
_WHOSE_BAND = ("academy.band", "academy.person", "season.style")
PLAN: tuple[Step, ...] = (
    Step(("academy.metric",), (), faults, lambda run: (faults.metric_rows(run.rules),)),
    Step(("academy.fault",), (), faults, lambda run: (faults.fault_rows(run.rules),)),
    Step(
        ("academy.swing_metric",),
        ("academy.session", "academy.swing", "academy.swing_event", "academy.clip_point", "academy.hold",
         "academy.parameter"),
        samples, _swing_metrics,
    ),
    Step(
        ("academy.setup_target",), ("academy.session", "academy.hold"), setup_target,
        lambda run: (setup_target.setup_target_rows(run.writer, run.home.settings().setup_room_pct),),
    ),
    Step(
        ("academy.band",), ("academy.metric", "academy.note", "academy.swing", "academy.setup_target"),
        faults, _bands,
    ),
    _of_query(
        "season.style", "academy.session", "academy.swing", "academy.swing_metric", within=EVERYONE,
        build_only=True,
    ),
    Step(
        ("academy.swing_fault",),
        ("academy.swing_metric", "academy.swing", "academy.session", "academy.band", "academy.fault",
         "season.style"),
        faults, _swing_faults,
    ),
    _of_query(
        "season.session_metric", "academy.metric", "academy.session", "academy.swing", "academy.swing_metric"
    ),
    _of_query(
        "season.session_fault", "academy.fault", "academy.metric", "academy.session", "academy.swing",
        "academy.swing_fault",
    ),
    Step(
        ("season.student_fault_rate", "season.pace_ladder"), ("season.session_fault", "academy.parameter"),
        faultrate, lambda run: faultrate.fault_rate_rows(run.writer, refit=run.whole), within=TOUCHED,
    ),
    Step(
        ("season.new_fault_chance",), ("season.session_fault", "academy.parameter"), new_fault,
        lambda run: (new_fault.new_fault_rows(run.writer, refit=run.whole),), within=TOUCHED,
    ),
    Step(
        ("season.fault_chain",),
        ("academy.session", "academy.swing", "academy.swing_fault", "academy.note", "academy.steadiness",
         "academy.season", "academy.fault", "season.session_fault"),
        chain,
        lambda run: (chain.fault_chain_rows(run.writer, read_chains(run.home.settings())),),
    ),
    Step(
        ("season.reliability",),
        (*_CELLS, "academy.session", "academy.swing", "academy.swing_metric"), reliability,
        lambda run: (reliability.reliability_rows(run.writer),), build_only=True,
    ),
    Step(
        ("season.student_trend", "season.trend_line", "season.change_chance"),
        (*_CELLS, "season.reliability", *_WHOSE_BAND), trend,
        lambda run: trend.line_rows(run.writer), within=TOUCHED,
    ),
    Step(
        ("season.drill_effect", "season.drill_group"),
        ("season.session_metric", "season.session_fault", "season.reliability", "academy.drill",
         "academy.drill_dose", "academy.note", "academy.swing", "academy.metric", "academy.fault",
         *_WHOSE_BAND),
        drill, lambda run: drill.drill_rows(run.writer), build_only=True,
    ),
    Step(("season.calibration",), (), reliability, lambda _run: (reliability.calibration_rows(),)),
    Step(
        ("season.coach_gain",), (*_CELLS, "season.reliability", "academy.coaching", *_WHOSE_BAND), coach,
        lambda run: (coach.coach_gain_rows(run.writer),), build_only=True,
    ),
    Step(
        ("season.ball_link",),
        ("academy.metric", "academy.session", "academy.shot", "academy.swing", "academy.swing_metric"), ball,
        lambda run: (ball.ball_link_rows(run.writer),), build_only=True,
    ),
    Step(
        ("season.session_ball", "season.ball_trend"), ("academy.session", "academy.shot", "academy.swing"),
        ball_season, lambda run: ball_season.ball_season_rows(run.writer), within=TOUCHED,
    ),
    Step(
        ("season.eye_plate",),
        ("academy.note", "academy.steadiness", "academy.session", "academy.season", "season.session_fault"),
        eye_plate, lambda run: (eye_plate.eye_plate_rows(run.writer),), build_only=True,
    ),
    Step(
        ("season.eye_rate",), ("academy.note", "academy.steadiness", "academy.session", "academy.season"),
        by_eye, lambda run: (by_eye.eye_rate_rows(run.writer),), within=TOUCHED,
    ),
    Step(
        ("season.felt", "season.felt_agreement"),
        ("academy.note", "academy.session", "academy.season", "academy.swing", "academy.swing_fault"),
        felt, lambda run: felt.felt_rows(run.writer), within=TOUCHED,
    ),
    Step(
        ("season.aim",),
        ("season.student_fault_rate", "season.session_metric", "season.fault_chain", "academy.drill_dose",
         "academy.drill", "academy.note", "academy.fault", "academy.metric", "academy.season", *_WHOSE_BAND),
        aim, lambda run: (aim.aim_rows(run.writer),),
    ),
    Step(
        ("season.signal", "season.signal_evidence", "season.signal_week"),
        ("season.student_trend", "season.change_chance", "season.student_fault_rate",
         "season.new_fault_chance", "season.session_metric", "season.session_fault",
         "academy.metric", "academy.note", "academy.steadiness", "academy.refusal", "academy.coaching",
         "academy.season", "academy.session", "academy.withheld", *_WHOSE_BAND),
        week, lambda run: week.week_rows(run.writer),
    ),
    _of_query(
        "season.data_health", "academy.refusal", "academy.season", "academy.session", "academy.swing",
        within=EVERYONE,
    ),
)  # fmt: skip


def plan_rows() -> list[tuple[str, str, str, str]]:
    """The plan for people: table, what it is made from, when, and by which module."""
    return [
        (table, ", ".join(step.needs) or "the rules", "build" if step.build_only else "load, build",
         step.by.__name__)
        for step in PLAN for table in step.tables
    ]  # fmt: skip


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
