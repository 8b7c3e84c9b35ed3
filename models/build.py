"""The ordered list of tables that the models fill, in one place, and the two ways to go through it.

`refresh` follows a load: new sessions are reduced and judged, and the season tables of the students they
touch are made again. `build` makes everything again for everyone, and is the only one to refit what is fitted
on the academy (`academy.parameter`). Either is one transaction: it happens whole or not at all, and doing it
twice changes nothing.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path

import polars as pl

from models import answers, comparisons, drills, fitting, own_bands, samples
from models.calibration import calibration_rows
from models.samples import temporary
from models.season.trend import Lines
from models.season.week import WeekRows, week_rows
from models.swing import faults
from warehouse.home import Home
from warehouse.settings import Settings
from warehouse.store import Writer

JUDGED_AT_ONCE = 2_000  # sessions: about 40,000 swings and 700,000 judgements
SQL_FOLDER = Path(__file__).parent / "sql"
Progress = Callable[[int, int, str], None]  # done, of how many, what


@dataclass(frozen=True)
class Refreshed:
    """What a refresh or build did; `problems` are sentences for the person who ran it."""

    sessions: int
    swings: int
    students: list[str]
    problems: list[str] = field(default_factory=list)


@dataclass
class Job:
    """One run through the list: `touched` students, all of them when `whole`."""

    home: Home
    writer: Writer
    settings: Settings
    rules: faults.Rules
    whole: bool
    sessions: list[str]
    progress: Progress | None
    problems: list[str] = field(default_factory=list)
    swings: int = 0
    lines: Lines | None = None
    drill_rows: drills.DrillRows | None = None
    ladder: pl.DataFrame = field(default_factory=pl.DataFrame)
    week: WeekRows | None = None

    def replace(self, table: str, rows: pl.DataFrame, within: str = "true") -> None:
        """Put `rows` in place of those of `table` that satisfy `within`."""
        self.writer.execute(f"DELETE FROM {table} WHERE {within}")
        self.writer.append(table, rows)


def _metric(job: Job) -> None:
    job.replace("academy.metric", faults.metric_rows(job.rules))


def _fault(job: Job) -> None:
    job.replace("academy.fault", faults.fault_rows(job.rules))


def _band(job: Job) -> None:
    """The rules' bands, the academy's own, and each student's own from target notes."""
    job.replace("academy.band", faults.band_rows(job.rules))
    job.writer.append("academy.band", job.writer.sql(_query("academy.student_band")))


def _swing_metric(job: Job) -> None:
    """Reduce the sessions at hand; only a build fits anew how events nobody marked are estimated."""
    if job.whole:
        fitting.refit_events(job.home, job.writer)
    job.swings, problems = samples.reduce_into(
        job.home, job.writer, job.sessions, job.progress,
        event_fit=fitting.event_fit(job.writer), spreads=job.rules.usual_spreads,
    )  # fmt: skip
    job.problems.extend(problems)


def _style(job: Job) -> None:
    """Fitted on a season's swings, so only a build decides it anew."""
    if job.whole:
        job.replace("season.style", job.writer.sql(_query("season.style")))


def _swing_fault(job: Job) -> None:
    """Judge every swing of the sessions at hand by the rules in force, some thousand sessions at a time.

    Students with a band of their own are judged again whenever they are touched: it may be new.
    """
    sessions = sorted({*job.sessions, *own_bands.sessions_with_own_bands(job.writer)})
    for first in range(0, len(sessions), JUDGED_AT_ONCE):
        temporary(job.writer, "batch", "session", sessions[first : first + JUDGED_AT_ONCE])
        within = "session IN (SELECT session FROM batch)"
        metrics = job.writer.sql(f"SELECT * FROM academy.swing_metric WHERE {within}")
        swings = job.writer.sql(f"SELECT * FROM academy.swing WHERE {within} ORDER BY session, swing_no")
        styles = job.writer.sql(
            "SELECT session, club_family, style "
            "FROM season.style JOIN academy.session USING (season, student) "
            f"WHERE {within}"
        )
        judged = own_bands.spare(
            job.writer, faults.judge(metrics, swings, job.rules, styles), metrics, swings
        )
        job.replace("academy.swing_fault", judged, within)


def _student_fault_rate(job: Job) -> None:
    rates, job.ladder = answers.fault_rate_rows(job.writer, refit=job.whole)
    job.replace("season.student_fault_rate", rates, answers.TOUCHED)


def _pace_ladder(job: Job) -> None:
    """From the same rows and priors as the rates, one step before."""
    job.replace("season.pace_ladder", job.ladder, answers.TOUCHED)


def _reliability(job: Job) -> None:
    """The one fit of the season: a build's alone."""
    if job.whole:
        job.replace("season.reliability", answers.refit_reliability(job.writer))


def _student_trend(job: Job) -> None:
    job.lines = answers.line_rows(job.writer)
    job.replace("season.student_trend", job.lines.trend, answers.TOUCHED)


def _trend_line(job: Job) -> None:
    """Drawn from the same draws as the trend, one step before."""
    job.replace("season.trend_line", job.lines.line if job.lines else pl.DataFrame(), answers.TOUCHED)


def _drill_effect(job: Job) -> None:
    """Fitted on the whole academy: a build's alone."""
    if job.whole:
        job.drill_rows = drills.drill_rows(job.writer)
        job.replace("season.drill_effect", pl.DataFrame(job.drill_rows.effect, infer_schema_length=None))


def _drill_group(job: Job) -> None:
    """From the same fits as the effects, one step before."""
    if job.whole and job.drill_rows is not None:
        job.replace("season.drill_group", pl.DataFrame(job.drill_rows.group, infer_schema_length=None))


def _calibration(job: Job) -> None:
    """What the last calibration found; the same for every academy."""
    job.replace("season.calibration", calibration_rows())


def _signal(job: Job) -> None:
    """The whole academy's list, after a load as well: what hurts shows at once."""
    job.week = week_rows(job.writer)
    job.replace("season.signal", job.week.signal)


def _signal_evidence(job: Job) -> None:
    """From the same list, one step before."""
    job.replace("season.signal_evidence", job.week.evidence if job.week else pl.DataFrame())


def _signal_week(job: Job) -> None:
    """From the same list, two steps before."""
    job.replace("season.signal_week", job.week.week if job.week else pl.DataFrame())


def _whole(table: str, rows: Callable[[Writer], pl.DataFrame]) -> Callable[[Job], None]:
    """A step that reads the whole academy: a build's alone; a load keeps what the last build found."""

    def step(job: Job) -> None:
        if job.whole:
            job.replace(table, rows(job.writer))

    return step


def _sql(table: str, within: str = answers.TOUCHED) -> Callable[[Job], None]:
    """A step that replaces rows of `table` by its query in models/sql."""

    def step(job: Job) -> None:
        job.writer.execute(f"DELETE FROM {table} WHERE {within}")
        job.writer.execute(f"INSERT INTO {table} BY NAME {_query(table)}")

    return step


ORDER: tuple[tuple[str, Callable[[Job], None]], ...] = (
    ("academy.metric", _metric),
    ("academy.fault", _fault),
    ("academy.band", _band),
    ("academy.swing_metric", _swing_metric),
    ("season.style", _style),
    ("academy.swing_fault", _swing_fault),
    ("season.session_metric", _sql("season.session_metric")),
    ("season.session_fault", _sql("season.session_fault")),
    ("season.student_fault_rate", _student_fault_rate),
    ("season.pace_ladder", _pace_ladder),
    ("season.reliability", _reliability),
    ("season.student_trend", _student_trend),
    ("season.trend_line", _trend_line),
    ("season.drill_effect", _drill_effect),
    ("season.drill_group", _drill_group),
    ("season.calibration", _calibration),
    ("season.coach_gain", _whole("season.coach_gain", comparisons.coach_gain_rows)),
    ("season.ball_link", _whole("season.ball_link", comparisons.ball_link_rows)),
    ("season.eye_plate", _whole("season.eye_plate", comparisons.eye_plate_rows)),
    ("season.signal", _signal),
    ("season.signal_evidence", _signal_evidence),
    ("season.signal_week", _signal_week),
    ("season.data_health", _sql("season.data_health", "true")),
)


def refresh(
    home: Home, writer: Writer, *, touched: Iterable[str] = (), progress: Progress | None = None
) -> Refreshed:
    """Reduce and judge the sessions that wait (`reduced` false), then the season of the students they touch.

    `touched` names further students whose season is to be made again. A student whose session was corrected
    away to another student is touched as well.

    Raises
        UnderfootError: academy.toml or a rule file is not right. Samples that can't be read don't raise: the
            session waits on, and the sentence stands in `problems`.
    """
    waiting = writer.sql("SELECT session, student FROM academy.session WHERE NOT reduced ORDER BY session")
    moved = writer.sql(
        "SELECT DISTINCT student FROM season.session_metric "
        "ANTI JOIN academy.session USING (session, student)"
    )
    students = set(touched) | set(waiting["student"]) | set(moved["student"])
    return _run(home, writer, waiting["session"].to_list(), sorted(students), progress, whole=False)


def build(home: Home, writer: Writer, *, progress: Progress | None = None) -> Refreshed:
    """Make everything again for everyone, and refit what is fitted on the academy.

    Raises
        UnderfootError: academy.toml or a rule file is not right (see `refresh` for samples).
    """
    sessions = writer.sql("SELECT session FROM academy.session ORDER BY session")["session"].to_list()
    students = writer.sql("SELECT DISTINCT student FROM academy.session ORDER BY 1")["student"].to_list()
    return _run(home, writer, sessions, students, progress, whole=True)


def _run(
    home: Home,
    writer: Writer,
    sessions: list[str],
    students: list[str],
    progress: Progress | None,
    *,
    whole: bool,
) -> Refreshed:
    settings = home.settings()
    job = Job(home, writer, settings, faults.load_rules(settings), whole, sessions, progress)
    with writer.transaction():
        temporary(writer, "touched", "student", students)
        temporary(writer, "place", "time_zone", [settings.time_zone])
        if whole:
            _clear(writer)
        for done, (table, step) in enumerate(ORDER):
            if progress is not None:
                progress(done, len(ORDER), table)
            step(job)
    if progress is not None:
        progress(len(ORDER), len(ORDER), "done")
    return Refreshed(len(sessions), job.swings, students, job.problems)


def _clear(writer: Writer) -> None:
    """Before a build: rows of sessions and students that are no more would otherwise stay."""
    writer.execute("UPDATE academy.session SET reduced = false")
    for table, _ in ORDER:
        writer.execute(f"DELETE FROM {table}")


def _query(table: str) -> str:
    return (SQL_FOLDER / f"{table}.sql").read_text(encoding="utf-8")
