"""Which way is better, by how much a line must move to matter, and the label that says so.

A line's start and end come as an even mixture of normal distributions, one for each draw of the variance
parts. For up and down metrics the change itself is judged: P(change > c) is the mean over draws of
Φ((mean − c) / sd). For band metrics it is the fall in distance to the band, from draws of the line's two
ends. Values are in the metric's unit throughout.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import special

from warehouse.store import Writer
from warehouse.vocabulary import HOLDING, IMPROVING, NOT_CLEAR, SLIPPING

FLOATS = NDArray[np.float64]
SURE, SURE_HOLDING = 0.95, 0.80
SURE_ALONE = 0.98  # by the student's own sessions: 4 in 100 who hold steady pass it, both directions together
WORTHWHILE, LARGE = 0.2, 0.5  # of the spread between students
PAIRS = 16  # draws of a line's two ends for each draw of the variance parts


@dataclass(frozen=True)
class Ends:
    """Start and present value of S students' lines under D draws of equal weight; (D, S) each."""

    start: FLOATS
    now: FLOATS
    var_start: FLOATS
    var_now: FLOATS
    cov: FLOATS

    @property
    def change(self) -> FLOATS:
        """Mean change of each draw."""
        return self.now - self.start

    @property
    def sd_change(self) -> FLOATS:
        """Standard deviation of the change of each draw."""
        return np.sqrt(np.maximum(self.var_start + self.var_now - 2 * self.cov, 1e-300))


@dataclass(frozen=True)
class Judged:
    """(S,) each but `worthwhile`. Chances of a direction are NaN where no direction is better.

    p_improved and p_slipped are the chances of a change toward better or worse beyond the worthwhile one.
    """

    change: FLOATS
    lo: FLOATS
    hi: FLOATS
    p_better: FLOATS
    p_worse: FLOATS
    toward: FLOATS
    p_improved: FLOATS
    p_slipped: FLOATS
    worthwhile: float
    label: list[str]


def mean_over_draws(values: FLOATS | NDArray[np.bool_]) -> FLOATS:
    """Mean over all axes but the last, student by student.

    Each student's numbers are summed by themselves, so that the answer is the same to the last bit whoever
    else is asked about.
    """
    flat = np.ascontiguousarray(values.reshape(-1, values.shape[-1]).T, dtype=np.float64)
    return np.asarray(flat.mean(axis=1))


def mixture_quantile(
    mean: FLOATS,
    sd: FLOATS,
    q: float,
    mean_of: Callable[[FLOATS], FLOATS] = mean_over_draws,
    halvings: int = 40,
) -> FLOATS:
    """Quantile of a mixture of normals over the first axis, by bisection; (D, S) → (S,).

    `mean_of` (D, S) → (S,) weighs the draws; evenly when it is not given.
    """
    lo, hi = (mean - 8 * sd).min(axis=0), (mean + 8 * sd).max(axis=0)
    for _ in range(halvings):
        middle = (lo + hi) / 2
        under = mean_of(special.ndtr((middle - mean) / sd)) < q
        lo, hi = np.where(under, middle, lo), np.where(under, hi, middle)
    return np.asarray((lo + hi) / 2)


def judge_change(
    ends: Ends,
    better: str,
    bands: Sequence[tuple[float, float] | None],
    sd_student: float,
    own_sessions: Ends | None = None,
) -> Judged:
    """Change, its 90 % interval, the chances that it is toward better or worse, and the label.

    Improving: P(toward better > 0) > 0.95 and the estimate is over the smallest worthwhile change,
    0.2·σ_student. Slipping: the same toward worse. Holding: neither, and P(|change| ≤ 0.5·σ_student) > 0.80.
    Not clear yet: none of these. `bands` (S): for band metrics, each student's band (infinite where open);
    None, as for metrics with no better side: no direction is judged. `own_sessions`: the ends under a flat
    prior of slopes; with it, Improving and Slipping need P > 0.98 there as well. Without that, an academy
    that moves as a whole would carry along the students who hold steady
    (models/decisions/own-sessions-decide.md).
    """
    mean, sd = ends.change, ends.sd_change
    worthwhile, large = WORTHWHILE * sd_student, LARGE * sd_student
    p_better, p_worse, p_improved, p_slipped, toward = _directions(ends, better, bands, worthwhile)
    own_better, own_worse, sure = p_better, p_worse, SURE
    if own_sessions is not None:
        own_better, own_worse, *_ = _directions(own_sessions, better, bands, worthwhile)
        sure = SURE_ALONE
    p_small = mean_over_draws(special.ndtr((large - mean) / sd) - special.ndtr((-large - mean) / sd))
    label = np.select(
        [
            (p_better > SURE) & (own_better > sure) & (toward > worthwhile),
            (p_worse > SURE) & (own_worse > sure) & (-toward > worthwhile),
            p_small > SURE_HOLDING,
        ],
        [IMPROVING, SLIPPING, HOLDING],
        NOT_CLEAR,
    )
    change, lo, hi = mean_over_draws(mean), *(mixture_quantile(mean, sd, q) for q in (0.05, 0.95))
    return Judged(
        change, lo, hi, p_better, p_worse, toward, p_improved, p_slipped, worthwhile, label.tolist()
    )


def _directions(
    ends: Ends, better: str, bands: Sequence[tuple[float, float] | None], worthwhile: float
) -> tuple[FLOATS, ...]:
    """P(toward better), P(toward worse), either by more than `worthwhile`, and the change toward better.

    (S,) each; NaN where no direction is better.
    """
    if better in ("up", "down"):
        gain, sd = ends.change if better == "up" else -ends.change, ends.sd_change
        p_better, p_improved, p_slipped = (
            mean_over_draws(special.ndtr(over / sd)) for over in (gain, gain - worthwhile, -gain - worthwhile)
        )
        return p_better, 1 - p_better, p_improved, p_slipped, mean_over_draws(gain)
    fall = _fall_in_distance(ends, bands if better == "band" else [None] * ends.start.shape[1])
    answers = (fall > 0, fall < 0, fall > worthwhile, fall < -worthwhile, fall)
    known = np.isfinite(fall[0, 0])
    return tuple(np.where(known, mean_over_draws(answer), np.nan) for answer in answers)


def _fall_in_distance(ends: Ends, bands: Sequence[tuple[float, float] | None]) -> FLOATS:
    """Fall in distance to the band from start to now, in draws of both (PAIRS, D, S); NaN without a band."""
    lo, hi = (np.array([band[side] if band else np.nan for band in bands], dtype=float) for side in (0, 1))
    rng = np.random.default_rng(20260402)
    z = rng.standard_normal((2, PAIRS, ends.start.shape[0], 1))
    sd_start = np.sqrt(ends.var_start)
    slope = ends.cov / np.maximum(ends.var_start, 1e-300)
    left = np.sqrt(np.maximum(ends.var_now - slope * ends.cov, 0.0))
    start = ends.start + sd_start * z[0]
    now = ends.now + slope * (start - ends.start) + left * z[1]
    return distance(start, lo, hi) - distance(now, lo, hi)


def distance(value: FLOATS, lo: FLOATS, hi: FLOATS) -> FLOATS:
    """How far outside its band each value is; NaN without a band."""
    return np.maximum(np.maximum(lo - value, value - hi), 0.0)


class Bands:
    """The band that applies to a student: their own before the academy's, the narrower before the wider."""

    def __init__(
        self, band: pl.DataFrame, level: Mapping[str, str | None], style: Mapping[tuple[str, str, str], str]
    ) -> None:
        """`band`: rows of academy.band; `level` by student; `style` by season, student and club family."""
        self._rows: dict[tuple[str, str], list[dict[str, Any]]] = {}
        for row in band.iter_rows(named=True):
            self._rows.setdefault((row["metric"], row["club_family"]), []).append(row)
        self._level, self._style = level, style

    @classmethod
    def read(cls, writer: Writer, within: str = "true") -> "Bands":
        """From the warehouse, with the styles of the students `within`."""
        level = writer.sql("SELECT person, level FROM academy.person WHERE role = 'student'")
        style = writer.sql(f"SELECT season, student, club_family, style FROM season.style WHERE {within}")
        return cls(
            writer.sql("SELECT * FROM academy.band"),
            dict(level.iter_rows()),
            {(season, student, family): value for season, student, family, value in style.iter_rows()},
        )

    def of(
        self, metric: str, season: str, student: str, club_family: str, on: date
    ) -> tuple[float, float] | None:
        """Lower and upper end on a day, infinite where open; None when this student is not judged by a band.

        A band of style stays_forward holds for students without a style yet as well.
        """
        rows = self._rows.get((metric, club_family), [])
        own = [r for r in rows if r["student"] == student and (r["from"] is None or r["from"] <= on)]
        if own:
            return _ends(max(own, key=lambda row: str(row["from"] or "")))
        levels = {self._level.get(student), None}
        styles = {self._style.get((season, student, club_family), "stays_forward"), None}
        fits = [r for r in rows if r["student"] is None and r["level"] in levels and r["style"] in styles]
        narrowest = max(fits, key=lambda r: (r["level"] is not None, r["style"] is not None), default=None)
        return None if narrowest is None else _ends(narrowest)


def _ends(row: Mapping[str, Any]) -> tuple[float, float]:
    lo, hi = row["lo"], row["hi"]
    return -np.inf if lo is None else float(lo), np.inf if hi is None else float(hi)
