"""What the drill models are fitted on: session values toward better, and the doses before each session.

An aim is a metric, or a fault's rate. A metric is turned so that more is better: its fall where down is
better, its fall in distance to the student's band where a band is. A fault's rate becomes the log odds of a
swing without it. One club family a season, the one most swung, since a drill has one answer.

A dose set in a lesson counts from the next session on: today's baseline was swung before it. Doses before the
student's first session of the season don't count, since nothing was measured before them.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import polars as pl
from scipy import special

from models.season.cells import DAYS_A_MONTH, baseline, swing_variance
from models.season.faultrate import latest_source
from models.season.judgement import Bands, distance
from models.season.kernel import COUNTS, FLOATS
from models.sql import query
from warehouse.store import Writer

FAULT, METRIC = "fault", "metric"
PRIOR_SWINGS = 4.0  # at the academy's rate, so that the weight of a student without faults stays finite
LEAST_FIRST = 3  # students, for a column of a first dose
LEAST_MORE = 6  # students, for a column of practice at home, or of the months since
FLATTENS = 1.5  # months
LONGEST = 3.0  # months: by then what fades has faded
_COUNT = pl.len().cast(pl.Float64)
_MONTHS_SINCE = ((pl.col("day") - pl.col("set_on")).min().dt.total_days() / DAYS_A_MONTH).clip(
    upper_bound=LONGEST
)


@dataclass(frozen=True)
class Aim:
    """One aim in one season: `rows` as `cells.baseline` gives them, `mean` toward better.

    `swing` is the error variance of a value of one swing: its error variance is swing / n. For a fault, mean
    is log odds, `flagged` and `usable` are columns beside it, and n is the inverse of the error variance.
    `worthwhile`: the smallest worthwhile change in the aim's unit, where the drills' fit isn't needed for it.
    """

    season: str
    name: str
    kind: str
    unit: str
    family: str
    rows: pl.DataFrame
    swing: float
    worthwhile: float | None


@dataclass(frozen=True)
class Reference:
    """What is known of metrics: which way is better, unit, whose band; and of faults: the metrics they read.

    `worthwhile`: the smallest worthwhile change by (season, club family, metric).
    """

    better: Mapping[str, str]
    unit: Mapping[str, str]
    reads: Mapping[str, Sequence[str]]
    bands: Bands
    worthwhile: Mapping[tuple[str, str, str], float]


@dataclass(frozen=True)
class Sources:
    """What the drill models read. `drills`: drill → its aim; `people`: student → level and birthday."""

    metrics: pl.DataFrame
    faults: pl.DataFrame
    dose: pl.DataFrame
    first_drill: pl.DataFrame
    draws: pl.DataFrame
    drills: Mapping[str, str | None]
    people: Mapping[str, tuple[str | None, date | None]]
    reference: Reference


def read_sources(writer: Writer) -> Sources:
    """Read what the models need of the warehouse."""
    people = writer.sql("SELECT person, level, born FROM academy.person WHERE role = 'student'")
    metric = writer.sql("SELECT metric, better, unit FROM academy.metric")
    spread = writer.sql("SELECT season, club_family, metric, worthwhile FROM season.reliability")
    full = "season IS NOT NULL AND pace = 'full' AND part IN ('baseline', 'after_drill')"
    reference = Reference(
        better=dict(metric.select("metric", "better").iter_rows()),
        unit=dict(metric.select("metric", "unit").iter_rows()),
        reads=dict(writer.sql("SELECT fault, metrics FROM academy.fault").iter_rows()),
        bands=Bands.read(writer),
        worthwhile={(a, b, c): value for a, b, c, value in spread.iter_rows() if value is not None},
    )
    drills = writer.sql("SELECT drill, aim FROM academy.drill ORDER BY drill")
    return Sources(
        metrics=writer.sql(f"SELECT * FROM season.session_metric WHERE {full}"),
        faults=writer.sql(f"SELECT * FROM season.session_fault WHERE {full}"),
        dose=writer.sql('SELECT * FROM academy.drill_dose ORDER BY "at", note'),
        draws=writer.sql(query("season.random_draw")),
        first_drill=writer.sql(
            "SELECT session, first(drill ORDER BY swing_no) AS drill FROM academy.swing "
            "WHERE part = 'after_drill' GROUP BY session"
        ),
        drills=dict(drills.iter_rows()),
        people={person: (level, born) for person, level, born in people.iter_rows()},
        reference=reference,
    )


def most_swung(rows: pl.DataFrame) -> pl.DataFrame:
    """The rows of the club family with the most sessions."""
    sessions = rows.group_by("club_family").agg(n=pl.col("session").n_unique()).sort("n", "club_family")
    return rows.filter(pl.col("club_family") == sessions["club_family"][-1]) if len(sessions) else rows


def metric_aim(rows: pl.DataFrame, reference: Reference, *, part: str | None = "baseline") -> Aim | None:
    """`rows`: season.session_metric of one season and metric.

    None when no direction is better, or nobody has a band. `part` None keeps every part (for the same day).
    """
    metric = str(rows["metric"][0])
    better, own = reference.better.get(metric, "none"), most_swung(baseline(rows))
    if better == "none" or own.is_empty():
        return None
    season, family = str(own["season"][0]), str(own["club_family"][0])
    swing = swing_variance(own)
    if part is None:
        own = rows.filter(pl.col("club_family") == family, pl.col("pace") == "full")
    own = own.with_columns(mean=_toward(own, metric, better, reference.bands)).drop_nulls("mean")
    if own.is_empty():
        return None
    spread = reference.worthwhile.get((season, family, metric))
    return Aim(season, metric, METRIC, reference.unit.get(metric, ""), family, own, swing, spread)


def _toward(rows: pl.DataFrame, metric: str, better: str, bands: Bands) -> pl.Series:
    """Values turned so that more is better; null for a student without a band."""
    if better == "up":
        return rows["mean"]
    if better == "down":
        return -rows["mean"]
    whose = rows.group_by("student", "season", "club_family").agg(last=pl.col("day").max())
    ends = {
        student: bands.of(metric, season, student, family, last)
        for student, season, family, last in whose.iter_rows()
    }
    lo, hi = (
        np.array([np.nan if (band := ends[student]) is None else band[side] for student in rows["student"]])
        for side in (0, 1)
    )
    return pl.Series(-distance(rows["mean"].to_numpy(), lo, hi), nan_to_null=True)


def fault_aim(rows: pl.DataFrame, *, part: str | None = "baseline") -> Aim | None:
    """`rows`: season.session_fault of one season and fault; None when it was never judged at full pace.

    `part` None keeps every part (for the same day).
    """
    every = _fault_sessions(rows)
    own = most_swung(baseline(every))
    if own.is_empty():
        return None
    if part is None:
        own = every.filter(club_family=own["club_family"][0])
    flagged, usable = pl.col("flagged"), pl.col("usable")
    academy = flagged.sum() / usable.sum()
    swings = usable.sum().over("student")
    likely = (flagged.sum().over("student") + PRIOR_SWINGS * academy) / (swings + PRIOR_SWINGS)
    likely = likely.clip(0.5 / swings, 1 - 0.5 / swings)
    odds = (flagged + 0.5) / (usable - flagged + 0.5)
    own = own.with_columns(mean=-odds.log(), n=usable * likely * (1 - likely))
    season, fault, family = (str(own[name][0]) for name in ("season", "fault", "club_family"))
    return Aim(season, fault, FAULT, "points", family, own, 1.0, None)


def _fault_sessions(rows: pl.DataFrame) -> pl.DataFrame:
    """Counts a session of full-pace swings, with the columns of a metric's values."""
    return (
        latest_source(rows.filter(pl.col("club_family").is_not_null(), pl.col("pace") == "full"))
        .filter(pl.col("usable") > 0)
        .with_columns(
            pl.col("flagged", "usable").cast(pl.Float64), metric=pl.col("fault"), mean=pl.lit(0.0),
            sd=pl.lit(None, dtype=pl.Float64), n=pl.lit(1.0), device=pl.col("device").fill_null("none"),
        )
    )  # fmt: skip


def points(log_odds: FLOATS) -> FLOATS:
    """Rate in points of a hundred from log odds of a swing without the fault."""
    return np.asarray(100 * special.expit(-log_odds))


@dataclass(frozen=True)
class Doses:
    """Drills in order; (N, K) doses in lessons and (N, K) at home before each row, K drills.

    `since` (N, K): 30-day months since the last lesson dose, at most 3; 0 before the first.
    """

    drills: list[str]
    lesson: FLOATS
    home: FLOATS
    since: FLOATS


def count_doses(sessions: pl.DataFrame, dose: pl.DataFrame) -> Doses:
    """Doses before each row of `sessions` (student, session, started_at, day; in its order).

    `dose`: rows of academy.drill_dose.
    """
    rows = sessions.select("student", "session", "started_at", "day").with_row_index("row")
    first = rows.group_by("student").agg(first=pl.col("started_at").min(), first_day=pl.col("day").min())
    given = (
        dose.select("student", "drill", "kind", "at", set_in="session", set_on="day")
        .join(first, on="student")
        .filter((pl.col("at") >= pl.col("first")) | (pl.col("set_on") >= pl.col("first_day")))
    )
    earlier_today = (pl.col("set_on") == pl.col("day")) & (pl.col("at") < pl.col("started_at"))
    elsewhere = (pl.col("set_in") != pl.col("session")).fill_null(value=False)
    before = rows.join(given, on="student").filter(
        (pl.col("set_on") < pl.col("day")) | (earlier_today & elsewhere)
    )
    drills = sorted(given["drill"].unique().to_list())
    lesson = pl.col("kind") == "drill"

    def table(doses: pl.DataFrame, value: pl.Expr = _COUNT) -> FLOATS:
        """(N, K) `value` of the doses at each row, 0 where there are none."""
        found, values = doses.group_by("row", "drill").agg(value=value), np.zeros((len(rows), len(drills)))
        at = [drills.index(drill) for drill in found["drill"]]
        values[found["row"].to_numpy().astype(np.intp), at] = found["value"].to_numpy()
        return values

    in_lesson = before.filter(lesson)
    return Doses(drills, table(in_lesson), table(before.filter(~lesson)), table(in_lesson, _MONTHS_SINCE))


def dose_columns(doses: Doses, offsets: COUNTS) -> dict[str, FLOATS]:
    """Name → fixed column (N,): what a drill's doses may do to a value.

    `first DRILL` 1(D ≥ 1), where 3 students reach it; `home DRILL` 1(H ≥ 1), where 6 do; `since DRILL` the
    months since the last dose, where 6 students end a month or more after it. Without the last, a gain that
    fades would be judged by its best weeks. What further doses add has no column: it would be a slope in
    disguise, and keen students, who are given more, would lend theirs to the drill.
    """
    found: dict[str, FLOATS] = {}
    ends = offsets[1:] - 1
    for k, drill in enumerate(doses.drills):
        lesson, home = doses.lesson[:, k], doses.home[:, k]
        if np.count_nonzero(lesson[ends] >= 1) >= LEAST_FIRST:
            found[f"first {drill}"] = (lesson >= 1).astype(np.float64)
            if np.count_nonzero(doses.since[ends, k] >= 1) >= LEAST_MORE:
                found[f"since {drill}"] = doses.since[:, k]
        if np.count_nonzero(home[ends] >= 1) >= LEAST_MORE:
            found[f"home {drill}"] = (home >= 1).astype(np.float64)
    return found


def keenness_columns(doses: Doses, offsets: COUNTS, t: FLOATS, aimed: Collection[str]) -> dict[str, FLOATS]:
    """Name → fixed column (N,): how those who are given drills of this aim, or many, move without them.

    E, whether a student was ever given one, and R, doses a month, in lessons and at home, each less the mean
    of the students, times 1, t and q = 1 − e^(−t/1.5), which lets gains flatten; and q. `aimed`: the drills
    of this aim.
    """
    own = [k for k, drill in enumerate(doses.drills) if drill in aimed]
    ends, counts = offsets[1:] - 1, np.diff(offsets)
    in_lessons = doses.lesson[ends][:, own].sum(axis=1)
    rate = (in_lessons + doses.home[ends][:, own].sum(axis=1)) / np.maximum(t[ends], 1.0)
    q = 1 - np.exp(-t / FLATTENS)
    found = {"q": q}
    for name, each in (("ever", (in_lessons >= 1).astype(np.float64)), ("rate", rate)):
        column = np.repeat(each - each.mean(), counts)
        found |= {f"{name} {kind}": column * shape for kind, shape in (("1", 1.0), ("t", t), ("q", q))}
    return found
