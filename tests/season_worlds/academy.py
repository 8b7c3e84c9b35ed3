"""What a simulated academy is made of: visits, swings about each visit's level, and the tables they fill."""

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

import numpy as np
import polars as pl

START, DAYS = datetime(2026, 3, 2, 9, 0), 182  # noqa: DTZ001 - a Monday; UTC without a zone, as in the warehouse
MONTH = 30.0
SEASON, FAMILY, MAT = "2026", "iron", "mat"
SWC = 1.2
# Core metrics: +1 where up is better, or toward the band from below, and where the band begins. First the six that have
# a better side, then three whose band ends again, 10 to 25 further on.
METRICS = {
    "recentre_pts": (1, 5.0),
    "back_both_heelward_pct": (-1, 5.0),
    "lead_heel_lightens_pts": (1, 12.0),
    "down_both_toeward_pct": (-1, 4.0),
    "trail_push_off_pct_bw": (-1, 4.0),
    "trail_heel_lightens_pts": (1, 12.0),
    "mid_back_trail_share_pct": (1, 65.0),
    "mid_down_lead_share_pct": (1, 65.0),
    "top_lead_share_pct": (1, 25.0),
}
ONE = ("recentre_pts",)
SIX, BANDED = tuple(METRICS)[:6], tuple(METRICS)[6:]
NO_FLAGS = {
    name: pl.lit([], pl.List(kind))
    for kind, names in ((pl.String, ("flags", "file_flags")), (pl.Int32, ("flag_counts", "file_flag_counts")))
    for name in names
}


@dataclass(frozen=True)
class SeasonWorld:
    """Rows by table, and what is true of them.

    paths: student, metric, day, x: the true level on the day of each visit.
    drills: drill, kept, on_the_day: what a drill adds, in x; contrasts: drill, against, apart.
    coaches: coach, gain: what a coach adds in 90 days, in x, to every metric.
    links: student, metric, linked: whether the ball goes with the metric, session by session or swing by swing.
    faults: student, fault, day, change: in the share of swings; none for those that stay the same.
    rates: student, fault, rate, and pace where there are several: shares of swings that stay the same all season.
    groups: student, group: a division of the students that matters to a claim.
    """

    tables: dict[str, pl.DataFrame]
    paths: pl.DataFrame | None = None
    drills: pl.DataFrame | None = None
    contrasts: pl.DataFrame | None = None
    coaches: pl.DataFrame | None = None
    links: pl.DataFrame | None = None
    faults: pl.DataFrame | None = None
    rates: pl.DataFrame | None = None
    groups: pl.DataFrame | None = None

    @property
    def changes(self) -> pl.DataFrame:
        """student, metric, change: in x, from the student's first visit to their last."""
        return change_until(self.paths)


def change_until(paths: pl.DataFrame, day: date | None = None) -> pl.DataFrame:
    """student, metric, change: from the student's first visit to their last, of those up to a day."""
    known = paths if day is None else paths.filter(pl.col("day") <= day)
    ends = known.sort("day").group_by("student", "metric", maintain_order=True)
    return ends.agg(change=pl.col("x").last() - pl.col("x").first()).sort("student", "metric")


@dataclass(frozen=True)
class Noise:
    """Standard deviations in x; slope a month, wander a √month. Those of one student are arrays over students."""

    student: float = 6.0
    slope: float = 0.7
    wander: float = 1.0
    session: float | np.ndarray = 3.0
    swing: float | np.ndarray = 4.0
    kindred: float = 0.3  # correlation of a session's error from metric to metric
    tail_df: float | None = None  # Student's t instead of a normal for sessions and swings

    def draw(self, rng: np.random.Generator, shape: tuple[int, ...]) -> np.ndarray:
        """Errors of standard deviation 1."""
        if self.tail_df is None:
            return rng.normal(size=shape)
        return rng.standard_t(self.tail_df, shape) / np.sqrt(self.tail_df / (self.tail_df - 2))

    def session_errors(self, rng: np.random.Generator, visits: "Visits", metrics: int) -> np.ndarray:
        """(V, M): by how much each visit's level is off."""
        common = np.sqrt(self.kindred) * self.draw(rng, (visits.count, 1))
        own = np.sqrt(1 - self.kindred) * self.draw(rng, (visits.count, metrics))
        return (common + own) * of_student(self.session, visits)

    def swings(self, rng: np.random.Generator, visits: "Visits", level: np.ndarray) -> "Swings":
        """Every visit's swings about its level (V, M)."""
        visit = np.repeat(np.arange(visits.count), visits.swings)
        sd = of_student(self.swing, visits)[visit]
        return Swings(visit, level[visit] + sd * self.draw(rng, (visit.size, level.shape[1])))


@dataclass(frozen=True)
class Visits:
    """One row per visit, students one after another, each by time: (V,) arrays. `day` from the season's first."""

    student: np.ndarray
    day: np.ndarray
    swings: np.ndarray

    @property
    def count(self) -> int:
        return self.student.size

    @property
    def first(self) -> np.ndarray:
        """(S,) each student's first row."""
        return np.searchsorted(self.student, np.arange(self.student.max() + 1))

    @property
    def last(self) -> np.ndarray:
        """(S,) each student's last row."""
        return np.searchsorted(self.student, np.arange(self.student.max() + 1), side="right") - 1

    @property
    def months(self) -> np.ndarray:
        """(V,) since the student's first visit."""
        return (self.day - self.day[self.first][self.student]) / MONTH

    def only(self, kept: np.ndarray) -> "Visits":
        """These rows alone; every student must keep one."""
        return Visits(self.student[kept], self.day[kept], self.swings[kept])


@dataclass
class Swings:
    """One row per swing. `x` (N, M), null (NaN) where it could not be measured; `more` are further columns."""

    visit: np.ndarray
    x: np.ndarray
    part: str = "baseline"
    drill: np.ndarray | None = None  # before swings of part after_drill; "" is none
    more: dict[str, np.ndarray] = field(default_factory=dict)


def of_student(value: float | np.ndarray, visits: Visits) -> np.ndarray:
    """(V, 1): each visit's student's own."""
    return np.broadcast_to(value, (int(visits.student.max()) + 1,))[visits.student][:, None]


def visits(
    rng: np.random.Generator,
    students: int,
    *,
    least: int = 6,
    most: int = 14,
    swings: tuple[int, int] = (8, 12),
    days: int = DAYS,
) -> Visits:
    """Visits on random days, two of one student never on the same."""
    counts = rng.integers(least, most, students, endpoint=True)
    day = np.concatenate([np.sort(rng.choice(days, n, replace=False)) for n in counts])
    number = rng.integers(*swings, counts.sum(), endpoint=True)
    return Visits(np.repeat(np.arange(students), counts), day, number)


def starts(rng: np.random.Generator, visits: Visits, noise: Noise, metrics: int) -> np.ndarray:
    """(V, M): where each student begins."""
    return (-10 + rng.normal(0, noise.student, (visits.last.size, metrics)))[visits.student]


def slopes(
    rng: np.random.Generator, visits: Visits, noise: Noise, metrics: int, mean: float = 0.0
) -> np.ndarray:
    """(V, M): what a slope of their own has added."""
    return rng.normal(mean, noise.slope, (visits.last.size, metrics))[visits.student] * visits.months[:, None]


def wander(rng: np.random.Generator, visits: Visits, noise: Noise, metrics: int) -> np.ndarray:
    """(V, M): a random walk of each student and metric from their first visit on."""
    months = visits.months
    steps = np.sqrt(np.clip(np.diff(months, prepend=0), 0, None))
    walk = np.cumsum(noise.wander * steps[:, None] * rng.normal(size=(visits.count, metrics)), axis=0)
    return walk - walk[visits.first][visits.student]


def code(student: int) -> str:
    return f"s{student + 1:03d}"


def codes(students: int) -> list[str]:
    return [code(k) for k in range(students)]


def paths(visits: Visits, true: np.ndarray, metrics: tuple[str, ...]) -> pl.DataFrame:
    """`SeasonWorld.paths` of true levels (V, M)."""
    days = [(START + timedelta(days=int(day))).date() for day in visits.day]
    rows = pl.DataFrame({"student": [code(s) for s in visits.student], "day": days}).with_columns(
        **{metric: true[:, m] for m, metric in enumerate(metrics)}
    )
    return rows.unpivot(on=list(metrics), index=["student", "day"], variable_name="metric", value_name="x")


def session_names(visits: Visits) -> np.ndarray:
    return np.array([f"{code(s)}-d{day:03d}" for s, day in zip(visits.student, visits.day, strict=True)])


def tables(
    visits: Visits,
    metrics: tuple[str, ...],
    swings: list[Swings],
    *,
    coach: np.ndarray | None = None,
    coaches: int = 4,
    device: np.ndarray | None = None,
    days: int = DAYS,
) -> dict[str, pl.DataFrame]:
    """The academy's tables. `days` of the season; `coach` (S,) numbers of each student's coach, in turn if none; `device` (V,) names."""
    students = int(visits.student.max()) + 1
    coach = np.arange(students) % coaches if coach is None else coach
    device = np.full(visits.count, MAT) if device is None else device
    names, coach_codes = session_names(visits), np.array([f"c{c + 1:02d}" for c in coach])
    at = [
        START + timedelta(days=int(day), minutes=int(s) % 480)
        for s, day in zip(visits.student, visits.day, strict=True)
    ]
    sessions = pl.DataFrame(
        {
            "session": names, "student": np.array(codes(students))[visits.student],
            "coach": coach_codes[visits.student], "started_at": at, "day": [one.date() for one in at],
            "season": SEASON, "device": device, "delivery": "d", "club": "7-iron", "has_plate": True,
            "has_clip": False, "feet_checked": False, "reduced": True,
        }
    )  # fmt: skip
    people = pl.DataFrame(
        {"person": codes(students), "role": "student", "display_name": codes(students), "handed": "right",
         "joined": START.date()}
    )  # fmt: skip
    staff = pl.DataFrame({"person": sorted(set(coach_codes)), "role": "coach"}).with_columns(
        display_name="person"
    )
    return {
        "academy.season": pl.DataFrame(
            {"season": [SEASON], "from": [START.date()], "to": [(START + timedelta(days=days - 1)).date()]}
        ),
        "academy.person": pl.concat([people, staff], how="diagonal").with_columns(
            guardian_of=pl.lit([], pl.List(pl.String))
        ),
        "academy.coaching": pl.DataFrame(
            {"student": codes(students), "coach": coach_codes, "from": START.date()}
        ),
        "academy.device": pl.DataFrame({"device": sorted(set(device)), "kind": "pressure_mat"}),
        "academy.session": sessions,
    } | swing_tables(names, device, metrics, swings)


def swing_tables(
    names: np.ndarray, device: np.ndarray, metrics: tuple[str, ...], swings: list[Swings]
) -> dict[str, pl.DataFrame]:
    """academy.swing and academy.swing_metric; with `carry_m` in `more` also academy.shot."""
    frames = []
    for order, some in enumerate(swings):
        drill = np.full(some.visit.size, "") if some.drill is None else some.drill
        values = {
            metric: METRICS[metric][1] + METRICS[metric][0] * some.x[:, m] for m, metric in enumerate(metrics)
        }
        frames.append(
            pl.DataFrame(
                {"session": names[some.visit], "order": order, "device": device[some.visit], "part": some.part,
                 "drill": drill, "club_family": FAMILY, "pace": "full"} | values | some.more
            )
        )  # fmt: skip
    rows = (
        pl.concat(frames, how="diagonal_relaxed")
        .with_columns(pl.col(pl.Float64).fill_nan(None), pl.col("drill").replace("", None))
        .sort("session", "order", maintain_order=True)
        .with_columns(swing_no=pl.col("order").cum_count().over("session").cast(pl.Int32))
    )
    made = {
        "academy.swing": rows.select(
            "session", "swing_no", "club_family", "part", "pace", "drill", "device", club=pl.lit("7-iron"),
            rate_hz=pl.lit(200.0), n_samples=pl.lit(800), usable=pl.lit(value=True), heel_source=pl.lit("measured"),
            **NO_FLAGS,
        ),
        "academy.swing_metric": rows.select("session", "swing_no", *metrics),
    }  # fmt: skip
    ball = [name for name in ("carry_m", "side_m") if name in rows.columns]
    if ball:
        made["academy.shot"] = rows.drop_nulls(ball).select(
            "session", "swing_no", *ball, delivery=pl.lit("d"), loose=pl.lit(value=False)
        )
    return made
