"""Which way is better, by how much a line must move to matter, and the label that says so.

A line's start and change come as a mixture of normal distributions (`mixed.Ends`). For up and down metrics
the change itself is judged: P(change > c) is the weighted mean of Φ((mean − c) / sd). For band metrics it is
the fall in distance to the band, from draws of the line's two ends. Values are in the metric's unit
throughout.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
import polars as pl
from scipy import special

from models.season.kernel import FLOATS
from models.season.mixed import Ends
from warehouse.store import Writer
from warehouse.vocabulary import HOLDING, IMPROVING, NOT_CLEAR, SLIPPING

SURE, SURE_HOLDING = 0.97, 0.90
LARGE = 4.0  # worthwhile changes
Band = tuple[float, float] | None
PAIRS = 4  # draws of a line's two ends for each normal distribution of the mixture


@dataclass(frozen=True)
class Judged:
    """(S,) each. Chances of a direction are NaN where no direction is better."""

    change: FLOATS
    lo: FLOATS
    hi: FLOATS
    p_better: FLOATS
    p_worse: FLOATS
    toward: FLOATS
    label: list[str]


def mixture_quantile(
    mean: FLOATS, sd: FLOATS, q: float, mean_of: Callable[[FLOATS], FLOATS], halvings: int = 40
) -> FLOATS:
    """Quantile of a mixture of normals over the first axis, by bisection; (R, G) → (G,).

    `mean_of` (R, G) → (G,) weighs the normals.
    """
    lo, hi = (mean - 8 * sd).min(axis=0), (mean + 8 * sd).max(axis=0)
    for _ in range(halvings):
        middle = (lo + hi) / 2
        under = mean_of(special.ndtr((middle - mean) / sd)) < q
        lo, hi = np.where(under, middle, lo), np.where(under, hi, middle)
    return np.asarray((lo + hi) / 2)


def judge_change(ends: Ends, better: str, bands: Sequence[Band], worthwhile: float) -> Judged:
    """Change, its 90 % interval, the chances that it is toward better or worse, and the label.

    Improving: P(toward better) > 0.97 and the estimate is over the smallest worthwhile change. Slipping: the
    same toward worse. Holding: neither, and P(|change| ≤ 4 worthwhile changes) > 0.9. Not clear yet: none of
    these.
    """
    mean, sd = ends.change, ends.sd_change
    p_better, p_worse, toward = directions(ends, better, bands, 0.0)
    large = LARGE * worthwhile
    p_small = ends.mean(special.ndtr((large - mean) / sd) - special.ndtr((-large - mean) / sd))
    label = np.select(
        [
            (p_better > SURE) & (toward > worthwhile),
            (p_worse > SURE) & (-toward > worthwhile),
            p_small > SURE_HOLDING,
        ],
        [IMPROVING, SLIPPING, HOLDING],
        NOT_CLEAR,
    )
    lo, hi = (mixture_quantile(mean, sd, q, ends.mean) for q in (0.05, 0.95))
    return Judged(ends.mean(mean), lo, hi, p_better, p_worse, toward, label.tolist())


def directions(ends: Ends, better: str, bands: Sequence[Band], least: float) -> tuple[FLOATS, FLOATS, FLOATS]:
    """P(toward better), P(toward worse), either by more than `least`, and the change toward better.

    (G,) each; NaN where no direction is better.
    """
    if better in ("up", "down"):
        gain, sd = ends.change if better == "up" else -ends.change, ends.sd_change
        up, down = (ends.mean(special.ndtr((turn * gain - least) / sd)) for turn in (1, -1))
        return up, down, ends.mean(gain)
    fall = _fall_in_distance(ends, bands if better == "band" else [None] * ends.start.shape[1])
    known = np.isfinite(fall[0, 0])
    up, down, toward = (
        np.where(known, ends.mean(answer.astype(float)), np.nan)
        for answer in (fall > least, fall < -least, fall)
    )
    return up, down, toward


def _fall_in_distance(ends: Ends, bands: Sequence[Band]) -> FLOATS:
    """Fall in distance to the band from start to now, in draws of both (PAIRS, R, G); NaN without a band."""
    lo, hi = (np.array([band[side] if band else np.nan for band in bands], dtype=float) for side in (0, 1))
    rng = np.random.default_rng(20260402)
    z = rng.standard_normal((2, PAIRS, ends.start.shape[0], 1))
    slope = ends.cov / np.maximum(ends.var_start, 1e-300)
    left = np.sqrt(np.maximum(ends.var_change - slope * ends.cov, 0.0))
    off = np.sqrt(ends.var_start) * z[0]
    start = ends.start + off
    now = start + ends.change + slope * off + left * z[1]
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
        self._rows: dict[tuple[str, str, str | None], list[dict[str, Any]]] = {}
        for row in band.iter_rows(named=True):
            self._rows.setdefault((row["metric"], row["club_family"], row["student"]), []).append(row)
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

    def of(self, metric: str, season: str, student: str, club_family: str, on: date) -> Band:
        """Lower and upper end on a day, infinite where open; None when this student is not judged by a band.

        A band of style stays_forward holds for students without a style yet as well.
        """
        of_student, of_academy = (self._rows.get((metric, club_family, who), []) for who in (student, None))
        own = [r for r in of_student if r["from"] is None or r["from"] <= on]
        if own:
            return _ends(max(own, key=lambda row: str(row["from"] or "")))
        levels = {self._level.get(student), None}
        styles = {self._style.get((season, student, club_family), "stays_forward"), None}
        fits = [r for r in of_academy if r["level"] in levels and r["style"] in styles]
        narrowest = max(fits, key=lambda r: (r["level"] is not None, r["style"] is not None), default=None)
        return None if narrowest is None else _ends(narrowest)


def _ends(row: Mapping[str, Any]) -> tuple[float, float]:
    lo, hi = row["lo"], row["hi"]
    return -np.inf if lo is None else float(lo), np.inf if hi is None else float(hi)
