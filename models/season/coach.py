"""How far each coach's students came, per 90 days, beside the students of the others.

`coach_gain_rows` reads the warehouse and returns rows of season.coach_gain, from the gains of students with
room to gain (student_gain.py). How far from the band they started tells how much there was to gain, and is
known with error only; `room_to_gain` allows for both, within coaches, so that equal coaches stay equal
wherever their students start. Nothing is adjusted for the first value itself, nor for the drills given. A
model with a coach effect and a student effect then draws each coach toward the academy, both spreads
integrated out (`coach_gains`).
"""

from dataclasses import dataclass
from datetime import date

import numpy as np
import polars as pl
from scipy import special

from models.season.cells import BASELINE, baseline, known_rows, stored_fits
from models.season.estimation import jackknife_variance
from models.season.importance import log_half_t
from models.season.judgement import Bands, mixture_quantile
from models.season.kernel import FLOATS
from models.season.student_gain import StudentGains, item_slopes, student_gains
from warehouse.store import Writer

LEAST_SHOWN = 8  # students with room to gain, of the coach and of the others, for a dot
LEAST_ROOM = 1 / 3  # of the coach's students
LEAST_STUDENTS = 5
LEAST_KNOWN = 0.3  # of the variance of starts that is taken for their own, however large their error
AGES = (18, 40, 60)  # under 18, 18 to 39, 40 to 59, 60 and over
LEAST_OF_AGE = 3
DAYS_A_YEAR = 365.25
STEPS = 28  # of each spread's grid


@dataclass(frozen=True)
class CoachGains:
    """(C,) each but `overall` and `freedom`: posterior mean, sd and 90 % interval; the funnel's dot.

    `raw` is `overall` and how much further the coach's students came than those of the others; `raw_se` its
    standard error, t with `freedom` degrees; NaN without others.
    """

    gain: FLOATS
    se: FLOATS
    lo: FLOATS
    hi: FLOATS
    raw: FLOATS
    raw_se: FLOATS
    overall: float
    freedom: int


def coach_gain_rows(writer: Writer) -> pl.DataFrame:
    """Rows of season.coach_gain, one for each coach with a measured student."""
    core = "metric IN (SELECT metric FROM academy.metric WHERE core)"
    rows = baseline(writer.sql(f"SELECT * FROM season.session_metric WHERE {BASELINE} AND {core}"))
    fits = stored_fits(writer, rows)
    better = dict(writer.sql("SELECT metric, better FROM academy.metric").iter_rows())
    items = item_slopes(known_rows(rows, fits), fits, better, Bands.read(writer))
    spans = rows.group_by("season", "student").agg(first=pl.col("day").min(), last=pl.col("day").max())
    coaching = writer.sql('SELECT student, coach, "from", "to" FROM academy.coaching')
    born = dict(writer.sql("SELECT person, born FROM academy.person").iter_rows())
    out = [
        row for (season,), own in items.group_by("season", maintain_order=True)
        for row in _season_rows(str(season), own, spans.filter(season=season), coaching, born)
    ]  # fmt: skip
    return pl.DataFrame(out, infer_schema_length=None)


def _season_rows(
    season: str,
    items: pl.DataFrame,
    spans: pl.DataFrame,
    coaching: pl.DataFrame,
    born: dict[str, date | None],
) -> list[dict[str, object]]:  # fmt: skip
    measured = items.select("student").unique().join(spans, on="student").sort("student")
    coaches, share = shares(measured, coaching)
    coached = measured["student"].filter(share.sum(axis=1) > 0)
    room = items.filter("room", pl.col("student").is_in(coached.to_list()))
    here = np.flatnonzero(measured["student"].is_in(room["student"].unique().to_list()))
    found = None
    if here.size:
        entries = measured[here].select("student", "first").iter_rows()
        ages = [(born.get(student), first) for student, first in entries]
        found = coach_gains(student_gains(room, share[here]), share[here], case_mix(ages))
    rows = []
    for k, coach in enumerate(coaches):
        students, with_room = int((share[:, k] > 0).sum()), int((share[here, k] > 0).sum())
        others = int((share[here, k] < 1).sum())
        known = found is not None and bool(np.isfinite(found.raw[k]))
        enough = min(with_room, others) >= LEAST_SHOWN and with_room >= LEAST_ROOM * students
        rows.append(
            {"season": season, "coach": coach, "n_students": students, "n_room": with_room,
             "shown": known and enough, **(figures(found, k) if found and known else {})}
        )  # fmt: skip
    return rows


def figures(found: CoachGains, k: int) -> dict[str, float]:
    """One coach's figures; lo80 … hi95 is where the gains of equal coaches would lie at that precision."""
    overall, se = found.overall, found.raw_se[k]
    half80, half95 = (special.stdtrit(found.freedom, p) * se for p in (0.9, 0.975))
    figures = {
        "gain": found.gain[k], "gain_lo": found.lo[k], "gain_hi": found.hi[k], "gain_se": found.se[k],
        "overall": overall, "raw": found.raw[k], "raw_se": se, "lo80": overall - half80,
        "hi80": overall + half80, "lo95": overall - half95, "hi95": overall + half95,
    }  # fmt: skip
    return {name: float(value) for name, value in figures.items()}


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


def room_to_gain(own: StudentGains, x: FLOATS) -> tuple[float, FLOATS]:
    """By how much more a student gains who starts further from the band: λ, within the columns x (S, p).

    Beside it λ (S,) without each student. One row less takes (Ma)_i·(Mb)_i / m_i from a'Mb; where m_i is 0,
    one column is that student's alone and nothing is taken. Source: Cook & Weisberg 1982, Residuals and
    Influence in Regression, section 2.2.

    λ = [g'Ms − Σ v_gs·m] / max(s'Ms − Σ v_s·m, 0.3 s'Ms), M what is left beside x and m its diagonal: errors
    in variables by moments, the errors of a start and of a slope being correlated. Source: Fuller 1987,
    Measurement Error Models, section 2.2.
    """
    q, _ = np.linalg.qr(x)
    left = 1 - np.sum(q**2, axis=1)
    start, gain = (values - q @ (q.T @ values) for values in (own.start, own.gain))
    weight = np.divide(1.0, left, out=np.zeros_like(left), where=left > 1e-9)

    def whole_and_without(of_each: FLOATS, taken: FLOATS) -> FLOATS:
        return float(of_each.sum()) - np.concatenate([[0.0], taken])

    def product(a: FLOATS, b: FLOATS) -> FLOATS:
        return whole_and_without(a * b, a * b * weight)

    def noise(variance: FLOATS) -> FLOATS:
        squares = variance * (2 * left - 1) + np.sum(q @ (q.T * variance @ q) * q, axis=1)  # Σ_j v_j·M_ij²
        return whole_and_without(variance * left, squares * weight)

    spread, size = product(start, start), whole_and_without(own.start**2, own.start**2)
    known = np.maximum(spread - noise(own.var_start), LEAST_KNOWN * spread)
    varies = spread > 1e-12 * np.maximum(size, 1e-300)
    slope = np.divide(product(start, gain) - noise(own.cov), known, out=np.zeros_like(known), where=varies)
    return float(slope[0]), slope[1:]


def coach_gains(own: StudentGains, share: FLOATS, x: FLOATS) -> CoachGains | None:
    """Each coach's gain from S students': r_i = x_i·β + Σ_c share_ic·c_c + u_i + e_i, r = gain − λ·start.

    share (S, C) of measured months under each coach, rows sum to 1; x (S, p) case mix, its first column 1 and
    the others centred. e's variance is known. c ~ N(0, σ_c²), u ~ N(0, σ_u²); both sds integrated over a grid
    under half-t priors with 4 degrees of freedom, scale the sd of the gains. None under 5 students or where
    nothing varies. Source of the funnel: Spiegelhalter 2005, Stat Med 24.
    """
    scale = float(np.std(own.gain))
    if own.gain.size < max(LEAST_STUDENTS, x.shape[1] + 2) or scale <= 1e-12:
        return None
    taught = share.sum(axis=0) > 0
    within = _independent(np.hstack([share[:, taught], x[:, 1:]]))
    slope, left_out = room_to_gain(own, within)
    doubt = jackknife_variance(left_out)
    gain, variance = own.residual(slope)
    start = own.start - own.start.mean()
    p, coaches = x.shape[1], share.shape[1]
    log_sds = np.linspace(np.log(0.02), np.log(8.0), STEPS)  # in units of the scale
    sds, height_of_sd = scale * np.exp(log_sds), log_half_t(log_sds)
    a = np.column_stack([x, share])
    target = np.column_stack([np.tile(np.eye(p)[0], (coaches, 1)), np.eye(coaches)])
    target = np.vstack([target, np.eye(p + coaches)[0]])
    heights, means, variances = [], [], []
    for sd_u, height_u in zip(sds, height_of_sd, strict=True):  # every σ_c at once
        d = sd_u**2 + variance
        weighed = a / d[:, None]
        ridge = np.repeat((weighed.T @ a)[None], STEPS, axis=0)
        ridge[:, range(p, p + coaches), range(p, p + coaches)] += sds[:, None] ** -2
        inverse, right = np.linalg.inv(ridge), weighed.T @ gain
        at = inverse @ right
        form = np.log(d).sum() + 2 * coaches * np.log(sds) + np.linalg.slogdet(ridge)[1]
        form += gain @ (gain / d) - at @ right
        heights.append(height_u + height_of_sd - 0.5 * form)
        means.append(at @ target.T)
        of_slope = (inverse @ (weighed.T @ start)) @ target.T
        variances.append(np.sum(target @ inverse * target, axis=2) + doubt * of_slope**2)
    height, mean, sd = np.concatenate(heights), np.concatenate(means), np.sqrt(np.concatenate(variances))
    weight = special.softmax(height)
    centre = weight @ mean
    spread = np.sqrt(weight @ (sd**2 + (mean - centre) ** 2))
    lo, hi = (mixture_quantile(mean, sd, q, lambda chance: weight @ chance, 45) for q in (0.05, 0.95))
    freedom = max(own.gain.size - within.shape[1] - 1, 1)
    left = gain - within @ (within.T @ gain)
    var_u = (left @ left - variance @ (1 - np.sum(within**2, axis=1))) / freedom
    d = max(var_u, 0.0) + variance
    w = x / np.maximum(d, 1e-300)[:, None]
    beta = np.linalg.solve(w.T @ x, w.T @ gain)
    apart = _beside_others(share, d)
    raw = centre[-1] + apart @ (gain - x[:, 1:] @ beta[1:])
    raw_se = np.sqrt(apart**2 @ d + doubt * (apart @ start) ** 2)
    return CoachGains(centre[:-1], spread[:-1], lo[:-1], hi[:-1], raw, raw_se, float(centre[-1]), freedom)


def _independent(x: FLOATS) -> FLOATS:
    """An orthonormal basis of the columns of x."""
    u, size, _ = np.linalg.svd(x, full_matrices=False)
    return np.asarray(u[:, size > 1e-9 * size.max()])


def _beside_others(share: FLOATS, variance: FLOATS) -> FLOATS:
    """(C, S) weights of each coach's students, by share and precision, less those of the others'.

    NaN where nobody is on one side.
    """
    sides = []
    for part in (share, 1 - share):
        w = part / variance[:, None]
        whole = w.sum(axis=0)
        sides.append(np.divide(w, whole, out=np.full_like(w, np.nan), where=whole > 1e-9 * whole.max()))
    return np.asarray((sides[0] - sides[1]).T)
