"""How far each coach's students came, per 90 days, beside the academy, with the uncertainty of small groups.

`coach_gain_rows` reads the warehouse and returns rows of season.coach_gain. A student's gain is their own
unshrunk slope with its known variance (`student_gains`), averaged over metrics in smallest detectable changes
toward better. A model with a coach effect and a student effect then shrinks each coach toward the academy,
both spreads integrated out (`coach_gains`). Nothing is adjusted for a student's first value, nor for the
drills given: both would invent differences between equal coaches.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np
import polars as pl

from models.season.cells import (
    BASELINE,
    KEY,
    LEAST_DAYS,
    LEAST_SESSIONS,
    CellKey,
    Parameter,
    arrange,
    baseline,
    draws_of,
    known_rows,
    stored_fits,
)
from models.season.judgement import Bands, mixture_quantile
from models.season.kernel import FLOATS
from models.season.reliability import detectable_change, typical_error
from warehouse.store import Writer

MONTHS = 3.0  # gains are per 90 days
LEAST_SHOWN = 8
LEAST_STUDENTS = 5
AGES = (18, 40, 60)  # under 18, 18 to 39, 40 to 59, 60 and over
LEAST_OF_AGE = 3
DAYS_A_YEAR = 365.25
ITEMS = {
    "season": pl.String, "student": pl.String, "item": pl.String, "session": pl.String,
    "slope_part": pl.Float64, "noise": pl.Float64, "left": pl.Float64,
}  # fmt: skip
STEPS = 28  # of each spread's grid
Z80, Z95 = 1.2815515655446004, 1.959963984540054  # two-sided 80 and 95 % limits of the funnel


@dataclass(frozen=True)
class CoachGains:
    """(C,) each but `overall`: posterior mean, sd and 90 % interval; the funnel's dot and its precision."""

    gain: FLOATS
    se: FLOATS
    lo: FLOATS
    hi: FLOATS
    raw: FLOATS
    raw_se: FLOATS
    overall: float


def coach_gain_rows(writer: Writer) -> pl.DataFrame:
    """Rows of season.coach_gain, one for each coach with a measured student."""
    core = "metric IN (SELECT metric FROM academy.metric WHERE core)"
    rows = baseline(writer.sql(f"SELECT * FROM season.session_metric WHERE {BASELINE} AND {core}"))
    fits = stored_fits(writer, rows)
    better = dict(writer.sql("SELECT metric, better FROM academy.metric").iter_rows())
    items = item_slopes(known_rows(rows, fits), fits, better, Bands.read(writer))
    gains = student_gains(items)
    spans = rows.group_by("season", "student").agg(first=pl.col("day").min(), last=pl.col("day").max())
    coaching = writer.sql('SELECT student, coach, "from", "to" FROM academy.coaching')
    born = dict(writer.sql("SELECT person, born FROM academy.person").iter_rows())
    by_season = gains.join(spans, on=["season", "student"]).group_by("season", maintain_order=True)
    out = [
        row for (season,), own in by_season
        for row in _season_rows(str(season), own.sort("student"), coaching, born)
    ]  # fmt: skip
    return pl.DataFrame(out, infer_schema_length=None)


def _season_rows(
    season: str, gains: pl.DataFrame, coaching: pl.DataFrame, born: dict[str, date | None]
) -> list[dict[str, object]]:
    coaches, share = shares(gains, coaching)
    has = share.sum(axis=1) > 0
    if not coaches or not has.any():
        return []
    kept = gains.filter(pl.Series(has))
    share = share[has]
    ages = [(born.get(student), first) for student, first in kept.select("student", "first").iter_rows()]
    x = case_mix(ages)
    found = coach_gains(kept["gain"].to_numpy(), kept["variance"].to_numpy(), share, x)
    return [
        {"season": season, "coach": coach, "n_students": (n := int((share[:, k] > 0).sum())),
         "shown": n >= LEAST_SHOWN and found is not None, **(figures(found, k) if found else {})}
        for k, coach in enumerate(coaches)
    ]  # fmt: skip


def figures(found: CoachGains, k: int) -> dict[str, float]:
    """One coach's figures; lo80 … hi95 is where the gains of equal coaches would lie at that precision."""
    overall, se = found.overall, found.raw_se
    figures = {
        "gain": found.gain, "gain_lo": found.lo, "gain_hi": found.hi, "gain_se": found.se, "raw": found.raw,
        "raw_se": se, "lo80": overall - Z80 * se, "hi80": overall + Z80 * se, "lo95": overall - Z95 * se,
        "hi95": overall + Z95 * se,
    }  # fmt: skip
    return {**{name: float(values[k]) for name, values in figures.items()}, "overall": overall}


def shares(gains: pl.DataFrame, coaching: pl.DataFrame) -> tuple[list[str], FLOATS]:
    """Coaches, and the share of each student's measured days (first to last session) under each.

    Rows of students whom nobody coached then are 0; two coaches at once share equally.
    """
    days_coached = (
        gains.select("student", "first", "last").join(coaching, on="student")
        .with_columns(
            days=(pl.min_horizontal("last", pl.col("to").fill_null(pl.col("last")))
                  - pl.max_horizontal("first", "from")).dt.total_days() + 1
        )
        .filter(pl.col("days") > 0)
        .group_by("student", "coach").agg(pl.col("days").sum())
    )  # fmt: skip
    coaches = sorted(days_coached["coach"].unique())
    place = {student: i for i, student in enumerate(gains["student"])}
    share = np.zeros((len(gains), len(coaches)))
    for student, coach, days in days_coached.iter_rows():
        share[place[student], coaches.index(coach)] += days
    whole = share.sum(axis=1, keepdims=True)
    return coaches, np.divide(share, whole, out=np.zeros_like(share), where=whole > 0)


def case_mix(ages: list[tuple[date | None, date]]) -> FLOATS:
    """1, and a centred 0/1 column for each age band at entry but the commonest; (S, p).

    Bands of under three students, and students of unknown age, count with the commonest.
    """
    years = [(entry - (born or entry)).days / DAYS_A_YEAR for born, entry in ages]
    band = np.where([born is None for born, _ in ages], -1, np.searchsorted(AGES, years, side="right"))
    codes, counts = np.unique(band[band >= 0], return_counts=True)
    usual = codes[np.argmax(counts)] if codes.size else -1
    columns = [
        (band == code).astype(float) for code, n in zip(codes, counts, strict=True)
        if code != usual and n >= LEAST_OF_AGE
    ]  # fmt: skip
    return np.column_stack([np.ones(band.size), *(column - column.mean() for column in columns)])


def item_slopes(
    baseline_rows: pl.DataFrame,
    parameters: Mapping[CellKey, Parameter],
    better: Mapping[str, str],
    bands: Bands,
) -> pl.DataFrame:
    """One row per student, metric, family and session: what its value adds to the student's slope.

    The slope of weighted least squares is Σ k·y, k = w(t − t̄)/Σw(t − t̄)², w = 1/(σ²_session + σ²_swing/n),
    the device's offset taken out. `slope_part` is k·y per 90 days in smallest detectable changes, toward
    better; `noise` is k times the value's sd in the same unit, `left` the standardised residual.
    Toward better for a band metric is toward the band from where the student's mean lies; a student whose
    mean is inside it adds nothing (models/decisions/coach-gain-direction.md). Students under three sessions
    or 28 days in a cell, and cells without a fit, have no rows.
    """
    cells = baseline_rows.partition_by(KEY, as_dict=True, maintain_order=True)
    parts = [
        rows for (season, family, metric), cell_rows in cells.items()
        if (fit := parameters.get((season, family, metric))) is not None
        for rows in _cell_slopes(cell_rows, fit, better.get(metric, "none"), bands)
    ]  # fmt: skip
    return pl.DataFrame(parts, ITEMS, orient="row")


def _cell_slopes(
    cell_rows: pl.DataFrame, fit: Parameter, better: str, bands: Bands
) -> list[tuple[str, str, str, str, float, float, float]]:
    """Rows of `item_slopes` for one cell."""
    rows = arrange(cell_rows, fit["sd_swing"] ** 2, fit["fixed"])
    cell = rows.cell
    out: list[tuple[str, str, str, str, float, float, float]] = []
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
        sign = _sign(better, mean, bands.of(metric, season, student, family, days[own][-1]))
        k = w * (t - centre) / float(w @ (t - centre) ** 2)
        left = (y[own] - mean - (t - centre) * float(k @ y[own])) * np.sqrt(w)
        scale = sign * MONTHS / unit
        out.extend(
            (season, student, f"{metric} {family}", session, part, noise, rest)
            for session, part, noise, rest in zip(
                sessions[own], scale * k * y[own], scale * k / np.sqrt(w), left * np.sign(sign), strict=True
            )
        )
    return out


def _sign(better: str, mean: float, band: tuple[float, float] | None) -> float:
    """Which way is better from here: 1, −1, or 0 inside the band and where no side is."""
    if better == "band" and band is not None:
        return float(mean < band[0]) - float(mean > band[1])
    return {"up": 1.0, "down": -1.0}.get(better, 0.0)


def student_gains(items: pl.DataFrame) -> pl.DataFrame:
    """season, student → gain (mean over the items they were measured in) and its known variance.

    The errors of one session's values are correlated, so the variance is Σ over sessions of n'R n / items²,
    R the correlation of residuals over items, pooled over students.
    """
    out = []
    for (season,), season_items in items.group_by(["season"], maintain_order=True):
        correlation, place = _residual_correlation(season_items)
        for (student,), own in season_items.group_by(["student"], maintain_order=True):
            count = own["item"].n_unique()
            variance = 0.0
            for _, together in own.group_by(["session"], maintain_order=True):
                at = [place[item] for item in together["item"]]
                noise = together["noise"].to_numpy()
                variance += max(float(noise @ correlation[np.ix_(at, at)] @ noise), 0.0)
            out.append((season, student, float(own["slope_part"].sum()) / count, variance / count**2))
    schema = {"season": pl.String, "student": pl.String, "gain": pl.Float64, "variance": pl.Float64}
    return pl.DataFrame(out, schema, orient="row").sort("season", "student")


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


def coach_gains(gain: FLOATS, variance: FLOATS, share: FLOATS, x: FLOATS) -> CoachGains | None:
    """Each coach's gain from S students': gain_i = x_i·β + Σ_c share_ic·c_c + u_i + e_i.

    gain and e's known variance (S,); share (S, C) of measured months under each coach, rows sum to 1;
    x (S, p) case mix, its first column 1 and the others centred. c ~ N(0, σ_c²), u ~ N(0, σ_u²); both sds
    integrated over a grid under half-t priors with 4 degrees of freedom, scale the sd of the gains. None
    under 5 students or where nothing varies. Source of the funnel: Spiegelhalter 2005, Stat Med 24.
    """
    scale = float(np.std(gain))
    if gain.size < max(LEAST_STUDENTS, x.shape[1] + 2) or scale <= 1e-12:
        return None
    p, coaches = x.shape[1], share.shape[1]
    sds = scale * np.exp(np.linspace(np.log(0.02), np.log(8.0), STEPS))
    a = np.column_stack([x, share])
    target = np.column_stack([np.tile(np.eye(p)[0], (coaches, 1)), np.eye(coaches)])
    target = np.vstack([target, np.eye(p + coaches)[0]])
    heights, means, variances = [], [], []
    for sd_u in sds:  # every σ_c at once
        d = sd_u**2 + variance
        weighed = a / d[:, None]
        ridge = np.repeat((weighed.T @ a)[None], STEPS, axis=0)
        ridge[:, range(p, p + coaches), range(p, p + coaches)] += sds[:, None] ** -2
        inverse, right = np.linalg.inv(ridge), weighed.T @ gain
        at = inverse @ right
        form = np.log(d).sum() + 2 * coaches * np.log(sds) + np.linalg.slogdet(ridge)[1]
        form += gain @ (gain / d) - at @ right
        heights.append(_log_half_t(sd_u / scale) + _log_half_t(sds / scale) - 0.5 * form)
        means.append(at @ target.T)
        variances.append(np.einsum("ij,sjk,ik->si", target, inverse, target))
    height, mean, sd = np.concatenate(heights), np.concatenate(means), np.sqrt(np.concatenate(variances))
    weight = np.exp(height - height.max())
    weight /= weight.sum()
    centre = weight @ mean
    spread = np.sqrt(weight @ (sd**2 + (mean - centre) ** 2))
    lo, hi = (mixture_quantile(mean, sd, q, lambda chance: weight @ chance, 45) for q in (0.05, 0.95))
    sd_u2 = float(weight.reshape(STEPS, STEPS).sum(axis=1) @ sds**2)
    w = x / (variance + sd_u2)[:, None]
    beta = np.linalg.solve(w.T @ x, w.T @ gain)
    raw, raw_se = _raw_gains(gain - x[:, 1:] @ beta[1:], variance + sd_u2, share)
    return CoachGains(centre[:-1], spread[:-1], lo[:-1], hi[:-1], raw, raw_se, float(centre[-1]))


def _log_half_t(x: FLOATS) -> FLOATS:
    """Log density of log x under half-t with 4 degrees of freedom, up to a constant."""
    return np.asarray(-2.5 * np.log1p(x**2 / 4) + np.log(x))


def _raw_gains(gain: FLOATS, variance: FLOATS, share: FLOATS) -> tuple[FLOATS, FLOATS]:
    """Mean of each coach's students, by share and precision, and its standard error."""
    w = share / variance[:, None]
    whole = w.sum(axis=0)
    w = np.divide(w, whole, out=np.full_like(w, np.nan), where=whole > 0)
    return np.asarray(w.T @ gain), np.sqrt((w**2).T @ variance)
