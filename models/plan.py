"""The plan: which tables the models make, in which order, from what; `underfoot build --plan` prints it."""

import logging
from collections.abc import Callable
from dataclasses import dataclass, field
from types import ModuleType

import polars as pl

import models.sql
from models import device_accuracy, samples
from models.federation import loans
from models.samples import temporary
from models.season import (
    agreed_aim,
    aim,
    aim_forecast,
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
    outcome,
    reliability,
    self_audit,
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
    sessions = run.writer.sql(
        "SELECT session FROM academy.session WHERE session IN (SELECT unnest(CAST(? AS VARCHAR[]))) "
        "ORDER BY student, session", [[*run.sessions, *faults.sessions_with_own_bands(run.writer)]],
    )["session"].to_list()  # fmt: skip
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
        ("academy.session", "academy.person", "academy.swing", "academy.swing_event", "academy.clip_point",
         "academy.heel_seen", "academy.hold", "academy.parameter"),
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
        lambda run: (reliability.reliability_rows(run.writer, loans(run.home, run.writer)),),
        build_only=True,
    ),
    Step(
        ("season.student_trend", "season.trend_line", "season.change_chance"),
        (*_CELLS, "season.reliability", *_WHOSE_BAND), trend,
        lambda run: trend.line_rows(run.writer), within=TOUCHED,
    ),
    Step(
        ("season.outcome_chance",), (*_CELLS, "season.reliability", "academy.drill_dose"), outcome,
        lambda run: (outcome.outcome_rows(run.writer, refit=run.whole),), within=TOUCHED,
    ),
    Step(
        ("season.student_outcome",),
        ("season.outcome_chance", "season.change_chance", "season.new_fault_chance"), outcome,
        lambda run: (outcome.student_outcome_rows(run.writer),),
    ),
    Step(
        ("season.drill_effect", "season.drill_group"),
        ("season.session_metric", "season.session_fault", "season.reliability", "academy.drill",
         "academy.drill_dose", "academy.note", "academy.swing", "academy.metric", "academy.fault",
         *_WHOSE_BAND),
        drill, lambda run: drill.drill_rows(run.writer), build_only=True,
    ),
    Step(
        ("season.self_audit",),
        ("season.session_metric", "season.session_fault", "season.change_chance", "season.outcome_chance",
         "season.reliability", "academy.metric", "academy.fault", "academy.session", "academy.swing",
         "academy.swing_metric", "academy.drill", "academy.drill_dose", "academy.note", "academy.season",
         *_WHOSE_BAND),
        self_audit, lambda run: (self_audit.self_audit_rows(run.writer),), build_only=True,
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
        ("season.agreed_aim",),
        (*_CELLS, "season.reliability", "academy.metric", "academy.note", "academy.season",
         "academy.session"),
        agreed_aim, lambda run: (agreed_aim.agreed_aim_rows(run.writer),),
    ),
    Step(
        ("season.aim_forecast",),
        (*_CELLS, "season.reliability", "academy.drill", "academy.metric", "academy.season",
         "academy.session"),
        aim_forecast, lambda run: (aim_forecast.forecast_rows(run.writer, refit=run.whole),),
        within=TOUCHED,
    ),
    Step(
        ("season.aim",),
        ("season.student_fault_rate", "season.session_metric", "season.fault_chain", "academy.drill_dose",
         "academy.drill", "academy.note", "academy.fault", "academy.metric", "academy.season",
         "academy.session", "season.agreed_aim", *_WHOSE_BAND),
        aim, lambda run: (aim.aim_rows(run.writer),),
    ),
    Step(
        ("season.signal", "season.signal_evidence", "season.signal_week"),
        ("season.student_trend", "season.change_chance", "season.student_fault_rate",
         "season.new_fault_chance", "season.outcome_chance", "season.session_metric",
         "season.session_fault", "season.aim",
         "season.agreed_aim", "season.drill_effect", "academy.drill", "academy.drill_dose", "academy.metric",
         "academy.note", "academy.steadiness", "academy.refusal", "academy.coaching", "academy.season",
         "academy.session", "academy.withheld", *_WHOSE_BAND),
        week, lambda run: week.week_rows(run.writer),
    ),
    Step(
        ("academy.device_accuracy",), ("academy.device_check",), device_accuracy,
        lambda run: (device_accuracy.judged(run.writer.sql("SELECT * FROM academy.device_check")),),
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
