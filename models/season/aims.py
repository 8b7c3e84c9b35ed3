"""What a drill aims at, as session values toward better: a metric, or a fault's rate.

A metric is turned so that more is better: its fall where down is better, its fall in distance to the
student's band where a band is. A fault's rate becomes the log odds of a swing without it. One club family a
season, the one most swung, since one drill has one answer.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from scipy import special

from models.season.cells import baseline, swing_variance
from models.season.faultrate import latest_source
from models.season.judgement import Bands
from models.season.kernel import FLOATS

FAULT, METRIC = "fault", "metric"
PRIOR_SWINGS = 4.0  # at the academy's rate, so that a clean student's weight is not endless


@dataclass(frozen=True)
class Aim:
    """One aim in one season: `rows` as `cells.baseline` gives them, `mean` toward better.

    `swing` is the error variance of a value of one swing: its error variance is swing / n. For a fault, mean
    is log odds, `flagged` and `usable` stand beside it, and n is the inverse of the error variance.
    `sd_student` is the spread between students in the aim's unit, where it is known without the drills' fit.
    """

    season: str
    name: str
    kind: str
    unit: str
    family: str
    rows: pl.DataFrame
    swing: float
    sd_student: float | None


@dataclass(frozen=True)
class Reference:
    """What is known of metrics: which way is better, unit, whose band; and of faults: the metrics they read.

    `sd_student` by (season, club family, metric).
    """

    better: Mapping[str, str]
    unit: Mapping[str, str]
    reads: Mapping[str, Sequence[str]]
    bands: Bands
    sd_student: Mapping[tuple[str, str, str], float]


def most_swung(rows: pl.DataFrame) -> pl.DataFrame:
    """The rows of the club family with the most sessions."""
    many = rows.group_by("club_family").agg(n=pl.col("session").n_unique()).sort("n", "club_family")
    return rows.filter(pl.col("club_family") == many["club_family"][-1]) if len(many) else rows


def metric_aim(rows: pl.DataFrame, reference: Reference, *, part: str | None = "baseline") -> Aim | None:
    """`rows`: season.session_metric of one season and metric.

    None when no direction is better, or nobody has a band. `part` None keeps every part (for the same day).
    """
    metric, better = str(rows["metric"][0]), reference.better.get(str(rows["metric"][0]), "none")
    if better == "none":
        return None
    own = most_swung(baseline(rows))
    if own.is_empty():
        return None
    season, family = str(own["season"][0]), str(own["club_family"][0])
    swing = swing_variance(own)
    if part is None:
        own = rows.filter(pl.col("club_family") == family, pl.col("pace") == "full")
    own = own.with_columns(mean=_toward(own, metric, better, reference.bands)).filter(
        pl.col("mean").is_not_null()
    )
    if own.is_empty():
        return None
    spread = reference.sd_student.get((season, family, metric))
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
    value = rows["mean"].to_numpy()
    return pl.Series(-np.maximum(np.maximum(lo - value, value - hi), 0.0), nan_to_null=True)


def fault_aim(rows: pl.DataFrame) -> Aim | None:
    """`rows`: season.session_fault of one season and fault; None when it was never judged at full pace."""
    own = most_swung(_fault_sessions(rows))
    if own.is_empty():
        return None
    flagged, usable = pl.col("flagged"), pl.col("usable")
    academy = flagged.sum() / usable.sum()
    likely = (flagged.sum().over("student") + PRIOR_SWINGS * academy) / (
        usable.sum().over("student") + PRIOR_SWINGS
    )
    likely = likely.clip(0.5 / usable.sum().over("student"), 1 - 0.5 / usable.sum().over("student"))
    own = own.with_columns(
        mean=-(((flagged + 0.5) / (usable - flagged + 0.5)).log()), n=usable * likely * (1 - likely)
    )
    return Aim(
        str(own["season"][0]),
        str(own["fault"][0]),
        FAULT,
        "points",
        str(own["club_family"][0]),
        own,
        1.0,
        None,
    )


def _fault_sessions(rows: pl.DataFrame) -> pl.DataFrame:
    """Counts a session of full-pace baseline swings, shaped as `cells.baseline` shapes a metric's values."""
    counted = (
        latest_source(rows.filter(pl.col("club_family").is_not_null(), pl.col("pace") == "full"))
        .filter(pl.col("part") == "baseline", pl.col("usable") > 0)
        .with_columns(pl.col("flagged", "usable").cast(pl.Float64))
    )
    return baseline(
        counted.with_columns(
            metric=pl.col("fault"), mean=pl.lit(0.0), sd=pl.lit(None, dtype=pl.Float64), n=pl.lit(1.0)
        )
    )


def points(log_odds: FLOATS) -> FLOATS:
    """Rate in points of a hundred from log odds of a swing without the fault."""
    return np.asarray(100 * special.expit(-log_odds))
