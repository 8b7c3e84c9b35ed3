"""What each student gained in 90 days, where there was room to gain, and how well it is known.

A student's gain is their own unshrunk slope with its known variance (`student_gains`), averaged in smallest
detectable changes toward better over the metrics in which they have room: whose mean of the season lies
outside their band. The season's mean is independent of the slope's error, so choosing by it favours nobody.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from scipy import sparse

from models.season.cells import KEY, LEAST_DAYS, LEAST_SESSIONS, CellKey, Parameter, arrange, draws_of
from models.season.judgement import Band, Bands
from models.season.kernel import FLOATS
from models.season.reliability import detectable_change, typical_error

MONTHS = 3.0  # gains are per 90 days
LEAST_OF_ITEM = 3  # students
ITEMS = {
    "season": pl.String, "student": pl.String, "item": pl.String, "session": pl.String, "room": pl.Boolean,
    "gain": pl.Float64, "start": pl.Float64, "gain_noise": pl.Float64, "start_noise": pl.Float64,
    "left": pl.Float64,
}  # fmt: skip


@dataclass(frozen=True)
class StudentGains:
    """(S,) each: gain per 90 days, distance to the band at the start, their errors' (co)variances."""

    gain: FLOATS
    start: FLOATS
    var_gain: FLOATS
    var_start: FLOATS
    cov: FLOATS

    def __getitem__(self, kept: Any) -> "StudentGains":
        """Those of the students that `kept` picks."""
        return StudentGains(*(getattr(self, name)[kept] for name in self.__dataclass_fields__))

    def residual(self, slope: float) -> tuple[FLOATS, FLOATS]:
        """Gain less `slope` times the start, and the variance of its error."""
        variance = self.var_gain + slope**2 * self.var_start - 2 * slope * self.cov
        return self.gain - slope * (self.start - self.start.mean()), np.maximum(variance, 0.0)


def item_slopes(
    baseline_rows: pl.DataFrame,
    parameters: Mapping[CellKey, Parameter],
    better: Mapping[str, str],
    bands: Bands,
) -> pl.DataFrame:
    """One row per student, metric, family and session: what its value adds to the student's slope and start.

    The slope of weighted least squares is Σ k·y, k = w(t − t̄)/Σw(t − t̄)², its start Σ h·y, h = w/Σw − t̄·k,
    w = 1/(σ²_session + σ²_swing/n), the device's offset taken out. `gain` is k·y per 90 days toward better,
    `start` h·y away from it, both in smallest detectable changes; `gain_noise` and `start_noise` are k and h
    times the value's sd in the same unit, `left` the standardised residual. `room`: whether the mean of the
    season lies outside the student's band by more than its standard error, or there is no band; toward better
    is toward the band (models/decisions/coach-gain-direction.md). Students under three sessions or 28 days in
    a cell, metrics without a better side, and cells without a fit, have no rows.
    """
    cells = baseline_rows.partition_by(KEY, as_dict=True, maintain_order=True)
    parts = [
        pl.DataFrame(_cell_slopes(cell_rows, fit, better.get(metric, "none"), bands), ITEMS, orient="row")
        for (season, family, metric), cell_rows in cells.items()
        if (fit := parameters.get((season, family, metric))) is not None
    ]
    return pl.concat([pl.DataFrame(schema=ITEMS), *parts])


def _cell_slopes(cell_rows: pl.DataFrame, fit: Parameter, better: str, bands: Bands) -> list[tuple[Any, ...]]:
    """Rows of `item_slopes` for one cell."""
    rows = arrange(cell_rows, fit["sd_swing"] ** 2, fit["fixed"])
    cell = rows.cell
    out: list[tuple[Any, ...]] = []
    y = cell.y - cell.x[:, 2:] @ draws_of(fit).gammas.mean(axis=0)[2:]
    unit = detectable_change(typical_error(fit["sd_session"], fit["sd_swing"], fit["swings"]))
    variance = fit["sd_session"] ** 2 + cell.error
    sessions, days = cell_rows["session"].to_list(), cell_rows["day"].to_list()
    season, family, metric = (str(cell_rows[name][0]) for name in KEY)
    for i, student in enumerate(rows.students):
        own = slice(int(cell.offsets[i]), int(cell.offsets[i + 1]))
        t, w = cell.t[own], 1 / variance[own]
        enough = len(set(sessions[own])) >= LEAST_SESSIONS and np.ptp(t) * 30 >= LEAST_DAYS
        if not enough or unit <= 0 or not np.isfinite(w).all():
            continue
        centre, mean = float(w @ t / w.sum()), float(w @ y[own] / w.sum())
        band = bands.of(metric, season, student, family, days[own][-1])
        sign, edge, room = _toward(better, mean, float(w.sum() ** -0.5), band)
        if sign == 0 and room:
            continue
        k = w * (t - centre) / float(w @ (t - centre) ** 2)
        h = w / w.sum() - centre * k
        left = (y[own] - mean - (t - centre) * float(k @ y[own])) * np.sqrt(w) * np.sign(sign)
        by, away = sign * MONTHS / unit, -sign / unit
        columns = (
            by * k * y[own],
            away * h * (y[own] - edge),
            by * k / np.sqrt(w),
            away * h / np.sqrt(w),
            left,
        )
        item = f"{metric} {family}"
        out.extend(
            (season, student, item, session, room, *values)
            for session, *values in zip(sessions[own], *columns, strict=True)
        )
    return out


def _toward(better: str, mean: float, sem: float, band: Band) -> tuple[float, float, bool]:
    """Which way is better from here (1, −1, or 0 for none), where the band begins, and whether there is room.

    Without a direction and without a band there is nothing to say: 0, and room.
    """
    lo, hi = band or (-np.inf, np.inf)
    if better == "down" or (better == "band" and mean > hi):
        return -1.0, hi if np.isfinite(hi) else 0.0, not np.isfinite(hi) or mean > hi + sem
    if better == "up" or (better == "band" and mean < lo):
        return 1.0, lo if np.isfinite(lo) else 0.0, not np.isfinite(lo) or mean < lo - sem
    return 0.0, 0.0, better != "band" or band is None


def student_gains(items: pl.DataFrame, share: FLOATS) -> StudentGains:
    """Of one season's items with room, students in order; share (S, C) under each coach.

    An item's mean, over its students and beside their coaches', is taken out of each gain and start, so that
    students measured in different items can be compared; then they are averaged. The errors of one session's
    values are correlated, so variances are Σ over sessions of n'R n / items², R the correlation of residuals
    over items, pooled over students. Items of fewer than three students stay out while others are left.
    """
    wide = items.with_columns(students=pl.col("student").n_unique().over("item"))
    common = wide.filter(pl.col("students") >= LEAST_OF_ITEM)
    own = common if common["student"].n_unique() == wide["student"].n_unique() else wide
    correlation, place = _residual_correlation(own)
    names = sorted(set(own["student"]))
    at = {student: i for i, student in enumerate(names)}
    each = own.group_by("student", "item", maintain_order=True).agg(pl.col("gain", "start").sum())
    who = np.array([at[student] for student in each["student"]])
    what = np.array([place[item] for item in each["item"]])
    values = each.select("gain", "start").to_numpy()
    items = sparse.csr_array((np.ones(what.size), (np.arange(what.size), what)), (what.size, len(place)))
    design = sparse.hstack([items, sparse.csr_array(share)[who]], format="csr")  # mostly 0 with many coaches
    normal = (design.T @ design).toarray()
    means = np.linalg.lstsq(normal, design.T @ values, rcond=1e-13)[0][: len(place)][what]
    values = values - means + means.mean(axis=0)
    count = np.bincount(who).astype(np.float64)
    gain, start = (np.bincount(who, column) / count for column in values.T)
    errors = np.zeros((3, count.size))
    for (student, _), together in own.group_by(["student", "session"], maintain_order=True):
        some = [place[item] for item in together["item"]]
        r = correlation[np.ix_(some, some)]
        g, s = (together[name].to_numpy() for name in ("gain_noise", "start_noise"))
        errors[:, at[str(student)]] += [g @ r @ g, s @ r @ s, g @ r @ s]
    return StudentGains(gain, start, *(errors / count**2))


def _residual_correlation(season_items: pl.DataFrame) -> tuple[FLOATS, dict[str, int]]:
    """Correlation between items of the residuals of one session (K, K), and each item's place."""
    items = sorted(season_items["item"].unique())
    wide = (
        season_items.group_by("student", "session", "item", maintain_order=True).agg(pl.col("left").mean())
        .pivot(on="item", index=["student", "session"], values="left")
    )  # fmt: skip
    values = np.nan_to_num(wide.select(items).to_numpy().astype(np.float64))
    cross = values.T @ values
    measured = (values != 0).astype(np.float64)
    square = (values**2).T @ measured
    size = np.sqrt(square * square.T)
    correlation = np.clip(np.divide(cross, size, out=np.zeros_like(cross), where=size > 0), -1.0, 1.0)
    np.fill_diagonal(correlation, 1.0)
    return correlation, {item: k for k, item in enumerate(items)}
